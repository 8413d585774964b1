"""A picture with its lens distortion taken off (Brown and Conrady's model, OpenCV's order of coefficients).

The picture keeps its size, focal length and principal point, so straight-lens geometry holds in it afterwards.
Sources: D. C. Brown, Close-range camera calibration, Photogrammetric Engineering 37(8), 1971; OpenCV, calib3d.
"""

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.base.opencv import cv2
from compositor.pixels.enlarge import MARGIN_PX, doubled
from compositor.pixels.mips import BORDERS, Mips
from compositor.pixels.strips import STRIP_ROWS, for_strips

_TILE_COLUMNS = 2048  # far below the 32767 px that OpenCV's remap can take


Box = tuple[int, int, int, int]
"""left, top, right, bottom."""


def undistorted(
    mips: Mips, intrinsics: Floats, coefficients: tuple[float, float, float, float, float], box: Box | None = None
) -> Pixels:
    """The samples (h, w[, 4]) of a straight lens, inside a box of its picture; left out = the frame of the one taken.

    mips: the picture as taken (premultiplied linear light). intrinsics: K, 3×3, of its continuous corner-origin
    pixels. coefficients: k1, k2, p1, p2, k3. Sampled on the doubled source: shifts by parts of a pixel stay sharp.
    """
    x, y, end, below = (0, 0, *mips.size_px) if box is None else box
    result = np.zeros((below - y, end - x, *mips.channels), mips.dtype)
    bend = np.array(coefficients)

    def strip(top: int, bottom: int) -> None:
        for left in range(0, end - x, _TILE_COLUMNS):
            right = min(left + _TILE_COLUMNS, end - x)
            place = (left + x, top + y, right + x, bottom + y)
            result[top:bottom, left:right] = _tile(mips, intrinsics, bend, place)

    for_strips(below - y, strip, STRIP_ROWS)
    return result


def _tile(mips: Mips, intrinsics: Floats, bend: Floats, place: tuple[int, int, int, int]) -> Pixels:
    left, top, right, bottom = place
    centred = np.array(intrinsics) - [[0, 0, 0.5], [0, 0, 0.5], [0, 0, 0]]  # OpenCV's pixel centres are whole
    moved = centred - [[0, 0, left], [0, 0, top], [0, 0, 0]]
    size = (right - left, bottom - top)
    x, y = cv2.initUndistortRectifyMap(centred, bend, np.eye(3), moved, size, cv2.CV_32FC1)
    width, height = mips.size_px
    x0, x1 = _range(x, width)
    y0, y1 = _range(y, height)
    fine = doubled(mips.cut((x0, y0, x1, y1)))
    half = np.full(1, 2.0)
    return cv2.remap(
        fine,
        cv2.multiply(cv2.subtract(x, np.full(1, float(x0))), half),
        cv2.multiply(cv2.subtract(y, np.full(1, float(y0))), half),
        cv2.INTER_LINEAR,
        borderMode=BORDERS[mips.edge],
    )


def _range(at: Pixels, size: int) -> tuple[int, int]:
    """The source px from, to that coordinates look at, with a margin; at least one of them inside the picture."""
    margin = MARGIN_PX + 2
    first = min(max(int(np.floor(at.min())), 0), size - 1) - margin
    last = max(min(int(np.ceil(at.max())) + 1, size), 1) + margin
    return first, last
