"""How finely a picture has to be sampled, place by place, so that a warp neither aliases nor blurs.

An output pixel looks back onto a parallelogram of source pixels; its two sides are the footprint. The pyramid
level follows the SHORTER way across (the larger scale), the number of samples along each output axis follows the
longer, so a floor seen at a grazing angle keeps its detail across and is averaged in depth. The choice is made
per tile of 32 × 32 output pixels, because scale varies within one picture in strong perspective.

Pictures that are made smaller are looked at through means of neighbouring pixels, by the rule of
:mod:`compositor.pixels.shrinking`: fewer looks, spread so that they weigh as far as the pixel does.

Measured: tests/studies/sampling.py.
"""

from dataclasses import dataclass
from functools import reduce
from typing import Any

import numpy as np
from numpy.typing import NDArray

from compositor.base.arrays import Floats
from compositor.pixels import shrinking

TILE_PX = 32
COARSEST = 4.0
"""Level pixels across the shorter way of an output pixel, at most; the next level halves them."""
NEAR = 1.25
"""Source pixels across an output pixel up to which the source is doubled first (shown at 0.8 of its size or more)."""
SOFT_FROM = 1.75
"""Source pixels across the shorter way of an output pixel from which on looks go into means of neighbours. A view of
one scale does so sooner; tiles side by side have to look alike."""
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
_PARTS = 3  # of a tile's side, from one look to the next
_ALONG = np.linspace(0, 1, 65)  # looks along each edge of the picture
_EDGES = np.array([(x, y, 1) for a in _ALONG for x, y in ((a, 0), (a, 1), (0, a), (1, a))]).T
_CODES, _DEEPEST, _SPREAD_STEPS = 64, 2, 32  # for writing a sampling as one number


@dataclass(frozen=True)
class Sampling:
    """How a tile is sampled.

    level: pyramid level; below 0 the source is doubled so often. counts: samples along output x and y.
    spread: over which share of the output pixel they are spread, x and y: all of it for a picture that is made
    smaller, its centre alone (0) for one that is not (averaging again what the camera has averaged already would
    only soften it), and from one to the other without a step that could be seen where the scale changes.
    softened: whether the samples are taken of means of four neighbours, which spread by themselves.
    """

    level: int
    counts: tuple[int, int]
    spread: tuple[float, float]
    softened: bool = False


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
    looks = _shared_looks(back, window)
    inside = near = looks.depth > 0
    reach_px = looks.sides.sum(axis=0)
    if content_px is not None:
        near = inside & _within(looks.source, content_px, 0.75 * TILE_PX / _PARTS * reach_px + 2.0)
        inside = inside & _within(looks.source, content_px, 0.0)
    longest = _of_tiles(np.maximum, np.where(inside, looks.sides, 0.0))
    shortest = _of_tiles(np.minimum, np.where(inside, looks.shortest, np.inf))
    if content_px is not None:
        _add_edges(back, window, content_px, (longest, shortest))
    touched = np.nonzero(~np.isfinite(shortest) & _of_tiles(np.logical_or, near))
    closest = _closest(touched, np.where(near, reach_px, np.inf))
    shortest[touched] = looks.shortest[closest]
    for axis in (0, 1):
        longest[axis][touched] = looks.sides[axis][closest]
    return _choices(longest, shortest)


def _shared_looks(back: Floats, window: Window) -> "Looks":
    """Looks at a grid of points, of which neighbouring tiles share those on the edge between them."""
    probe = np.linspace(0.0, TILE_PX, _PARTS + 1)
    x, y = (
        np.append((start + probe[:-1]).ravel(), start[-1] + probe[-1])
        for start in (
            np.arange(0, window.width, TILE_PX)[:, np.newaxis] + window.left,
            np.arange(0, window.height, TILE_PX)[:, np.newaxis] + window.top,
        )
    )
    return footprints(back, x[np.newaxis, :], y[:, np.newaxis])


def _of_tiles(join: np.ufunc, values: NDArray[Any]) -> NDArray[Any]:
    """What a function of two makes of all looks (…, rows, columns) of each tile."""
    last_row, last_column = values.shape[-2] - _PARTS, values.shape[-1] - _PARTS
    values = reduce(join, [values[..., part : last_column + part : _PARTS] for part in range(_PARTS + 1)])
    return reduce(join, [values[..., part : last_row + part : _PARTS, :] for part in range(_PARTS + 1)])


