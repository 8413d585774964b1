"""One silhouette swept over the lines of fans (geometry/sweep.py): what its places throw, laid down line by line."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2
from compositor.geometry.sweep import Fan, Integers, Sweep, above, towards
from compositor.render.silhouette import Seen
from compositor.render.stretches import FAINTEST, MOST_PLACES, Layout, Pile, Stretches, kept, stretches

_PLACES_PER_COLUMN = 2  # looked at along a line for each column of the map, at most: more cost time and show nothing
_PX_PER_LOOK = 2.0  # along a line; one between four pixels reads all of them
_AT_ONCE = 80_000
"""Places, and samples of a map, that are worked on at once: few enough to stay in the processor's cache."""
_LEAST_M = np.float32(1e-6)


@dataclass(frozen=True)
class Sheet:
    """What one throw is laid down on: the lines of its fan, and how many rows and columns its map has."""

    sweep: Sweep
    fan: Fan
    shape: tuple[int, int]

    @property
    def start(self) -> tuple[float, float]:
        """Angle and distance (metres) of the map's first corner."""
        return self.fan.angles_rad[0], self.fan.run_m[0]

    @property
    def step(self) -> tuple[float, float]:
        """Angle and distance from one row and column to the next."""
        (first, last), (near, far) = self.fan.angles_rad, self.fan.run_m
        return (last - first) / self.shape[0], (far - near) / self.shape[1]


@dataclass(frozen=True)
class Swept:
    """A map over the angles (rows) and distances of a fan, (h, w[, c]) float32, with nothing in its last column.

    start, step: angle and distance of the first sample's corner, and from one to the next.
    """

    samples: Pixels
    start: tuple[float, float]
    step: tuple[float, float]


@dataclass(frozen=True)
class _Places:
    """Of the places of lines, (n, m) each, the last of a line being none: how opaque they are; whether they throw
    anything; from where to where (metres behind the eye) their rays are inside; and how much of the light the rays hold
    per metre that they run backwards."""

    coverage: Pixels
    there: Pixels
    near: Pixels
    far: Pixels
    lean: Pixels


