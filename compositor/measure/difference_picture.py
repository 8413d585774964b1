"""A picture of where two pictures differ."""

from functools import partial

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2
from compositor.colour.difference import ciede2000
from compositor.colour.lab import lab_from_encoded
from compositor.measure.comparison import Shown
from compositor.pixels.strips import for_strips

_FULL_MARK = 12.0  # CIEDE2000 from which the mark is opaque; by eye: nobody takes such colours for the same
_MARK = np.array([255, 196, 0], np.float32)  # amber: rare in photographs once they are grey
_DIMMED = 0.45  # of the brightness of the grey picture beneath


def difference_picture(approved: Shown, new: Shown) -> Pixels:
    """uint8 R G B (h, w, 3): the new picture in dark grey, amber laid over it where and as much as colours differ.

    Raises ValueError for different sizes.
    """
    if approved.size_px != new.size_px:
        raise ValueError(f"{approved.size_px} px and {new.size_px} px cannot be compared")
    result = np.empty((*new.samples.shape[:2], 3), np.uint8)
    for_strips(len(result), partial(_draw, approved, new, result))
    return result


def _draw(approved: Shown, new: Shown, result: Pixels, top: int, bottom: int) -> None:
    before, after = (lab_from_encoded(picture.samples[top:bottom], picture.space) for picture in (approved, new))
    grey = cv2.cvtColor(after[..., 0] * np.float32(2.55 * _DIMMED), cv2.COLOR_GRAY2RGB)
    opacity = np.minimum(ciede2000(before, after) / np.float32(_FULL_MARK), 1)[..., np.newaxis]
    result[top:bottom] = np.rint(np.clip(grey * (1 - opacity) + _MARK * opacity, 0, 255))
