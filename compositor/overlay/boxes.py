"""Rectangles and lines against rectangles, in pixels: the plane geometry that drawing on a frame needs."""

from dataclasses import dataclass

import numpy as np

from compositor.base.arrays import Floats

Point = tuple[float, float]

_NOTHING = 1e-9  # a stretch of this share of its distance is the rounding of a corner, not a stretch


@dataclass(frozen=True)
class Box:
    """A rectangle; right and bottom are its far edges."""

    left: float
    top: float
    right: float
    bottom: float

    @staticmethod
    def around(points_px: Floats, margin_px: float = 0.0) -> "Box":
        """The smallest box that holds points (n, 2), grown by a margin."""
        (left, top), (right, bottom) = points_px.min(axis=0), points_px.max(axis=0)
        return Box(float(left), float(top), float(right), float(bottom)).grown(margin_px)

    @property
    def width(self) -> float:
        return self.right - self.left

    @property
    def height(self) -> float:
        return self.bottom - self.top

    @property
    def centre(self) -> Point:
        return (self.left + self.right) / 2, (self.top + self.bottom) / 2

    def grown(self, margin_px: float) -> "Box":
        """The box with a margin on all sides (negative: less)."""
        return Box(self.left - margin_px, self.top - margin_px, self.right + margin_px, self.bottom + margin_px)

    def overlaps(self, other: "Box") -> bool:
        """Whether the insides have a point in common."""
        across = self.left < other.right and other.left < self.right
        return across and self.top < other.bottom and other.top < self.bottom

    def holds(self, point: Point) -> bool:
        """Whether a point lies inside or on the border."""
        return self.left <= point[0] <= self.right and self.top <= point[1] <= self.bottom

    def nearest(self, point: Point) -> Point:
        """The point of the box that is nearest to a point."""
        return min(max(point[0], self.left), self.right), min(max(point[1], self.top), self.bottom)

    @property
    def corners(self) -> Floats:
        """The corners (4, 2), clockwise from the top left."""
        return np.array(
            [[self.left, self.top], [self.right, self.top], [self.right, self.bottom], [self.left, self.bottom]]
        )

    def as_array(self) -> Floats:
        """(left, top, right, bottom)."""
        return np.array([self.left, self.top, self.right, self.bottom])


def between(segment: tuple[Point, Point], share: float) -> Point:
    """The point at a share of the way along a segment."""
    (u, v), (x, y) = segment
    return u + share * (x - u), v + share * (y - v)


def clip(start: Point, end: Point, box: Box) -> tuple[Point, Point] | None:
    """The part of a segment inside a box, None where there is none (Liang & Barsky 1984)."""
    span = inside_span(np.array([start]), np.array([end]), box.as_array()[np.newaxis])
    first, last = float(span[0][0, 0]), float(span[1][0, 0])
    return (between((start, end), first), between((start, end), last)) if first <= last else None


def inside_span(starts: Floats, ends: Floats, boxes: Floats) -> tuple[Floats, Floats]:
    """Where segments (n, 2)–(n, 2) run inside boxes (m, 4): first and last parameter in 0..1, each (n, m).

    First > last means outside (Liang & Barsky, A new concept and method for line clipping, ACM TOG 3(1), 1984).
    """
    first = np.zeros((len(starts), len(boxes)))
    last = np.ones((len(starts), len(boxes)))
    for axis in (0, 1):
        origin, run = starts[:, axis, np.newaxis], (ends - starts)[:, axis, np.newaxis]
        low, high = boxes[np.newaxis, :, axis], boxes[np.newaxis, :, axis + 2]
        still = np.abs(run) < 1e-12
        safe = np.where(still, 1.0, run)
        enter, leave = (low - origin) / safe, (high - origin) / safe
        missed = still & ((origin < low) | (origin > high))
        near = np.where(still, np.where(missed, 2.0, -np.inf), np.minimum(enter, leave))
        far = np.where(still, np.where(missed, -1.0, np.inf), np.maximum(enter, leave))
        first, last = np.maximum(first, near), np.minimum(last, far)
    return first, last


def cut(polygon: Floats, line: Floats) -> Floats:
    """The part (n, 2) of a convex polygon on the positive side of a line (a, b, c) (Sutherland & Hodgman 1974)."""
    if len(polygon) == 0:
        return polygon
    sides = polygon @ line[:2] + line[2]
    kept: list[Floats] = []
    for index, corner in enumerate(polygon):
        following = (index + 1) % len(polygon)
        if sides[index] >= 0:
            kept.append(corner)
        if (sides[index] >= 0) != (sides[following] >= 0):
            share = sides[index] / (sides[index] - sides[following])
            kept.append(corner + share * (polygon[following] - corner))
    return np.array(kept).reshape(-1, 2)


def chord(polygon: Floats, axis: int, value: float) -> tuple[float, float] | None:
    """The stretch of a convex polygon (n, 2) along the line where one coordinate has a value.

    Result: lowest and highest value of the other coordinate, None where the line misses.
    """
    found: list[float] = []
    for index, corner in enumerate(polygon):
        following = polygon[(index + 1) % len(polygon)]
        low, high = corner[axis] - value, following[axis] - value
        if low == high == 0:
            found += [float(corner[1 - axis]), float(following[1 - axis])]
        elif min(low, high) <= 0 <= max(low, high):
            share = min(max(low / (low - high), 0.0), 1.0)
            found.append(float(corner[1 - axis] + share * (following[1 - axis] - corner[1 - axis])))
    if len(found) < 2 or max(found) - min(found) <= _NOTHING * max(abs(min(found)), abs(max(found))):
        return None
    return min(found), max(found)


def outside(start: Point, end: Point, polygon: Floats) -> tuple[tuple[float, float], ...]:
    """The stretches (parameters from, to in 0..1) of a segment outside a convex polygon (n, 2)."""
    following = np.roll(polygon, -1, axis=0)
    area = float(np.sum(polygon[:, 0] * following[:, 1] - following[:, 0] * polygon[:, 1]))
    normals = np.column_stack([polygon[:, 1] - following[:, 1], following[:, 0] - polygon[:, 0]]) * np.sign(area)
    at_start = np.sum((np.array(start) - polygon) * normals, axis=1)
    at_end = np.sum((np.array(end) - polygon) * normals, axis=1)
    first, last = 0.0, 1.0
    for here, there in zip(at_start, at_end, strict=True):
        if here < 0 and there < 0:
            return ((0.0, 1.0),)
        if here < 0 or there < 0:
            crossing = float(here / (here - there))
            first, last = (max(first, crossing), last) if here < 0 else (first, min(last, crossing))
    if first >= last or area == 0:
        return ((0.0, 1.0),)
    return tuple(part for part in ((0.0, first), (last, 1.0)) if part[1] > part[0])
