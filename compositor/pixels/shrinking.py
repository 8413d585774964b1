"""An opaque picture on a coarser grid, neither turned nor in perspective: what a view shows of the plate.

Each pixel is the mean of as few looks as do: the looks lie so that they spread as far, in the mean of squares, as the
pixel's whole area over the interpolated picture does, counting in what softening, halving and interpolating spread.
That is nearer to brute force than looks that are spread evenly over the pixel, with a quarter of them.

Measured: tests/studies/shrinking.py.
"""

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from compositor.base.arrays import Floats, Pixels
from compositor.base.opencv import cv2
from compositor.pixels.softened import Softened

SOFT_FROM = 1.6
"""Picture pixels per output pixel from which on looks go into means of neighbours; these are too soft for less."""
ALONE_UP_TO = 2.0
"""Picture pixels per output pixel up to which one look into the means is enough."""
SPACING = 2.15
"""Level pixels from one look into the means to the next, at most."""
MOST_LOOKS = 4
"""Looks along one axis, at most; beyond, a halved level is taken."""
Measure = TypeVar("Measure", float, Floats)
_INTERPOLATED = 1 / 6  # mean square of a tent one px to each side, px²
_FINE_ROWS = 64  # rows of looks that are worked on at once
_MOST_COLUMNS = 2048  # output px that are worked on at once: OpenCV's remap takes no picture of 32767 px or more


@dataclass(frozen=True)
class Grid:
    """Output pixels over a picture: the first one's corner in picture px, from one to the next, how many across."""

    left_px: float
    top_px: float
    step_px: float
    width: int


@dataclass(frozen=True)
class Looks:
    """How an output pixel looks into a picture: into which level, whether into means of neighbours there, and where
    along each axis, in level pixels from its centre."""

    level: int
    softened: bool
    offsets: tuple[float, ...]


@dataclass(frozen=True)
class Axis:
    """Looks along one axis of a level: the samples they need, and where they are among these."""

    first: int
    end: int
    places: NDArray[np.float32]


def looks_for(step_px: float) -> Looks:
    """How to look on a grid of this step, above 1 px."""
    level = max(0, int(np.ceil(np.log2(step_px / (MOST_LOOKS * SPACING)))))
    step, softened = step_px / 2**level, step_px >= SOFT_FROM
    if softened and step <= ALONE_UP_TO:
        return Looks(level, softened, (0.0,))
    count = max(2, int(np.ceil(step / SPACING))) if softened else 2
    by_looks = _wanted_spread(step_px) / 4**level - _spread(level, softened)
    between = float(_apart(by_looks, count))
    return Looks(level, softened, tuple(between * (i - (count - 1) / 2) for i in range(count)))


def apart_px(step_px: Floats, count: Floats) -> Floats:
    """From one look into the means of a picture's own pixels to the next, in picture px, for output pixels of such a
    step and so many looks along an axis; 0 where these means are too soft already."""
    return _apart(np.maximum(_wanted_spread(step_px) - _spread(0, softened=True), 0.0), count)


def _apart(spread_px2: Floats | float, count: Floats | int) -> Floats:
    """How far from each other so many looks, more than one, lie along an axis for such a mean square."""
    distance: Floats = np.sqrt(12 * spread_px2 / (count**2 - 1))
    return distance


def _wanted_spread(step_px: Measure) -> Measure:
    """Mean square, along an axis, of the weights of an interpolated picture's pixels in one output pixel, px²."""
    return step_px**2 / 12 + _INTERPOLATED


def _spread(level: int, softened: bool) -> float:
    """The same of one look, in level px²."""
    return (1 - 0.25**level) / 12 + _INTERPOLATED + (0.25 if softened else 0.0)


class Shrunk:
    """A picture on a grid, by rows. Its edge pixels go on beyond its frame."""

    def __init__(self, picture: Softened, grid: Grid) -> None:
        self._picture, self._grid, self._looks = picture, grid, looks_for(grid.step_px)
        self.rows_at_once = _FINE_ROWS // len(self._looks.offsets)
        lefts = range(0, grid.width, _MOST_COLUMNS)
        across = [self._axis(0, left, min(left + _MOST_COLUMNS, grid.width)) for left in lefts]
        self._across = [(axis, np.tile(axis.places, (_FINE_ROWS, 1))) for axis in across]

    def rows(self, top: int, bottom: int) -> Pixels:
        """The samples (rows, width[, 4]) of the rows from one up to, but not with, another: `rows_at_once` at most."""
        down = self._axis(1, top, bottom)
        parts = [self._part(across, down, x[: len(down.places)]) for across, x in self._across]
        return parts[0] if len(parts) == 1 else np.concatenate(parts, axis=1)

    def _part(self, across: Axis, down: Axis, x: NDArray[np.float32]) -> Pixels:
        """x: the places across, once for every row of looks."""
        look = self._picture.means if self._looks.softened else self._picture.pixels
        samples = look(self._looks.level, (across.first, down.first, across.end, down.end))
        y = down.places.repeat(x.shape[1]).reshape(x.shape)
        fine = cv2.remap(samples, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return _mean(fine, len(self._looks.offsets))

    def _axis(self, axis: int, first: int, end: int) -> Axis:
        """The looks of output pixels along x (0) or y (1)."""
        looks, start_px = self._looks, (self._grid.left_px, self._grid.top_px)[axis]
        centres = (start_px + (np.arange(first, end) + 0.5) * self._grid.step_px) / 2**looks.level
        places = np.add.outer(centres, looks.offsets).ravel()
        size = self._picture.level_px(looks.level)[axis]
        if looks.softened:
            size += 1  # of corners, which are counted from the edge on
        else:
            places -= 0.5  # pixels lie at their centres
        low = min(max(int(np.floor(places[0])), 0), size - 1)
        high = min(max(int(np.floor(places[-1])) + 2, low + 1), size)
        return Axis(low, high, (places - low).astype(np.float32))


def _mean(fine: Pixels, count: int) -> Pixels:
    """Means of count × count neighbours; by halves where that goes, which is faster."""
    while count > 1:
        factor = 2 if count % 2 == 0 else count
        size = fine.shape[1] // factor, fine.shape[0] // factor
        fine, count = cv2.resize(fine, size, interpolation=cv2.INTER_AREA), count // factor
    return fine
