"""CIE L*a*b* and luma, the coordinates in which pictures are compared. White is D50, as in profiles."""

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2
from compositor.colour.coding import convert_linear, decode_float, encode_float
from compositor.colour.space import D50_XYZ, SRGB, Space

_LINEAR_BELOW = (6 / 29) ** 3
_SLOPE = (29 / 6) ** 2 / 3
_LUMA = np.array([[0.299, 0.587, 0.114]])


def lab_from_encoded(samples: Pixels, space: Space) -> Pixels:
    """Encoded R G B (h, w, 3), uint8 or uint16, to L* a* b* float32 (h, w, 3); L* 0..100.

    Source: CIE 15:2004, section 8.2.1.1.
    """
    to_relative = np.array(space.to_xyz) / np.array(D50_XYZ)[:, np.newaxis]
    relative = cv2.transform(decode_float(samples, space), to_relative)
    response = np.where(relative > _LINEAR_BELOW, np.cbrt(relative), relative * _SLOPE + 4 / 29)
    x, y, z = (response[..., channel] for channel in range(3))
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1).astype(np.float32)


def luma_from_encoded(samples: Pixels, space: Space) -> Pixels:
    """Encoded R G B (h, w, 3), uint8 or uint16, to luma float32 (h, w), 0..255, of the same colours in sRGB.

    Luma is what JPEG keeps at full resolution (ITU-T T.871, section 7): coarser colour leaves its mean as it is, which
    it does not leave that of lightness.
    """
    encoded = encode_float(convert_linear(decode_float(samples, space), space, SRGB), SRGB)
    return cv2.transform(encoded, 255.0 * _LUMA)
