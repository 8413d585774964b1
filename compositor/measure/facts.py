"""What a picture says by itself: the few facts that solving needs."""

from dataclasses import dataclass
from math import ceil

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2
from compositor.geometry.solid import Build
from compositor.measure.camera import FoundCamera
from compositor.pixels.thickness import local_radius

Point = tuple[float, float]
# A pixel belongs to the subject's outline from half coverage on: there the edge of an antialiased matte lies.
COVERED_FRACTION = 0.5
_ROWS = 64  # strips that stay in the processor's cache
_FINE_PX = 600  # the longer side on which breadths are measured
OPEN_RATIO = 0.02
"""A matte that lies higher than the line between its feet by this share of its height is open there."""


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


def build_of(alpha: Pixels, full: float) -> Build:
    """What a matte (h, w) tells of the parts that it covers at least half."""
    step = max(1, max(alpha.shape) // _FINE_PX)
    size = (max(1, alpha.shape[1] // step), max(1, alpha.shape[0] // step))
    small = cv2.resize(np.ascontiguousarray(alpha), size, interpolation=cv2.INTER_AREA)
    covered = cv2.copyMakeBorder((small >= COVERED_FRACTION * full).astype(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT)
    inwards = cv2.distanceTransform(covered, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    radii = local_radius(inwards, float("inf"))[covered > 0]
    return Build(float(2 * step * np.sqrt((radii**2).mean())) if radii.size else 0.0, _apart(covered))


def _apart(covered: Pixels) -> float:
    """The share of the longest edge at the bottom of a shape's hull over which the shape lies clearly higher."""
    widths = covered.sum(axis=1, dtype=np.int64)
    rows = np.flatnonzero(widths)
    if not len(rows):
        return 0.0
    middle, height = float((rows * widths[rows]).sum() / widths.sum()), float(rows[-1] - rows[0]) + 1.0
    first = covered[rows].argmax(axis=1)
    last = covered.shape[1] - 1 - covered[rows, ::-1].argmax(axis=1)
    ends = np.concatenate([np.column_stack([first, rows]), np.column_stack([last, rows])]).astype(np.int32)
    corners = cv2.convexHull(ends).reshape(-1, 2).tolist()
    edges = [sorted(edge) for edge in zip(corners, corners[1:] + corners[:1], strict=True)]
    below = [(b[0] - a[0], a, b) for a, b in edges if a[1] + b[1] > 2 * middle and abs(b[1] - a[1]) <= b[0] - a[0]]
    if not below:
        return 0.0
    run, (left, first), (_, last) = max(below)
    if run == 0:
        return 0.0
    lowest = covered.shape[0] - 1 - covered[::-1, left : left + run + 1].argmax(axis=0)
    line = first + (last - first) * np.arange(run + 1) / run
    return float((lowest < line - OPEN_RATIO * height).mean())


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
    ends = [_row_ends(alpha[top : top + _ROWS] >= least, top) for top in range(0, len(alpha), _ROWS)]
    first, last, rows = np.concatenate(ends, axis=1)
    corners = np.concatenate(
        [np.column_stack([column, row]) for column in (first, last) for row in (rows, rows + 1)]
    ).astype(np.float32)
    hull = cv2.convexHull(corners).reshape(-1, 2)
    return tuple((float(u), float(v)) for u, v in hull)


def _row_ends(covered: Pixels, top: int) -> Pixels:
    """Of each row that is not empty the first covered column, the one after the last, and the row, (3, n)."""
    first = covered.argmax(axis=1)
    rows = np.flatnonzero(covered[np.arange(len(covered)), first])
    turned = cv2.flip(covered.view(np.uint8), 1).view(np.bool_)  # a row's last is the first of the row turned
    last = covered.shape[1] - turned.argmax(axis=1)
    ends: Pixels = np.stack([first[rows], last[rows], rows + top])
    return ends
