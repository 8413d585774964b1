"""Stretches of shadow on the lines of a sweep, laid down on maps: how much of the light they keep together."""

from dataclasses import dataclass

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2
from compositor.geometry.sweep import Integers

MOST_PLACES = 2048
"""On a line, at most."""

FAINTEST = np.float32(1.0 / 512.0)
OPAQUE = np.float32(1.0) - FAINTEST

_WEIGHT_STEPS = np.float32(2**24 / MOST_PLACES)
"""Weights are laid down in whole numbers of this part of one: so float32 sums up a line's exactly."""
_LEAST_M = np.float32(1e-6)
_NONE, _ONE = np.float32(0.0), np.float32(1.0)
_TIMES_AT_ENDS = np.float32(4.0 / 3.0)
"""How often stretches of one run lie over the sample in which it ends, a share f of which is covered: with two places
per sample f + max(f - 1/2, 0), whose mean over all f is that of min(4/3 f, 1)."""


@dataclass(frozen=True)
class Stretches:
    """What is thrown: by which line; from and to which distance (metres); how opaque it is; and how often what throws
    it lies one over the other, on average; (n,) each."""

    line: Integers
    start: Pixels
    end: Pixels
    coverage: Pixels
    times: Pixels


@dataclass(frozen=True)
class Layout:
    """Where lines lie on maps whose samples follow each other in one row, (n,) each: from which sample on, from which
    distance (metres) on, how many samples per metre, and how many before the last, on which nothing lies."""

    first: Integers
    start_m: Pixels
    per_m: Pixels
    columns: Pixels

    def some(self, lines: slice) -> "Layout":
        """Of some of the lines, from the sample on where the first of them begins."""
        first, start_m, per_m, columns = (part[lines] for part in vars(self).values())
        return Layout(first - first[0], start_m, per_m, columns)

    @property
    def size(self) -> int:
        """How many samples there are up to where the last line ends."""
        return int(self.first[-1]) + int(self.columns[-1]) + 1


def stretches(coverage: Pixels, there: Pixels, start_m: Pixels, end_m: Pixels) -> Stretches:
    """What the places of lines throw, (n, m) each, the last of a line being none; opaque ones side by side throw one
    stretch together.

    there: whether they throw anything; start_m, end_m: from and to which distance.
    """
    width = there.shape[1]
    coverage, there, start, end = (part.ravel() for part in (coverage, there, start_m, end_m))
    opaque = coverage >= OPAQUE
    opaque &= there
    joined = opaque[1:] & opaque[:-1]
    begins, ends = there.copy(), there.copy()
    np.greater(there[1:], joined, out=begins[1:])
    np.greater(there[:-1], joined, out=ends[:-1])
    first, last = begins.nonzero()[0], ends.nonzero()[0]
    times = np.ones(len(first), np.float32)
    found = Stretches(first // width, start[first], end[first], coverage[first], times)
    runs = (last > first).nonzero()[0]
    if len(runs):
        bounds = np.empty((len(runs), 2), np.int64)
        bounds[:, 0], bounds[:, 1] = first[runs], last[runs] + 1  # never beyond the last place of all, which is none
        nearest = np.minimum.reduceat(start, bounds.ravel())[::2]
        farthest = np.maximum.reduceat(end, bounds.ravel())[::2]
        length = np.add.reduceat(end - start, bounds.ravel())[::2]
        found.start[runs], found.end[runs] = nearest, farthest
        times[runs] = np.maximum(length / np.maximum(farthest - nearest, _LEAST_M), _ONE)
    _close(found.start, found.end, first[1:] == last[:-1] + 1)
    return found


def _close(start: Pixels, end: Pixels, next_to: Pixels) -> None:
    """Let what lies side by side in the picture throw its shadow without a gap, also where it recedes steeply.

    next_to (n - 1,): whether each stretch's place is beside the next one's.
    """
    for first, second in ((end[:-1], start[1:]), (end[1:], start[:-1])):
        apart = (next_to & (first < second)).nonzero()[0]
        first[apart] = second[apart] = (first[apart] + second[apart]) / np.float32(2.0)


def kept(found: Stretches, layout: Layout) -> Pixels:
    """How much of the light stretches keep from each sample, (k,) float32 0..1."""
    pile, covered = Pile(found, layout), found.coverage
    result = pile.of(covered * np.minimum(found.times, _TIMES_AT_ENDS))
    np.minimum(result, _ONE, out=result)
    soft = covered < OPAQUE
    if soft.any():
        let_through = pile.of(soft * (covered - covered * covered))
        whole = pile.of(covered * found.times)
        let_through /= np.maximum(whole, FAINTEST, out=whole)
        np.subtract(_ONE, let_through, out=let_through)
        result *= np.maximum(let_through, _NONE, out=let_through)
    return result


class Pile:
    """Stretches that lie one over the other."""

    def __init__(self, found: Stretches, layout: Layout) -> None:
        edges = np.empty((2, len(found.line)), np.float32)
        edges[0], edges[1] = found.start, found.end
        edges -= layout.start_m[found.line]
        edges *= layout.per_m[found.line]
        np.minimum(np.maximum(edges, _NONE, out=edges), layout.columns[found.line], out=edges)
        self.size = layout.size
        self.place: Integers = np.empty((2, *edges.shape), np.int64)
        self.place[0] = edges
        self.part: Pixels = edges - self.place[0].astype(np.float32)
        self.place[0] += layout.first[found.line]
        np.add(self.place[0], 1, out=self.place[1])

    def of(self, weight: Pixels) -> Pixels:
        """How much of a weight (n,) of theirs lies on each sample, (k,) float32."""
        steps = np.empty(self.place.shape, np.float64)
        np.rint(weight * _WEIGHT_STEPS, out=steps[0, 0])
        np.negative(steps[0, 0], out=steps[0, 1])
        np.rint(steps[0] * self.part, out=steps[1])
        steps[0] -= steps[1]
        sums = np.bincount(self.place.ravel(), steps.ravel(), self.size + 1).astype(np.float32)
        result: Pixels = cv2.integral(sums[np.newaxis], sdepth=cv2.CV_32F)[1, 1:-1]  # each line ends with nothing
        result *= _ONE / _WEIGHT_STEPS
        return result
