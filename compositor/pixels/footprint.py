"""How finely a picture has to be sampled, place by place, so that a warp neither aliases nor blurs.

An output pixel looks back onto a parallelogram of source pixels; its two sides are the footprint. The pyramid
level follows the SHORTER way across (the larger scale), the number of samples along each output axis follows the
longer, so a floor seen at a grazing angle keeps its detail across and is averaged in depth. The choice is made
per tile of 32 × 32 output pixels, because scale varies within one picture in strong perspective.

Measured: tests/studies/sampling.py.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from compositor.base.arrays import Floats

TILE_PX = 32
COARSEST = 4.0
"""Level pixels across the shorter way of an output pixel, at most; the next level halves them."""
NEAR = 1.25
"""Source pixels across an output pixel up to which the source is doubled first (shown at 0.8 of its size or more)."""
SPACING = 1.0
"""Source pixels from one sample to the next, at most."""
REDUCED_SPACING = 1.2
"""The same in pixels of a halved level, whose halving has taken away much of what could alias."""
REDUCED_SPREAD = 15 / 16
"""Share of the output pixel over which three samples of a halved level are spread, which is softer than its source."""
MOST_SAMPLES = 16
"""Samples along one output axis, at most; beyond, a coarser level is taken (footprints over 20 : 1)."""
Box = tuple[int, int, int, int]
"""Left, top, right, bottom in px; right and bottom are the first beyond."""
_PROBES = 4  # looks per tile and axis
_EDGE_PROBES = 65  # looks along each edge of the picture


@dataclass(frozen=True)
class Sampling:
    """How a tile is sampled.

    level: pyramid level; below 0 the source is doubled so often. counts: samples along output x and y.
    spread: over which share of the output pixel they are spread, x and y: all of it for a picture that is made
    smaller, its centre alone (0) for one that is not (averaging again what the camera has averaged already would
    only soften it), and from one to the other without a step that could be seen where the scale changes.
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
    looks = _tile_looks(back, window)
    inside = near = looks.depth > 0
    if content_px is not None:
        reach = 0.75 * TILE_PX / (_PROBES - 1) * looks.sides.sum(axis=0) + 2.0
        near, inside = (
            inside & _within(looks.source, content_px, reach),
            inside & _within(looks.source, content_px, 0.0),
        )
    longest = np.where(inside, looks.sides, 0.0).max(axis=-1)
    shortest = np.where(inside, looks.shortest, np.inf).min(axis=-1)
    if content_px is not None:
        _add_edges(back, window, content_px, (longest, shortest))
    touched = ~np.isfinite(shortest) & near.any(axis=-1)  # hardly: by the look with the smallest footprint
    smallest = np.argmin(np.where(near, looks.sides.sum(axis=0), np.inf), axis=-1)[..., np.newaxis]
    closest = [np.take_along_axis(side, smallest, -1)[..., 0] for side in (*looks.sides, looks.shortest)]
    longest = np.where(touched, closest[:2], longest)
    return _choices(longest, np.where(touched, closest[2], shortest))


def _tile_looks(back: Floats, window: Window) -> "Looks":
    """Looks at a grid of points in each tile, shape (…, tile rows, tile columns, points)."""
    tops = np.arange(0, window.height, TILE_PX) + window.top
    lefts = np.arange(0, window.width, TILE_PX) + window.left
    probe = np.linspace(0.0, TILE_PX, _PROBES)
    shape = (len(tops), len(lefts), _PROBES**2)
    x = np.broadcast_to(lefts[None, :, None, None] + probe[None, None, None, :], (*shape[:2], _PROBES, _PROBES))
    y = np.broadcast_to(tops[:, None, None, None] + probe[None, None, :, None], (*shape[:2], _PROBES, _PROBES))
    return footprints(back, x.reshape(shape), y.reshape(shape))


def _within(source: Floats, content_px: Box, reach: Floats | float) -> NDArray[np.bool_]:
    """Which source points lie inside the content, or at most so far outside."""
    (u, v), (left, top, right, bottom) = source, content_px
    within: NDArray[np.bool_] = (u >= left - reach) & (u <= right + reach) & (v >= top - reach) & (v <= bottom + reach)
    return within


