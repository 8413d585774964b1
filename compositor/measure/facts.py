"""What a picture says by itself: the few facts that solving needs."""

from dataclasses import dataclass
from math import ceil

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2
from compositor.geometry.solid import Build
from compositor.measure.build import COVERED_FRACTION, row_ends
from compositor.measure.camera import FoundCamera

Point = tuple[float, float]
_ROWS = 256  # strips that stay in the processor's cache


@dataclass(frozen=True)
class PictureFacts:
    """Size (width, height) in px, the convex hull of what the matte covers (pixel corners), and the lens that the
    file states: focal length in mm and its 35 mm-equivalent, None where unknown. found: the camera that the picture
    tells by itself, where the scene asks for it. build: what its matte tells of its parts, None without a matte."""

    size_px: tuple[int, int]
    hull_px: tuple[Point, ...]
    focal_mm: float | None = None
    equivalent_mm: float | None = None
    found: FoundCamera | None = None
    build: Build | None = None


def frame_hull(size_px: tuple[int, int]) -> tuple[Point, ...]:
    """The four corners of a picture without a matte."""
    width, height = size_px
    return ((0.0, 0.0), (float(width), 0.0), (float(width), float(height)), (0.0, float(height)))


def matte_hull(alpha: Pixels, full: float) -> tuple[Point, ...]:
    """Convex hull, in continuous pixels, of the covered pixels of a matte (h, w) whose full coverage is `full`.

    A matte that nowhere reaches half coverage is taken at half of its own maximum. Raises ValueError for a matte
    without any coverage.
    """
    peak = float(alpha.max(initial=0))
    if peak <= 0.0:
        raise ValueError("the matte is empty: no pixel of it is covered")
    least = min(COVERED_FRACTION * full, COVERED_FRACTION * peak)
    least = ceil(least) if alpha.dtype.kind == "u" else least  # whole numbers compare four times as fast
    ends = [row_ends(alpha[top : top + _ROWS] >= least, top) for top in range(0, len(alpha), _ROWS)]
    first, last, rows = np.concatenate(ends, axis=1).astype(np.int32)
    hull = cv2.convexHull(np.concatenate([*_outer(first, rows), *_outer(-last, rows, -1)])).reshape(-1, 2)
    return tuple((float(u), float(v)) for u, v in hull)


def _outer(first: Pixels, rows: Pixels, side: int = 1) -> list[Pixels]:
    """The corners (n, 2) of each row's first pixel that its neighbours do not reach beyond, a few of all: no other is
    one of the hull's. side: -1 = columns are counted from the right, below 0."""
    further, apart = np.diff(first), np.diff(rows) > 1
    above, below = np.append(True, (further < 0) | apart), np.append((further > 0) | apart, True)
    return [np.column_stack([side * first[at], rows[at] + down]) for at, down in ((above, 0), (below, 1))]
