"""How much light is left in shadow, from two patches of the same ground in the plate."""

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2
from compositor.colour.coding import decode
from compositor.colour.space import Space

Polygon = tuple[tuple[float, float], ...]
Rgb = tuple[float, float, float]

_CLIPPED_FRACTION = 0.995
_MOST_CLIPPED = 0.2  # by eye: a patch that a fifth of is burnt out is no measure of its light


class PatchError(Exception):
    """A patch that cannot be measured; the message is a short fact."""


def light_left(plate: Pixels, space: Space, lit: Polygon, shaded: Polygon) -> Rgb:
    """Mean linear light in the shaded patch over that in the lit one, per channel of the plate's primaries, 0..1.

    plate: encoded (h, w, 3), uint8 or uint16. Raises PatchError for a patch that lies outside the picture or is burnt
    out, and where the shaded patch is not the darker one.
    """
    bright, dark = _mean(plate, space, lit), _mean(plate, space, shaded)
    ratio = dark / np.maximum(bright, 1e-6)
    if not float(ratio.mean()) < 1.0:
        raise PatchError("the shaded patch is not darker than the lit one")
    red, green, blue = (float(value) for value in np.clip(ratio, 1e-3, 1.0))
    return red, green, blue


def _mean(plate: Pixels, space: Space, polygon: Polygon) -> Pixels:
    """Mean linear R G B (3,) of the pixels whose centres lie in a polygon."""
    height, width = plate.shape[:2]
    points = np.array(polygon)
    left, top = (int(value) for value in np.clip(np.floor(points.min(axis=0)), 0, (width, height)))
    right, bottom = (int(value) for value in np.clip(np.ceil(points.max(axis=0)), 0, (width, height)))
    if right <= left or bottom <= top:
        raise PatchError("a patch lies outside the picture")
    part = np.ascontiguousarray(plate[top:bottom, left:right])
    mask = np.zeros(part.shape[:2], np.uint8)
    fixed = np.rint((points - [left + 0.5, top + 0.5]) * 16.0).astype(np.int32)  # OpenCV's centres are whole
    cv2.fillPoly(mask, [fixed], (1,), lineType=cv2.LINE_8, shift=4)
    encoded = part[mask > 0]
    if len(encoded) == 0:
        raise PatchError("a patch holds no pixel")
    full = float(np.iinfo(plate.dtype).max)
    burnt = (encoded >= _CLIPPED_FRACTION * full).any(axis=1)
    if float(burnt.mean()) > _MOST_CLIPPED:
        raise PatchError("a patch is burnt out, so that its light cannot be measured")
    linear = decode(np.ascontiguousarray(encoded[~burnt][np.newaxis]), space)
    samples = 65535.0 if linear.dtype == np.uint16 else 1.0
    mean: Pixels = linear[0, :, :3].mean(axis=0, dtype=np.float64) / samples
    return mean
