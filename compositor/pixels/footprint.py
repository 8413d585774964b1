"""How finely a picture has to be sampled, place by place, so that a warp neither aliases nor blurs.

An output pixel looks back onto a parallelogram of source pixels; its two sides are the footprint. The pyramid
level follows the SHORTER way across (the larger scale), the number of samples along each output axis follows the
longer, so a floor seen at a grazing angle keeps its detail across and is averaged in depth. The choice is made
per tile of 64 × 64 output pixels, because scale varies within one picture in strong perspective.

Measured: tests/studies/sampling.py.
"""

from dataclasses import dataclass

import numpy as np

from compositor.base.arrays import Floats

TILE_PX = 64
COARSEST = 4.0
"""Level pixels across the shorter way of an output pixel, at most; the next level halves them."""
NEAR = 1.25
"""Source pixels across an output pixel up to which the source is doubled first (shown at 0.8 of its size or more)."""
SPACING = 1.25
"""Level pixels from one sample to the next, at most."""
MOST_SAMPLES = 16
"""Samples along one output axis, at most; beyond, a coarser level is taken (footprints over 20 : 1)."""
Box = tuple[int, int, int, int]
"""Left, top, right, bottom in px; right and bottom are the first beyond."""
_PROBES = 5  # looks per tile and axis


@dataclass(frozen=True)
class Sampling:
    """How a tile is sampled.

    level: pyramid level; below 0 the source is doubled so often. counts: samples along output x and y.
    spread: over which share of the output pixel they are spread, x and y; 0 = all at its centre.
    """

    level: int
    counts: tuple[int, int]
    spread: tuple[float, float]


@dataclass(frozen=True)
class Window:
    """A rectangle of target pixels: left, top, width, height."""

    left: int
    top: int
    width: int
    height: int


def plan_tiles(back: Floats, window: Window, content_px: Box | None) -> list[list[Sampling | None]]:
    """The sampling of each tile of a window, row by row; None where nothing of the source can be seen.

    back: 3×3, target px to source px, third coordinate > 0 in front. content_px: the part of the source that holds
    something (left, top, right, bottom); None where its edge pixels go on for ever.
    """
    tops = np.arange(0, window.height, TILE_PX) + window.top
    lefts = np.arange(0, window.width, TILE_PX) + window.left
    probe = np.linspace(0.0, TILE_PX, _PROBES)
    x = lefts[None, :, None, None] + probe[None, None, None, :] + np.zeros((len(tops), 1, _PROBES, 1))
    y = tops[:, None, None, None] + probe[None, None, :, None] + np.zeros((1, len(lefts), 1, _PROBES))
    shape = (len(tops), len(lefts), _PROBES**2)
    along_x, along_y, source, depth = footprints(back, x.reshape(shape), y.reshape(shape))
    seen = depth > 0
    if content_px is not None:
        reach = 0.75 * TILE_PX / (_PROBES - 1) * (np.hypot(*along_x) + np.hypot(*along_y)) + 2.0
        for axis in (0, 1):
            seen &= (source[axis] > content_px[axis] - reach) & (source[axis] < content_px[axis + 2] + reach)
    return [
        [
            _choose(along_x[:, row, column][:, seen[row, column]], along_y[:, row, column][:, seen[row, column]])
            if seen[row, column].any()
            else None
            for column in range(len(lefts))
        ]
        for row in range(len(tops))
    ]


def footprints(back: Floats, x: Floats, y: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """(change of source px per target px along x, along y, source px, third coordinate) at target points.

    The first three have shape (2, …).
    """
    depth = back[2, 0] * x + back[2, 1] * y + back[2, 2]
    safe = np.where(depth > 0, depth, 1.0)
    source = np.stack([(back[i, 0] * x + back[i, 1] * y + back[i, 2]) / safe for i in (0, 1)])
    along_x = np.stack([(back[i, 0] - source[i] * back[2, 0]) / safe for i in (0, 1)])
    along_y = np.stack([(back[i, 1] - source[i] * back[2, 1]) / safe for i in (0, 1)])
    return along_x, along_y, source, depth


def _choose(along_x: Floats, along_y: Floats) -> Sampling:
    """The sampling for footprints (2, n) seen in one tile: level by the shortest way, counts by the longest."""
    sides = (np.hypot(*along_x), np.hypot(*along_y))
    area = np.abs(along_x[0] * along_y[1] - along_x[1] * along_y[0])
    squares = sides[0] ** 2 + sides[1] ** 2
    major = np.sqrt(0.5 * (squares + np.sqrt(np.maximum(squares**2 - 4 * area**2, 0.0))))
    shortest = float(np.min(area / major))
    longest = (float(np.max(sides[0])), float(np.max(sides[1])))
    level = _level(shortest)
    level = max(level, int(np.ceil(np.log2(max(longest) / (SPACING * MOST_SAMPLES)))))
    spread = (_spread(float(np.mean(sides[0])), level), _spread(float(np.mean(sides[1])), level))
    counts = (_count(longest[0], spread[0], level), _count(longest[1], spread[1], level))
    return Sampling(level, counts, spread)


def _level(shortest: float) -> int:
    """The level whose pixels are small against an output pixel without being many."""
    if shortest > NEAR:
        return max(0, int(np.ceil(np.log2(shortest / COARSEST))))
    return -1 if shortest >= 0.5 else -2


def _spread(side: float, level: int) -> float:
    """The share of the output pixel to average over.

    All of it for a picture that is made smaller, its centre alone for one that is not (averaging again what the
    camera has averaged already would only soften it), and from one to the other without a step that could be seen
    inside a picture whose scale changes.
    """
    if level >= 0:
        return 1.0
    return round(8 * min(1.0, max(0.0, (side - 1.0) / (NEAR - 1.0)))) / 8


def _count(side: float, spread: float, level: int) -> int:
    if spread == 0.0:
        return 1
    return min(MOST_SAMPLES, max(2, int(np.ceil(side * spread / 2.0**level / SPACING))))
