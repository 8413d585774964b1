"""Where a difference between two pictures would be seen."""

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2
from compositor.colour.difference import ciede2000

# What eyes resolve: lightness nearly every pixel, colour about half of that. The idea is that of X. Zhang and B. A.
# Wandell, A spatial extension of CIELAB for digital color image reproduction, SID Journal 5(1), 1997; the widths are by
# trial on re-encoded photographs (tests/studies/picture_tolerances.py).
_LIGHTNESS_BLUR_PX, _COLOUR_BLUR_PX = 0.7, 1.5
MARGIN_PX = 8
_WORTH_A_LOOK = 0.5  # L* a* b* distance below which no CIEDE2000 reaches a visible difference


def unexplained_difference(approved: Pixels, new: Pixels, reach_px: float) -> Pixels:
    """CIEDE2000 (h, w) of each new pixel from the nearest colour that a neighbour could bring there.

    approved, new: L* a* b* (h, w, 3) float32. reach_px: 0..1, how far edges may move without a word.
    """
    before, after = _seen(approved), _seen(new)
    kernel = np.ones((3, 3), np.uint8)
    own = before * np.float32(1 - reach_px)
    low = own + cv2.erode(before, kernel) * np.float32(reach_px)
    high = own + cv2.dilate(before, kernel) * np.float32(reach_px)
    nearest = np.clip(after, low, high)
    result = np.zeros(approved.shape[:2], np.float32)
    gap = after - nearest
    rows, columns = np.nonzero((gap * gap).sum(axis=2) > _WORTH_A_LOOK**2)
    result[rows, columns] = ciede2000(nearest[rows, columns], after[rows, columns])
    return result


def _seen(lab: Pixels) -> Pixels:
    colour = cv2.GaussianBlur(lab, (0, 0), _COLOUR_BLUR_PX)
    colour[..., 0] = cv2.GaussianBlur(np.ascontiguousarray(lab[..., 0]), (0, 0), _LIGHTNESS_BLUR_PX)
    return colour
