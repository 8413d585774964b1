"""One silhouette swept over the lines of a fan (geometry/sweep.py): what its places throw, laid down line by line."""

from dataclasses import dataclass

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.base.opencv import cv2
from compositor.geometry.sweep import Fan, Integers, Lines, Sweep
from compositor.render.silhouette import Seen

_MOST_PLACES = 2048
_PLACES_PER_COLUMN = 2  # looked at along a line for each column of the map, at most: more cost time and show nothing
_PX_PER_LOOK = 2.0  # along a line; one between four pixels reads all of them
_PLACES_AT_ONCE = 100_000
_FAINTEST = 1.0 / 512.0
_OPAQUE = 1.0 - _FAINTEST
_LEAST_M = 1e-6
_TIMES_AT_ENDS = np.float32(4.0 / 3.0)
"""How often stretches of one run lie over the sample in which it ends, a share f of which is covered: with two places
per sample f + max(f - 1/2, 0), whose mean over all f is that of min(4/3 f, 1)."""


@dataclass(frozen=True)
class Swept:
    """A map over the angles (rows) and distances of a fan, (h, w[, c]) float32.

    start, step: angle and distance of the first sample's corner, and from one to the next.
    """

    samples: Pixels
    start: tuple[float, float]
    step: tuple[float, float]


@dataclass(frozen=True)
class _Thrown:
    """Of the places of lines, (n, m) each: how opaque they are, 0 where they throw nothing; from where to where (metres
    behind the eye) their rays are inside; how much of the light the rays hold per metre that they run backwards; from
    and to which distance (metres) their shadow falls."""

    coverage: Pixels
    near: Pixels
    far: Pixels
    lean: Pixels
    start: Pixels
    end: Pixels

    def every(self, lines: Integers, places: slice) -> "_Thrown":
        """Some of the lines and of their places."""
        return _Thrown(*(part[lines, places] for part in vars(self).values()))


@dataclass(frozen=True)
class _Stretches:
    """What is thrown: by which line; from and to which distance (metres); how opaque it is; and how often what throws
    it lies one over the other, on average; (n,) each."""

    line: Integers
    start: Pixels
    end: Pixels
    coverage: Pixels
    times: Pixels

    def some(self, which: Integers) -> "_Stretches":
        """Some of them."""
        return _Stretches(*(part[which] for part in vars(self).values()))


