"""CIE L*a*b*, the coordinates in which colours are compared. White is D50, as in profiles."""

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2
from compositor.colour.coding import decode_float
from compositor.colour.space import D50_XYZ, Space

_LINEAR_BELOW = (6 / 29) ** 3
_SLOPE = (29 / 6) ** 2 / 3


def lab_from_encoded(samples: Pixels, space: Space) -> Pixels:
    """Encoded R G B (h, w, 3), uint8 or uint16, to L* a* b* float32 (h, w, 3); L* 0..100.

    Source: CIE 15:2004, section 8.2.1.1.
    """
    to_relative = np.array(space.to_xyz) / np.array(D50_XYZ)[:, np.newaxis]
    relative = cv2.transform(decode_float(samples, space), to_relative)
    response = np.where(relative > _LINEAR_BELOW, np.cbrt(relative), relative * _SLOPE + 4 / 29)
    x, y, z = (response[..., channel] for channel in range(3))
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1).astype(np.float32)