def _closest(tiles: tuple[NDArray[np.intp], ...], reach_px: Floats) -> tuple[NDArray[np.intp], ...]:
    """Row and column of the look with the smallest footprint, for each of some tiles."""
    within = np.arange(_PARTS + 1)
    rows, columns = (_PARTS * index[:, np.newaxis, np.newaxis] for index in tiles)
    looks = reach_px[rows + within[:, np.newaxis], columns + within].reshape(len(rows), len(within) ** 2)
    down, across = np.divmod(looks.argmin(axis=1), _PARTS + 1)
    return _PARTS * tiles[0] + down, _PARTS * tiles[1] + across


def _within(source: Floats, content_px: Box, reach: Floats | float) -> NDArray[np.bool_]:
    """Which source points lie inside the content, or at most so far outside."""
    (u, v), (left, top, right, bottom) = source, content_px
    within: NDArray[np.bool_] = (u >= left - reach) & (u <= right + reach) & (v >= top - reach) & (v <= bottom + reach)
    return within


def _add_edges(back: Floats, window: Window, content_px: Box, found: tuple[Floats, Floats]) -> None:
    """Add looks along the edges of the content to the longest sides and shortest way of the tiles they fall into."""
    left, top, right, bottom = content_px
    to_source = np.array([[right - left, 0, left], [0, bottom - top, top], [0, 0, 1.0]])
    mapped = np.linalg.inv(back) @ to_source @ _EDGES
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
    count, spread = _of_pixels(longest, level)
    softened = (level == 0) & (safe >= SOFT_FROM)
    count, spread = (np.where(softened, *both) for both in zip(_of_means(longest), (count, spread), strict=True))
    halved = (level > 0) & (count == 4).all(axis=0)
    softened, count = softened | halved, np.where(halved, 2, count)
    codes = np.minimum(level + _DEEPEST, _CODES - 1)
    for part in (softened, *count[:], *np.rint(_SPREAD_STEPS * spread)[:]):
        codes = codes * _CODES + part
    codes[~shown] = -1.0
    known = {code: _sampling(code) for code in set(codes.ravel().tolist())}
    return [[known[code] for code in row] for row in codes.tolist()]


def _of_pixels(longest: Floats, level: Floats) -> tuple[Floats, Floats]:
    """How many looks at a level's pixels along either axis, and their spread."""
    spread = np.where(level >= 0, 1.0, np.rint(8 * np.clip((longest - 1.0) / (NEAR - 1.0), 0.0, 1.0)) / 8)
    spacing = np.where(level > 0, REDUCED_SPACING, SPACING)
    count = np.clip(np.ceil(longest * spread / 2.0**level / spacing), 2, MOST_SAMPLES)
    spread = np.where((level > 0) & (count == 3), REDUCED_SPREAD, spread)
    return np.where(spread == 0, 1, count), spread


def _of_means(longest: Floats) -> tuple[Floats, Floats]:
    """How many looks at the means of neighbours in the source itself along either axis, and their spread."""
    alone, side = longest <= shrinking.ALONE_UP_TO, np.maximum(longest, 1e-9)
    count = np.clip(np.ceil(side / shrinking.SPACING), 2, MOST_SAMPLES)
    spread = count * shrinking.apart_px(side, count) / side
    return np.where(alone, 1, count), np.where(alone, 0.0, spread)


def _sampling(code: float) -> Sampling | None:
    """What six small numbers, written as the digits of one, stand for; None for a negative one."""
    if code < 0:
        return None
    rest, digits = int(code), []
    for _ in range(6):
        rest, digit = divmod(rest, _CODES)
        digits.append(digit)
    down, across, rows, columns, softened, level = digits
    spread = across / _SPREAD_STEPS, down / _SPREAD_STEPS
    return Sampling(level - _DEEPEST, (columns, rows), spread, bool(softened))


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
    by_x, by_y, fixed = back[:2].T.reshape(3, 2, *(1,) * x.ndim)
    source = (by_x * x + by_y * y + fixed) / safe
    along_x, along_y = ((way - source * part) / safe for way, part in ((by_x, back[2, 0]), (by_y, back[2, 1])))
    sides = np.stack([along_x[0] ** 2 + along_x[1] ** 2, along_y[0] ** 2 + along_y[1] ** 2])
    squares = sides[0] + sides[1]
    np.sqrt(sides, out=sides)
    area = np.abs(along_x[0] * along_y[1] - along_x[1] * along_y[0])
    major = np.sqrt(0.5 * (squares + np.sqrt(np.maximum(squares**2 - 4 * area**2, 0.0))))
    return Looks(source, depth, sides, area / np.maximum(major, 1e-12))