class Sweeping:
    """A silhouette over the lines of throws on one plane, to be laid down on a sheet for each throw."""

    def __init__(self, seen: Seen, sheets: Sequence[Sheet]) -> None:
        self.seen, self.sheets = seen, sheets
        lines = [_lines(sheet, seen) for sheet in sheets]
        self.along = np.concatenate([along for along, _ in lines], axis=1)
        self.rows: Integers = np.concatenate([rows for _, rows in lines])
        self.sheet = np.repeat(np.arange(len(sheets)), [len(rows) for _, rows in lines])
        self.depth_m = np.array([sheet.sweep.depth_m for sheet in sheets], np.float32)[self.sheet, np.newaxis]
        self.lengths_px = np.hypot(self.along[0, :, 1], self.along[1, :, 1])
        columns = int(np.median([sheet.shape[1] for sheet in sheets]))  # by the fewest of all, long throws turn coarse
        self.px = max(1, int(self.lengths_px.max(initial=0.0)) // (_PLACES_PER_COLUMN * columns))

    def kept(self) -> list[Swept]:
        """For each throw how much of its light is kept, 0..1."""
        everything, shapes = slice(0, len(self.rows)), self._shapes(1)
        layout, result = self._layout(everything, 1), np.zeros(_samples(shapes), np.float32)
        looks = max(1, round(self.px / _PX_PER_LOOK))
        at_once = max(1, _AT_ONCE // max(self._count(everything), *(columns for _, columns in shapes)))
        for top in range(0, len(self.rows), at_once):
            lines = slice(top, top + at_once)
            along, part = self.along[:, lines], layout.some(lines)
            places = self._places(self.seen.channels, along, self.depth_m[lines], (self._count(lines), looks))
            found = stretches(places.coverage, places.there, *_landed(places, along))
            result[layout.first[top] :][: part.size] = kept(found, part)
        return self._maps(result, 1)

    def towards(self, halvings: int) -> list[Swept]:
        """For each throw and for fewer rows and columns, in two channels how much of what keeps the light lies one over
        the other, and that times its distance towards the light (metres)."""
        every = 2**halvings
        some = (self.rows % every == every // 2).nonzero()[0]
        result = np.zeros((2, _samples(self._shapes(every))), np.float32)
        if len(some):
            layout, along, depth_m = self._layout(some, every), self.along[:, some], self.depth_m[some]
            along[:2] /= every
            along[:2, :, 0] += 0.5 / every - 0.5
            count = -(-self._count(slice(None)) // every)
            places = self._places(self.seen.halved(halvings), along, depth_m, (count, 1))
            towards_m = towards((places.near + places.far) / np.float32(2.0), places.lean, depth_m)
            start, end = _landed(places, along)
            at = places.there.ravel().nonzero()[0]
            start, end, weight, towards_m = (part.ravel()[at] for part in (start, end, places.coverage, towards_m))
            pile = Pile(Stretches(at // (count + 1), start, end, weight, weight), layout.some(slice(None)))
            most = np.maximum(towards_m.max(initial=0.0), _LEAST_M)
            result[:, layout.first[0] :][:, : pile.size] = pile.of(weight), pile.of(weight * (towards_m / most)) * most
        return self._maps(cv2.merge([result[:1], result[1:]])[0], every)

    def _count(self, lines: slice) -> int:
        """Of places along each of some lines."""
        return min(max(1, ceil(float(self.lengths_px[lines].max(initial=1.0)) / self.px)), MOST_PLACES)

    def _shapes(self, every: int) -> list[tuple[int, int]]:
        """Of the maps of so many rows and columns one: rows and columns, with one more that stays empty."""
        return [(-(-sheet.shape[0] // every), -(-sheet.shape[1] // every) + 1) for sheet in self.sheets]

    def _layout(self, lines: slice | Integers, every: int) -> Layout:
        """Of some of the lines, on maps one after the other."""
        shapes, sheet = np.array(self._shapes(every)), self.sheet[lines]
        begins = np.cumsum(shapes.prod(axis=1)) - shapes.prod(axis=1)
        first = begins[sheet] + self.rows[lines] // every * shapes[sheet, 1]
        scales = [(one.start[1], 1.0 / (one.step[1] * every)) for one in self.sheets]
        start_m, per_m = np.array(scales, np.float32)[sheet].T
        return Layout(first, start_m, per_m, (shapes[sheet, 1] - 1).astype(np.float32))

    def _maps(self, samples: Pixels, every: int) -> list[Swept]:
        """Samples (n[, c]) of the maps of so many rows and columns one, cut apart."""
        result, begin = [], 0
        for sheet, (rows, columns) in zip(self.sheets, self._shapes(every), strict=True):
            part = samples[begin : begin + rows * columns].reshape(rows, columns, *samples.shape[1:])
            start = sheet.start[0] + sheet.step[0] * (every // 2 + 0.5 - every / 2), sheet.start[1]
            result.append(Swept(part, start, (sheet.step[0] * every, sheet.step[1] * every)))
            begin += rows * columns
        return result

    def _places(self, channels: Pixels, along: Pixels, depth_m: Pixels, counts: tuple[int, int]) -> _Places:
        """What channels show at places of lines: how many, and of how many looks each is the mean."""
        count, looks = counts
        middles = _shares(count, 1, 0.5)
        if looks == 1:
            x, y, lean, back = _at(along[:4], middles)
            looked = self._looked(channels, x, y)
        else:
            x, y = _at(along[:2], _shares(count, looks, 0.5))
            looked = _thinned(self._looked(channels, x, y), looks)
            lean, back = _at(along[2:4], middles)
        coverage, near, far = (cv2.extractChannel(looked, i) for i in range(3))
        coverage = np.multiply(coverage, np.float32(1.0 / 65535.0), dtype=np.float32)
        coverage[:, -1] = 0.0  # so that nothing reaches from one line into the next
        lean /= back
        least_m, step_m = self.sheets[0].sweep.to_front_m + self.seen.least_m, self.seen.step_m
        near, far = (cv2.addWeighted(part, step_m, part, 0.0, least_m, dtype=cv2.CV_32F) for part in (near, far))
        near, far = above(near, far, lean, depth_m)
        there = coverage > FAINTEST
        there &= far >= near
        return _Places(coverage, there, near, far, lean)

    def _looked(self, channels: Pixels, x: Pixels, y: Pixels) -> Pixels:
        beyond = self.seen.beyond
        return cv2.remap(channels, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=beyond)


def _lines(sheet: Sheet, seen: Seen) -> tuple[Pixels, Integers]:
    """The lines of a sheet that show something and their rows. Of each line what changes evenly along it, at its start
    and by how much it rises, (5, n, 2): x and y on what is seen, lean, back and scale. All run so that rays from their
    later places land farther away."""
    angles = sheet.fan.middle_rad + sheet.start[0] + sheet.step[0] * (np.arange(sheet.shape[0], dtype=np.float64) + 0.5)
    lines, rows = sheet.sweep.lines_in(angles, seen.box_px)
    points_px = lines.points_px / 2.0**seen.level - 0.5  # OpenCV's centres are whole
    ends = np.array([points_px[..., 0], points_px[..., 1], lines.lean, lines.back, lines.scale])
    first, second = (0, 1) if sheet.sweep.outwards else (1, 0)
    return np.stack([ends[:, first], ends[:, second] - ends[:, first]], axis=2).astype(np.float32), rows


def _samples(shapes: list[tuple[int, int]]) -> int:
    return sum(rows * columns for rows, columns in shapes)


def _landed(places: _Places, along: Pixels) -> tuple[Pixels, Pixels]:
    """From and to which distance (metres) what is seen at places of lines throws its shadow; made in their place."""
    start, end = places.near, places.far
    back, scale = _at(along[3:], _shares(start.shape[1] - 1, 1, 0.0))
    scale /= back
    start *= scale
    end.ravel()[:-1] *= scale.ravel()[1:]
    return start, end


def _shares(count: int, parts: int, first: float) -> Pixels:
    """One, and which share of a line lies before each part of its places, and of one place more: (2, n)."""
    shares = np.ones((2, (count + 1) * parts), np.float32)
    shares[1] = (np.arange(shares.shape[1]) + first) / (count * parts)
    return shares


def _at(along: Pixels, shares: Pixels) -> Pixels:
    """What changes evenly along lines, (k, n, 2) at their starts and by how much it rises, at shares of them:
    (k, n, m)."""
    result: Pixels = along[..., 1:] * shares[1]  # no product of matrices: those differ from processor to processor
    result += along[..., :1]
    return result


def _thinned(looked: Pixels, every: int) -> Pixels:
    """Lines of looks, every so many as one: what is covered counts."""
    coverage, near, far, _ = cv2.split(looked.astype(np.float32))
    weighted = cv2.merge([coverage, cv2.multiply(near, coverage), cv2.multiply(far, coverage), coverage])
    fewer = cv2.resize(weighted, (looked.shape[1] // every, len(looked)), interpolation=cv2.INTER_AREA)
    coverage, near, far, _ = cv2.split(fewer)
    some = np.maximum(coverage, np.float32(1.0))
    thinned: Pixels = cv2.merge([coverage, cv2.divide(near, some), cv2.divide(far, some), coverage])
    return thinned