def _add_edges(back: Floats, window: Window, content_px: Box, found: tuple[Floats, Floats]) -> None:
    """Add looks along the edges of the content to the longest sides and shortest way of the tiles they fall into."""
    left, top, right, bottom = content_px
    along, start, end = np.linspace(0, 1, _EDGE_PROBES), np.zeros(_EDGE_PROBES), np.ones(_EDGE_PROBES)
    u = left + (right - left) * np.concatenate([along, along, start, end])
    v = top + (bottom - top) * np.concatenate([start, end, along, along])
    mapped = np.linalg.inv(back) @ np.stack([u, v, np.ones_like(u)])
    mapped = mapped[:, mapped[2] > 0]
    x, y = mapped[0] / mapped[2], mapped[1] / mapped[2]
    across, down = x - window.left, y - window.top
    shown = (across >= 0) & (down >= 0) & (across < window.width) & (down < window.height)
    looks = footprints(back, x[shown], y[shown])
    tile = ((down[shown] // TILE_PX).astype(int), (across[shown] // TILE_PX).astype(int))
    for axis in (0, 1):
        np.maximum.at(found[0][axis], tile, looks.sides[axis])
    np.minimum.at(found[1], tile, looks.shortest)


def _choices(longest: Floats, shortest: Floats) -> list[list[Sampling | None]]:
    """The sampling for each tile: longest (2, rows, columns) sides, shortest way, infinite where there is nothing."""
    shown = np.isfinite(shortest)
    safe = np.where(shown, shortest, 1.0)
    far = np.maximum(0, np.ceil(np.log2(safe / COARSEST)))
    level = np.where(safe > NEAR, far, np.where(safe >= 0.5, -1, -2))
    most = np.maximum(longest.max(axis=0), 1e-9)
    level = np.maximum(level, np.ceil(np.log2(most / (SPACING * MOST_SAMPLES))))
    spread = np.where(level >= 0, 1.0, np.rint(8 * np.clip((longest - 1.0) / (NEAR - 1.0), 0.0, 1.0)) / 8)
    spacing = np.where(level > 0, REDUCED_SPACING, SPACING)
    count = np.clip(np.ceil(longest * spread / 2.0**level / spacing), 2, MOST_SAMPLES)
    spread = np.where((level > 0) & (count == 3), REDUCED_SPREAD, spread)
    count = np.where(spread == 0, 1, count)
    table = np.stack([level, *count, *spread], axis=-1)
    kinds, numbers = np.unique(table.reshape(-1, 5), axis=0, return_inverse=True)
    known = [Sampling(int(k[0]), (int(k[1]), int(k[2])), (float(k[3]), float(k[4]))) for k in kinds]
    numbers = numbers.reshape(shown.shape)
    return [
        [known[number] if seen else None for number, seen in zip(row, seen_row, strict=True)]
        for row, seen_row in zip(numbers, shown, strict=True)
    ]


@dataclass(frozen=True)
class Looks:
    """What a homography does at target points, arrays of their shape: source px (2, …), third coordinate, the two
    sides of the footprint (2, …) along x and y and the shortest way across it, in source px per target px."""

    source: Floats
    depth: Floats
    sides: Floats
    shortest: Floats


def footprints(back: Floats, x: Floats, y: Floats) -> Looks:
    """The footprints of target points; meaningless where the third coordinate is not > 0."""
    depth = back[2, 0] * x + back[2, 1] * y + back[2, 2]
    safe = np.where(depth > 0, depth, 1.0)
    source = np.stack([(back[i, 0] * x + back[i, 1] * y + back[i, 2]) / safe for i in (0, 1)])
    along_x, along_y = (np.stack([(back[i, k] - source[i] * back[2, k]) / safe for i in (0, 1)]) for k in (0, 1))
    sides = np.stack([np.hypot(*along_x), np.hypot(*along_y)])
    area = np.abs(along_x[0] * along_y[1] - along_x[1] * along_y[0])
    squares = (sides**2).sum(axis=0)
    major = np.sqrt(0.5 * (squares + np.sqrt(np.maximum(squares**2 - 4 * area**2, 0.0))))
    return Looks(source, depth, sides, area / np.maximum(major, 1e-12))
