"""Places for labels: rectangles that never cover each other nor leave the frame.

A deterministic greedy search. Every wish is tried at its own candidates and at a lattice over the frame; places
that are taken or outside, that cover a leader or whose leader runs through a label or across a leader are struck
out; the rest are weighed by the way to the thing they name, by what they would hide and by the shafts their leader
would cross. Pure geometry: nothing here knows about text or pictures.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from compositor.base.arrays import Floats
from compositor.overlay.boxes import Box, Point, inside_span

Truths = NDArray[np.bool_]

_HIDING = 1.0  # by eye: hiding one label's area of picture is as bad as a leader as long as the label is wide
_CROSSING = 1.0  # by eye: crossing a shaft is as bad as a leader as long as the label is wide
_LATTICE = 40


@dataclass(frozen=True)
class Wish:
    """A label that wants a place.

    size_px: (width, height). target: the segment its leader leads to. candidates: (n, 2) preferred top-left
    corners, tried besides a lattice over the frame. longest_px: longest leader that still helps.
    """

    size_px: tuple[float, float]
    target: tuple[Point, Point]
    candidates: Floats
    longest_px: float


@dataclass
class Board:
    """The frame while it fills.

    taken: boxes nothing may cover. precious: boxes that cost their weight where they are covered. shafts: lines that
    leaders should not cross. labels and leaders: what was placed; leaders keep clear of both.
    """

    bounds: Box
    gap_px: float
    taken: list[Box] = field(default_factory=list)
    precious: list[tuple[Box, float]] = field(default_factory=list)
    shafts: list[tuple[Point, Point]] = field(default_factory=list)
    labels: list[Box] = field(default_factory=list)
    leaders: list[tuple[Point, Point]] = field(default_factory=list)

    def place(self, wish: Wish) -> Box | None:
        """The best free place, which is taken from now on, with its leader; None where there is no room."""
        boxes = self._free(wish.size_px, np.vstack([wish.candidates.reshape(-1, 2), self._lattice(wish.size_px)]))
        if len(boxes) == 0:
            return None
        starts, ends = _leaders(boxes, wish.target)
        way = np.hypot(*(ends - starts).T)
        good = (way <= wish.longest_px) & ~self._tangled(boxes, starts, ends)
        if not good.any():
            return None
        boxes, starts, ends = boxes[good], starts[good], ends[good]
        cost = way[good] / wish.size_px[0] + _HIDING * self._hidden(boxes)
        cost += _CROSSING * _cross(starts, ends, self.shafts).sum(axis=1)
        best = int(np.argmin(cost))
        self.leaders.append((_pair(starts[best]), _pair(ends[best])))
        return self._take(boxes[best])

    def take_clearest(self, size_px: tuple[float, float], corners: Floats) -> Box | None:
        """The free place among top-left corners (n, 2) that hides least, the first of equals."""
        boxes = self._free(size_px, corners)
        return None if len(boxes) == 0 else self._take(boxes[int(np.argmin(self._hidden(boxes)))])

    def take_nearest(self, size_px: tuple[float, float], point: Point) -> Box | None:
        """The free place all over the bounds that is nearest to a point, whatever its leader runs across."""
        boxes = self._free(size_px, self._lattice(size_px))
        if len(boxes) == 0:
            return None
        away = np.hypot(*((boxes[:, :2] + boxes[:, 2:]) / 2 - point).T)
        return self._take(boxes[int(np.argmin(away))])

    def _take(self, edges: Floats) -> Box:
        box = Box(*(float(value) for value in edges))
        self.taken.append(box)
        self.labels.append(box)
        return box

    def _lattice(self, size_px: tuple[float, float]) -> Floats:
        """Top-left corners (n, 2) all over the bounds."""
        across = np.linspace(self.bounds.left, max(self.bounds.right - size_px[0], self.bounds.left), _LATTICE)
        down = np.linspace(self.bounds.top, max(self.bounds.bottom - size_px[1], self.bounds.top), _LATTICE)
        return np.stack(np.meshgrid(across, down), axis=-1).reshape(-1, 2)

    def _free(self, size_px: tuple[float, float], corners: Floats) -> Floats:
        """The boxes (n, 4), on whole pixels, that are free and inside the bounds."""
        found = np.floor(corners)
        boxes = np.column_stack([found, found + np.array(size_px)])
        inside = (found >= [self.bounds.left, self.bounds.top]).all(axis=1)
        inside &= (boxes[:, 2:] <= [self.bounds.right, self.bounds.bottom]).all(axis=1)
        free: Floats = boxes[inside & ~_meet(boxes, [box.grown(self.gap_px) for box in self.taken]).any(axis=1)]
        return free

    def _hidden(self, boxes: Floats) -> Floats:
        """Weighted area of precious picture under each box, in label areas."""
        others = _rows([box for box, _ in self.precious])
        weights = np.array([weight for _, weight in self.precious])
        near = np.maximum(boxes[:, np.newaxis, :2], others[:, :2])
        far = np.minimum(boxes[:, np.newaxis, 2:], others[:, 2:])
        areas = (boxes[:, 2] - boxes[:, 0]) * (boxes[:, 3] - boxes[:, 1])
        hidden: Floats = (np.clip(far - near, 0.0, None).prod(axis=2) * weights).sum(axis=1) / areas
        return hidden

    def _tangled(self, boxes: Floats, starts: Floats, ends: Floats) -> Truths:
        """Which boxes lie on a leader, or have a leader that runs through a label or across a leader."""
        leaders = np.array(self.leaders).reshape(-1, 2, 2)
        first, last = inside_span(starts, ends, _rows(self.labels))
        through = (first < last).any(axis=1)
        first, last = inside_span(leaders[:, 0], leaders[:, 1], boxes)
        covering = (first < last).any(axis=0)
        return _any([through, covering, _cross(starts, ends, self.leaders).any(axis=1)])


def _leaders(boxes: Floats, target: tuple[Point, Point]) -> tuple[Floats, Floats]:
    """For each box (n, 4) the leader from its border (n, 2) to the near part of the target segment (n, 2)."""
    start, run = np.array(target[0]), np.array(target[1]) - np.array(target[0])
    centres = (boxes[:, :2] + boxes[:, 2:]) / 2
    length = float(run @ run)
    share = np.clip((centres - start) @ run / length, 0.0, 1.0) if length > 0 else np.zeros(len(boxes))
    ends = start + share[:, np.newaxis] * run
    return np.clip(ends, boxes[:, :2], boxes[:, 2:]), ends


def leader(box: Box, target: tuple[Point, Point]) -> tuple[Point, Point]:
    """The leader of a placed label, from its border to the target segment."""
    starts, ends = _leaders(box.as_array()[np.newaxis], target)
    return _pair(starts[0]), _pair(ends[0])


def _meet(boxes: Floats, others: Sequence[Box]) -> Truths:
    """Which boxes (n, 4) overlap which others: (n, m)."""
    wall = _rows(others)
    apart = (boxes[:, np.newaxis, :2] >= wall[:, 2:]) | (wall[:, :2] >= boxes[:, np.newaxis, 2:])
    meets: Truths = np.logical_not(apart.any(axis=2))
    return meets


def _any(reasons: Sequence[np.bool_ | Truths]) -> Truths:
    """Where any of several arrays (n,) is true."""
    result: Truths = np.logical_or.reduce(reasons)
    return result


def _rows(boxes: Sequence[Box]) -> Floats:
    """Boxes as an array (n, 4)."""
    return np.array([box.as_array() for box in boxes]).reshape(-1, 4)


def _cross(starts: Floats, ends: Floats, segments: Sequence[tuple[Point, Point]]) -> Truths:
    """Which segments (n, 2)–(n, 2) properly cross which others: (n, m)."""
    lines = np.array(segments).reshape(-1, 2, 2)
    begin, finish = lines[np.newaxis, :, 0], lines[np.newaxis, :, 1]
    start, end = starts[:, np.newaxis], ends[:, np.newaxis]
    apart = _side(start, end, begin) * _side(start, end, finish) < 0
    crosses: Truths = np.logical_and(apart, _side(begin, finish, start) * _side(begin, finish, end) < 0)
    return crosses


def _side(start: Floats, end: Floats, point: Floats) -> Floats:
    """Twice the signed area of the triangle start, end, point."""
    run, to = end - start, point - start
    area: Floats = run[..., 0] * to[..., 1] - run[..., 1] * to[..., 0]
    return area


def _pair(values: Floats) -> Point:
    return float(values[0]), float(values[1])