class Sweeping:
    """A silhouette over the lines of a fan, to be laid down in a map of so many rows and columns."""

    def __init__(self, seen: Seen, sweep: Sweep, fan: Fan, shape: tuple[int, int]) -> None:
        self.seen, self.sweep, self.shape = seen, sweep, shape
        (first, last), (near, far) = fan.angles_rad, fan.run_m
        self.start, self.step = (first, near), ((last - first) / shape[0], (far - near) / shape[1])
        angles = fan.middle_rad + first + self.step[0] * (np.arange(shape[0], dtype=np.float64) + 0.5)
        self.lines, self.rows = sweep.lines_in(angles, seen.box_px)
        self.lengths_px = np.hypot(*(self.lines.points_px[1] - self.lines.points_px[0]).T) / 2.0**seen.level
        self.px = max(1, int(self.lengths_px.max(initial=0.0)) // (_PLACES_PER_COLUMN * shape[1]))

    def maps(self, every: int) -> tuple[Swept, Swept]:
        """How much of the light is kept, 0..1; and, for every so many rows and columns one, in two channels how much of
        what keeps it lies one over the other, and that times its distance towards the light (metres)."""
        few = -(-self.shape[0] // every), -(-self.shape[1] // every)
        kept, towards = np.zeros(self.shape, np.float32), np.zeros((*few, 2), np.float32)
        at_once = max(1, int(_PLACES_AT_ONCE * self.px / self.lengths_px.max(initial=1.0)))
        for top in range(0, len(self.rows), at_once):  # few enough to stay in the processor's cache
            lines = slice(top, top + at_once)
            rows, thrown = self.rows[lines], self._thrown(lines)
            kept[rows] = self._kept(_stretches(thrown), len(rows))
            some = np.flatnonzero(rows % every == every // 2)
            towards[rows[some] // every] = self._towards(thrown.every(some, slice(every // 2, None, every)), every)
        first = self.start[0] + self.step[0] * (every // 2 + 0.5 - every / 2)
        step = self.step[0] * every, self.step[1] * every
        return Swept(kept, self.start, self.step), Swept(towards, (first, self.start[1]), step)

    def _kept(self, stretches: _Stretches, rows: int) -> Pixels:
        distances, shape = (self.start[1], self.step[1]), (rows, self.shape[1])
        pile, covered = _Pile(stretches, distances, shape), stretches.coverage
        kept = np.minimum(pile.of(covered * np.minimum(stretches.times, _TIMES_AT_ENDS)), np.float32(1.0))
        some = np.flatnonzero(covered < _OPAQUE)
        if len(some):
            few = stretches.some(some)
            let_through = _Pile(few, distances, shape).of(few.coverage - few.coverage * few.coverage)
            let_through /= np.maximum(pile.of(covered * stretches.times), np.float32(_FAINTEST))
            kept *= np.float32(1.0) - let_through
        return np.clip(kept, 0.0, 1.0)

    def _towards(self, thrown: _Thrown, every: int) -> Pixels:
        shape = len(thrown.coverage), -(-self.shape[1] // every)
        line, at = np.nonzero(thrown.coverage)
        near, far, lean, start, end, weight = (
            part[line, at] for part in (thrown.near, thrown.far, thrown.lean, thrown.start, thrown.end, thrown.coverage)
        )
        pile = _Pile(_Stretches(line, start, end, weight, weight), (self.start[1], self.step[1] * every), shape)
        weights = weight, weight * self.sweep.towards_m((near + far) / 2.0, lean)
        maps: Pixels = cv2.merge([pile.of(weight) for weight in weights])
        return maps

    def _thrown(self, which: slice) -> _Thrown:
        lines, longest = self.lines.some(which), float(self.lengths_px[which].max(initial=1.0))
        places = int(np.clip(np.ceil(longest / self.px), 1, _MOST_PLACES))
        middles = (np.arange(places) + 0.5) / places
        edges = np.arange(places + 1) / places
        coverage, near, far, _ = cv2.split(self._looked(lines, places))
        lean = _along(lines.lean, middles) / _along(lines.back, middles)
        to_front = np.float32(self.sweep.to_front_m)
        near, far = self.sweep.above(near + to_front, far + to_front, lean)
        coverage *= (coverage > _FAINTEST) & (far >= near)
        run_per_m = _along(lines.scale, edges) / _along(lines.back, edges)
        start = near * np.minimum(run_per_m[:, :-1], run_per_m[:, 1:])
        end = far * np.maximum(run_per_m[:, :-1], run_per_m[:, 1:])
        return _Thrown(coverage, near, far, lean, start, end)

    def _looked(self, lines: Lines, places: int) -> Pixels:
        """The silhouette at so many places of lines, (n, m, 4)."""
        looks = max(1, round(self.px / _PX_PER_LOOK))
        count = places * looks
        points = lines.points_px / 2.0**self.seen.level - 0.5  # OpenCV's centres are whole
        x, y = (_along(points[..., i], (np.arange(count) + 0.5) / count) for i in (0, 1))
        looked = cv2.remap(self.seen.channels, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
        return looked if looks == 1 else _thinned(looked, looks)


def _along(ends: Floats, shares: Floats) -> Pixels:
    """What changes evenly between the ends (2, n) of lines, at shares (m,) of them: (n, m) float32."""
    first, rise = ends[0].astype(np.float32), (ends[1] - ends[0]).astype(np.float32)
    result: Pixels = np.multiply.outer(rise, shares.astype(np.float32))
    result += first[:, np.newaxis]
    return result


def _thinned(looked: Pixels, every: int) -> Pixels:
    """Lines of looks, every so many as one: what is covered counts."""
    coverage, near, far, _ = cv2.split(looked)
    weighted = cv2.merge([coverage, cv2.multiply(near, coverage), cv2.multiply(far, coverage), coverage])
    fewer = cv2.resize(weighted, (looked.shape[1] // every, len(looked)), interpolation=cv2.INTER_AREA)
    coverage, near, far, _ = cv2.split(fewer)
    some = np.maximum(coverage, np.float32(_FAINTEST))
    thinned: Pixels = cv2.merge([coverage, cv2.divide(near, some), cv2.divide(far, some), coverage])
    return thinned


def _stretches(thrown: _Thrown) -> _Stretches:
    """What the places throw that throw anything; opaque ones side by side throw one stretch together."""
    there, opaque = thrown.coverage > 0.0, thrown.coverage >= _OPAQUE
    joined = np.zeros((there.shape[0], there.shape[1] + 1), np.bool_)
    np.logical_and(opaque[:, 1:], opaque[:, :-1], out=joined[:, 1:-1])
    first, last = (np.flatnonzero(there & ~beside) for beside in (joined[:, :-1], joined[:, 1:]))
    bounds = np.column_stack([first, last + 1]).ravel()[: None if there[-1, -1] == 0 else -1]
    start = np.minimum.reduceat(thrown.start.ravel(), bounds)[::2]
    end = np.maximum.reduceat(thrown.end.ravel(), bounds)[::2]
    length = np.add.reduceat((thrown.end - thrown.start).ravel(), bounds)[::2]
    times = np.maximum(length / np.maximum(end - start, np.float32(_LEAST_M)), np.float32(1.0))
    line = first // there.shape[1]
    _close(start, end, (first[1:] == last[:-1] + 1) & (line[1:] == line[:-1]))
    return _Stretches(line, start, end, thrown.coverage.ravel()[first], times)


def _close(start: Pixels, end: Pixels, next_to: Pixels) -> None:
    """Let what lies side by side in the picture throw its shadow without a gap, also where it recedes steeply.

    next_to (n - 1,): whether each stretch's place is beside the next one's.
    """
    for first, second in ((end[:-1], start[1:]), (end[1:], start[:-1])):
        apart = np.flatnonzero(next_to & (first < second))
        first[apart] = second[apart] = (first[apart] + second[apart]) / 2.0


class _Pile:
    """A map on which stretches lie one over the other."""

    def __init__(self, stretches: _Stretches, distances_m: tuple[float, float], shape: tuple[int, int]) -> None:
        """distances_m: of the map's first column's near edge, and from one column to the next. shape: of the map."""
        edges = np.stack([stretches.start, stretches.end])
        edges -= np.float32(distances_m[0])
        edges *= np.float32(1.0 / distances_m[1])
        np.clip(edges, 0.0, shape[1], out=edges)
        self.shape = shape[0], shape[1] + 1
        place = edges.astype(np.int64)
        self.part: Pixels = edges - place
        place += stretches.line * self.shape[1]
        self.place: Integers = np.stack([place, place + 1])

    def of(self, weight: Pixels) -> Pixels:
        """How much of a weight (n,) of theirs lies on each sample."""
        steps = np.stack([weight, -weight])
        on_next = steps * self.part
        rows, columns = self.shape
        sums = np.bincount(self.place.ravel(), np.stack([steps - on_next, on_next]).ravel(), rows * columns + 1)
        begun = cv2.integral(sums[np.newaxis].astype(np.float64, copy=False))[1, 1:-1]  # each line ends with nothing
        result: Pixels = begun.reshape(self.shape)[:, :-1].astype(np.float32)
        return result
