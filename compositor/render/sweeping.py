"""One silhouette swept over the lines of a fan (geometry/sweep.py): what its places throw, laid down line by line."""

from dataclasses import dataclass
from math import ceil

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2
from compositor.geometry.sweep import Fan, Integers, Sweep
from compositor.render.silhouette import Seen

_MOST_PLACES = 2048
_PLACES_PER_COLUMN = 2  # looked at along a line for each column of the map, at most: more cost time and show nothing
_PX_PER_LOOK = 2.0  # along a line; one between four pixels reads all of them
_AT_ONCE = 80_000
"""Places, and samples of a map, that are worked on at once: few enough to stay in the processor's cache."""
_WEIGHT_STEPS = np.float32(2**24 / _MOST_PLACES)
"""Weights are laid down in whole numbers of this part of one: so float32 sums up a line's exactly."""
_FAINTEST = np.float32(1.0 / 512.0)
_OPAQUE = np.float32(1.0) - _FAINTEST
_LEAST_M = np.float32(1e-6)
_ONE = np.float32(1.0)
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
class _Places:
    """Of the places of lines, (n, m) each, the last of a line being none: how opaque they are; whether they throw
    anything; from where to where (metres behind the eye) their rays are inside; and how much of the light the rays hold
    per metre that they run backwards."""

    coverage: Pixels
    there: Pixels
    near: Pixels
    far: Pixels
    lean: Pixels


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
        lines, self.rows = sweep.lines_in(angles, seen.box_px)
        points_px = lines.points_px / 2.0**seen.level
        self.lengths_px = np.hypot(*(points_px[1] - points_px[0]).T)
        self.px = max(1, int(self.lengths_px.max(initial=0.0)) // (_PLACES_PER_COLUMN * shape[1]))
        x, y = points_px[..., 0] - 0.5, points_px[..., 1] - 0.5  # OpenCV's centres are whole
        ends = np.array([x, y, lines.lean, lines.back, lines.scale])
        self.along = np.stack([ends[:, 0], ends[:, 1] - ends[:, 0]], axis=2).astype(np.float32)

    def kept(self) -> Swept:
        """How much of the light is kept, 0..1."""
        kept = np.zeros(self.shape, np.float32)
        looks = max(1, round(self.px / _PX_PER_LOOK))
        at_once = max(1, _AT_ONCE // max(self._count(slice(None)), self.shape[1]))
        for top in range(0, len(self.rows), at_once):
            some = slice(top, top + at_once)
            count = self._count(some)
            along, rows = self.along[:, some], self.rows[some]
            places = self._places(self.seen.channels, along, count, looks)
            kept[rows] = self._kept(_stretches(places, *self._landed(places, along, count)), len(rows))
        return Swept(kept, self.start, self.step)

    def towards(self, halvings: int) -> Swept:
        """For fewer rows and columns, in two channels how much of what keeps the light lies one over the other, and
        that times its distance towards the light (metres)."""
        every = 2**halvings
        shape = -(-self.shape[0] // every), -(-self.shape[1] // every)
        some, count = (self.rows % every == every // 2).nonzero()[0], -(-self._count(slice(None)) // every)
        along = self.along[:, some]
        along[:2] /= every
        along[:2, :, 0] += 0.5 / every - 0.5
        places = self._places(self.seen.halved(halvings), along, count, 1)
        towards_m = self.sweep.towards_m((places.near + places.far) / 2.0, places.lean)
        start, end = self._landed(places, along, count)
        at = places.there.ravel().nonzero()[0]
        start, end, weight, towards_m = (part.ravel()[at] for part in (start, end, places.coverage, towards_m))
        line = self.rows[some][at // places.there.shape[1]] // every
        step = self.step[0] * every, self.step[1] * every
        pile = _Pile(_Stretches(line, start, end, weight, weight), (self.start[1], step[1]), shape)
        most = np.maximum(towards_m.max(initial=0.0), _LEAST_M)
        share, towards = pile.of(weight), pile.of(weight * (towards_m / most))
        first = self.start[0] + self.step[0] * (every // 2 + 0.5 - every / 2)
        return Swept(cv2.merge([share[:, :-1], towards[:, :-1] * most]), (first, self.start[1]), step)

    def _count(self, lines: slice) -> int:
        """Of places along each of some lines."""
        return min(max(1, ceil(float(self.lengths_px[lines].max(initial=1.0)) / self.px)), _MOST_PLACES)

    def _kept(self, stretches: _Stretches, rows: int) -> Pixels:
        pile, covered = _Pile(stretches, (self.start[1], self.step[1]), (rows, self.shape[1])), stretches.coverage
        once, whole = covered * np.minimum(stretches.times, _TIMES_AT_ENDS), covered * stretches.times
        if float(covered.min(initial=1.0)) >= _OPAQUE:
            kept = pile.of(once)
        else:
            kept, whole = pile.of(once), pile.of(whole)
            held_back = pile.of((covered < _OPAQUE) * (covered - covered * covered))
            held_back /= np.maximum(whole, _FAINTEST, out=whole)
            np.minimum(kept, _ONE, out=kept)
            kept *= np.maximum(_ONE - held_back, np.float32(0.0))
        return np.minimum(kept, _ONE, out=kept)[:, :-1]

    def _places(self, channels: Pixels, along: Pixels, count: int, looks: int) -> _Places:
        """What channels show at so many places of lines, each the mean of so many looks."""
        middles = _shares(count, 1, 0.5)
        if looks == 1:
            x, y, lean, back = _at(along[:4], middles)
            looked = cv2.remap(channels, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
        else:
            x, y = _at(along[:2], _shares(count, looks, 0.5))
            looked = cv2.remap(channels, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
            looked = _thinned(looked, looks)
            lean, back = _at(along[2:4], middles)
        coverage, near, far = (cv2.extractChannel(looked, i) for i in range(3))
        coverage = np.multiply(coverage, np.float32(1.0 / 65535.0), dtype=np.float32)
        coverage[:, -1] = 0.0
        lean /= back
        least_m, step_m = self.sweep.to_front_m + self.seen.least_m, self.seen.step_m
        near, far = (cv2.addWeighted(part, step_m, part, 0.0, least_m, dtype=cv2.CV_32F) for part in (near, far))
        near, far = self.sweep.above(near, far, lean)
        there = coverage > _FAINTEST
        there &= far >= near
        return _Places(coverage, there, near, far, lean)

    def _landed(self, places: _Places, along: Pixels, count: int) -> tuple[Pixels, Pixels]:
        """From and to which distance (metres) what is seen at places of lines throws its shadow."""
        back, scale = _at(along[3:], _shares(count, 1, 0.0))
        scale /= back
        run_per_m, start, end = scale.ravel(), places.near, places.far
        nearest, farthest = (start, end) if self.sweep.outwards else (end, start)
        nearest *= scale
        farthest.ravel()[:-1] *= run_per_m[1:]
        return start, end


def _shares(count: int, parts: int, first: float) -> Pixels:
    """One, and which share of a line lies before each part of its places, and of one place more: (2, n)."""
    shares = np.ones((2, (count + 1) * parts), np.float32)
    shares[1] = (np.arange(shares.shape[1]) + first) / (count * parts)
    return shares


def _at(along: Pixels, shares: Pixels) -> Pixels:
    """What changes evenly along lines, (k, n, 2) at their starts and by how much it rises, at shares of them:
    (k, n, m)."""
    several, lines, _ = along.shape
    result: Pixels = (np.ascontiguousarray(along).reshape(-1, 2) @ shares).reshape(several, lines, -1)
    return result


def _thinned(looked: Pixels, every: int) -> Pixels:
    """Lines of looks, every so many as one: what is covered counts."""
    coverage, near, far, _ = cv2.split(looked.astype(np.float32))
    weighted = cv2.merge([coverage, cv2.multiply(near, coverage), cv2.multiply(far, coverage), coverage])
    fewer = cv2.resize(weighted, (looked.shape[1] // every, len(looked)), interpolation=cv2.INTER_AREA)
    coverage, near, far, _ = cv2.split(fewer)
    some = np.maximum(coverage, _ONE)
    thinned: Pixels = cv2.merge([coverage, cv2.divide(near, some), cv2.divide(far, some), coverage])
    return thinned


def _stretches(places: _Places, start: Pixels, end: Pixels) -> _Stretches:
    """What the places throw that throw anything; opaque ones side by side throw one stretch together."""
    coverage, there, start, end = (part.ravel() for part in (places.coverage, places.there, start, end))
    opaque = coverage >= _OPAQUE
    opaque &= there
    joined = opaque[1:] & opaque[:-1]
    begins, ends = there.copy(), there.copy()
    np.greater(there[1:], joined, out=begins[1:])
    np.greater(there[:-1], joined, out=ends[:-1])
    first, last = begins.nonzero()[0], ends.nonzero()[0]
    found = _Stretches(
        first // places.there.shape[1], start[first], end[first], coverage[first], np.ones(len(first), np.float32)
    )
    runs = (last > first).nonzero()[0]
    if len(runs):
        bounds = np.empty((len(runs), 2), np.int64)
        bounds[:, 0], bounds[:, 1] = first[runs], last[runs] + 1  # never beyond the last place of all, which is none
        nearest = np.minimum.reduceat(start, bounds.ravel())[::2]
        farthest = np.maximum.reduceat(end, bounds.ravel())[::2]
        length = np.add.reduceat(end - start, bounds.ravel())[::2]
        found.start[runs], found.end[runs] = nearest, farthest
        found.times[runs] = np.maximum(length / np.maximum(farthest - nearest, _LEAST_M), _ONE)
    _close(found.start, found.end, first[1:] == last[:-1] + 1)
    return found


def _close(start: Pixels, end: Pixels, next_to: Pixels) -> None:
    """Let what lies side by side in the picture throw its shadow without a gap, also where it recedes steeply.

    next_to (n - 1,): whether each stretch's place is beside the next one's.
    """
    for first, second in ((end[:-1], start[1:]), (end[1:], start[:-1])):
        apart = (next_to & (first < second)).nonzero()[0]
        first[apart] = second[apart] = (first[apart] + second[apart]) / np.float32(2.0)


class _Pile:
    """A map on which stretches lie one over the other, with one more column, on which nothing does."""

    def __init__(self, stretches: _Stretches, distances_m: tuple[float, float], shape: tuple[int, int]) -> None:
        """distances_m: of the map's first column's near edge, and from one column to the next. shape: of the map."""
        edges = np.empty((2, len(stretches.start)), np.float32)
        edges[0], edges[1] = stretches.start, stretches.end
        edges -= np.float32(distances_m[0])
        edges *= np.float32(1.0 / distances_m[1])
        np.minimum(np.maximum(edges, np.float32(0.0), out=edges), np.float32(shape[1]), out=edges)
        self.shape = shape[0], shape[1] + 1
        self.place: Integers = np.empty((2, *edges.shape), np.int64)
        self.place[0] = edges
        self.part: Pixels = edges - self.place[0].astype(np.float32)
        self.place[0] += stretches.line * self.shape[1]
        np.add(self.place[0], 1, out=self.place[1])

    def of(self, weight: Pixels) -> Pixels:
        """How much of a weight (n,) of theirs lies on each sample."""
        steps = np.empty(self.place.shape, np.float64)
        np.rint(weight * _WEIGHT_STEPS, out=steps[0, 0])
        np.negative(steps[0, 0], out=steps[0, 1])
        np.rint(steps[0] * self.part, out=steps[1])
        steps[0] -= steps[1]
        rows, columns = self.shape
        sums = np.bincount(self.place.ravel(), steps.ravel(), rows * columns + 1).astype(np.float32)
        begun: Pixels = cv2.integral(sums[np.newaxis], sdepth=cv2.CV_32F)[1, 1:-1]  # each line ends with nothing
        begun *= _ONE / _WEIGHT_STEPS
        return begun.reshape(self.shape)
