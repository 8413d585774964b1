"""Where a cut-out touches the ground, told from the outline of its silhouette.

A flat picture does not say how its subject continues backwards; what it does say is where the subject touches the
ground. The lower edge of its outline is, seen on the ground, the near edge of the footprint (lines stay lines): its
longest side tells how the subject is turned, all of its sides where the surfaces lie that the camera saw.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan2, degrees, hypot, isfinite, nan

import numpy as np

from compositor.base.arrays import Floats, apply_homography, with_ones
from compositor.geometry.homography import inverse

Point = tuple[float, float]
Side = tuple[Point, Point]

WIDE_BASE_RATIO = 0.5
"""From this share of its width on, the footprint tells how a thing is turned; below (a parasol, a tree) it does not."""

FRONT_SLOPE, SIDE_SLOPE = 1.0, 4.0
"""Sides of the footprint that run backwards at most so much for what they run sideways are a front, or a side; what is
steeper hangs above the ground and only seems to lie far behind."""

FRONT_RATIO = 0.35
"""A front is at least this share of the width long; else (a round foot) the thing is taken to face the camera."""

SIDE_RATIO = 0.25
"""A side that adjoins the front at about a right angle and is this share of the width long tells the depth."""

SQUARE_DEG = 30.0
"""How far from a right angle front and side may meet."""

CORNER_RATIO = 0.1
"""How far from the front's end a side may begin, as a share of the width: corners are rounded."""


@dataclass(frozen=True)
class Footprint:
    """Where a subject touches the ground, in subject coordinates.

    front_m: a point (right, back) of its front line. yaw_deg: that line's direction, > 0 where it recedes to the
    right; None: it has no front, being round. sides_m: its near sides, from and to. corner_m: the ends of its front and
    of the side that tells its depth: (front's far end, common corner, side's far end), None where no side tells it.
    span_m: how wide it is; width_m: how wide the whole silhouette.
    """

    front_m: Point
    yaw_deg: float | None
    sides_m: tuple[Side, ...]
    corner_m: tuple[Point, Point, Point] | None
    span_m: float
    width_m: float

    @property
    def depth_m(self) -> float | None:
        """How deep a side shows the subject to be; None where none does."""
        return None if self.corner_m is None else _length((self.corner_m[1], self.corner_m[2]))

    def far_sides(self, depth_m: float) -> tuple[Side, ...]:
        """The sides that the camera did not see, of a subject so deep; none where no side tells how it goes on."""
        if self.corner_m is None:
            return ()
        other, corner, back = (np.array(point) for point in self.corner_m)
        deep = (back - corner) * (depth_m / float(np.hypot(*(back - corner))))
        ends = [(float(x), float(y)) for x, y in (other, other + deep, corner + deep)]
        return ((ends[0], ends[1]), (ends[1], ends[2]))


def footprint(pixels: Sequence[Sequence[float]] | Floats, hull_px: tuple[Point, ...]) -> Footprint:
    """The footprint's near sides from a silhouette's convex hull (in order around it).

    pixels: 3×4, subject coordinates to homogeneous pixels.
    """
    hull = with_ones(np.array(hull_px, dtype=np.float64))
    across = apply_homography(_back(pixels, (0, 2, 3)), hull[:, :2])[:, 0]
    width = float(across.max() - across.min())
    ground = _on_ground(pixels, hull)
    known = [index for index, (_, back) in enumerate(ground) if isfinite(back)]
    nearest = min(known, key=lambda index: ground[index][1], default=None)
    # What hangs over its contact, or reaches far out in front of it, tells nothing either.
    if nearest is None or abs(ground[nearest][1]) > WIDE_BASE_RATIO * width:
        return Footprint((0.0, 0.0), 0.0, (), None, 0.0, width)
    sides = _sides(ground, nearest, width)
    xs = [x for side in sides for x, _ in side]
    span = max(xs) - min(xs) if xs else 0.0
    fronts = [side for side in sides if _run(side)[1] <= FRONT_SLOPE * _run(side)[0]]
    longest = max(fronts, key=_length, default=None)
    if longest is None or _length(longest) < FRONT_RATIO * width:
        return Footprint(ground[nearest], None, tuple(sides), None, span, width)
    yaw = _direction_deg(longest)
    return Footprint(longest[0], yaw, tuple(sides), _corner(sides, longest, width), span, width)


def _corner(sides: list[Side], front: Side, width_m: float) -> tuple[Point, Point, Point] | None:
    """The corner at which the longest side adjoins the front that shows how deep a thing is; None where none does."""
    found = []
    for side in sides:
        (left, right), (front_left, front_right) = side, front
        square = abs(abs(_direction_deg(side) - _direction_deg(front)) - 90.0) <= SQUARE_DEG
        if side == front or not square or _length(side) < SIDE_RATIO * width_m:
            continue
        if _length((front_right, left)) <= CORNER_RATIO * width_m:
            found.append((_length(side), (front_left, left, right)))
        elif _length((right, front_left)) <= CORNER_RATIO * width_m:
            found.append((_length(side), (front_right, right, left)))
    return max(found)[1] if found else None


def _sides(ground: list[Point], nearest: int, width_m: float) -> list[Side]:
    """The hull's edges on the ground (from left to right each), going out from its nearest corner to both sides."""
    found = []
    for step in (1, -1):
        at = nearest
        for _ in range(len(ground)):
            following = (at + step) % len(ground)
            start, end = sorted((ground[at], ground[following]))
            across, back = _run((start, end))
            behind = ground[following][1] - ground[nearest][1]
            if not (back <= SIDE_SLOPE * across + 1e-9 and behind <= 1.5 * width_m):  # also where there is no ground
                break
            if across > 1e-6:
                found.append((start, end))
            at = following
    return found


def _run(side: Side) -> Point:
    """How far a side runs sideways and backwards."""
    (x0, y0), (x1, y1) = side
    return abs(x1 - x0), abs(y1 - y0)


def _length(side: Side) -> float:
    return hypot(*_run(side))


def _direction_deg(side: Side) -> float:
    (x0, y0), (x1, y1) = side
    return degrees(atan2(y1 - y0, x1 - x0))


def _on_ground(pixels: Sequence[Sequence[float]] | Floats, hull: Floats) -> list[Point]:
    """Ground points (right, back) of homogeneous pixels (n, 3); nan for those that show no ground."""
    mapped = hull @ _back(pixels, (0, 1, 3)).T
    contact_depth = pixels[2][3]  # the contact, at the origin, is in front
    return [(x / w, y / w) if contact_depth * w > 0.0 else (nan, nan) for x, y, w in mapped.tolist()]


def _back(pixels: Sequence[Sequence[float]] | Floats, columns: tuple[int, int, int]) -> Floats:
    """3×3: homogeneous pixels to the plane of these columns. Raises GeometryError where it is seen edge on."""
    first, second, third = columns
    one, two, three = ((float(row[first]), float(row[second]), float(row[third])) for row in pixels)
    return np.array(inverse((one, two, three)))
