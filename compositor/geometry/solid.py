"""A cut-out given thickness, so that light from the side meets something.

Subject coordinates: metres (right, back, up) from the element's contact, back being horizontally away from the camera
for what stands. A flat picture does not say how its subject continues backwards; what it does say is where the subject
touches the ground. The lower edge of its outline is, seen on the ground, the near edge of the footprint (lines stay
lines): its longest side tells how the subject is turned, all of its sides where the surfaces lie that the camera saw.
From there the solid reaches backwards, a part as far as it is broad.
"""

from dataclasses import dataclass
from math import atan2, cos, degrees, hypot, radians, sin

import numpy as np

from compositor.base.arrays import Floats, apply_homography

Point = tuple[float, float]
Row = tuple[float, float, float, float]

WIDE_BASE_RATIO = 0.5
"""From this share of its width on, the footprint tells how a thing is turned; below (a parasol, a tree) it does not."""

DEPTH_RATIO = 0.5
"""Depth of a thing as a share of its width, where nothing states or shows it: chest depth over shoulder breadth of a
standing person (ANSUR II, NATICK/TR-15/007, value from memory); tried in tests/studies/shadow_slices.py."""

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
    right; None: it has no front, being round. sides_m: its near sides, from and to. depth_m: as its sides tell, None
    where they do not. span_m: how wide it is; width_m: how wide the whole silhouette.
    """

    front_m: Point
    yaw_deg: float | None
    sides_m: tuple[tuple[Point, Point], ...]
    depth_m: float | None
    span_m: float
    width_m: float


@dataclass(frozen=True)
class Solid:
    """A silhouette with thickness.

    pixels: 3×4, subject coordinates to homogeneous pixels of its picture. sides_m: where its surfaces stand on the
    ground; empty: on the front line. middle_m: how far behind the front line the middle of every part lies; None:
    every part starts at its surface. depth_m: the most that a part is thick.
    """

    pixels: tuple[Row, Row, Row]
    hull_px: tuple[Point, ...]
    front_m: Point
    yaw_deg: float
    depth_m: float
    middle_m: float | None
    sides_m: tuple[tuple[Point, Point], ...] = ()

    @property
    def matrix(self) -> Floats:
        """`pixels` as an array."""
        return np.array(self.pixels)

    @property
    def normal(self) -> Floats:
        """Unit vector (3,) backwards from the front line, in subject coordinates."""
        yaw = radians(self.yaw_deg)
        return np.array([-sin(yaw), cos(yaw), 0.0])

    @property
    def reach_m(self) -> tuple[float, float]:
        """From where to where the solid lies behind its front line."""
        if self.middle_m is None:
            corners = np.array(self.sides_m).reshape(-1, 2) - np.array(self.front_m)
            back = float((corners @ self.normal[:2]).max(initial=0.0))
            return 0.0, max(self.depth_m, back + 0.5 * self.depth_m)
        return self.middle_m - self.depth_m / 2.0, self.middle_m + self.depth_m / 2.0

    def slice_homography(self, behind_m: float) -> Floats:
        """3×3: (metres along the front line, metres up) in the slice so far behind the front line, to pixels."""
        origin = np.array(self.front_m) + behind_m * self.normal[:2]
        return self._upright((float(origin[0]), float(origin[1])), radians(self.yaw_deg))

    def surfaces(self) -> list[Floats]:
        """For each side a pair of rows (2, 3) on homogeneous pixels: quotient = how far behind the front line the ray
        of a pixel meets that side's upright plane. The ray enters the solid at the greatest of them."""
        rows = []
        for (x0, y0), (x1, y1) in self.sides_m:
            angle = atan2(y1 - y0, x1 - x0)
            back = np.linalg.inv(self._upright((x0, y0), angle))
            start = float(self.normal[:2] @ (np.array([x0, y0]) - np.array(self.front_m)))
            along = float(self.normal[:2] @ np.array([cos(angle), sin(angle)]))
            rows.append(np.array([start * back[2] + along * back[0], back[2]]))
        return rows

    def outline_m(self) -> Floats:
        """The silhouette's hull in its first and last slice, (n, 3), subject coordinates: the solid lies between."""
        parts = []
        yaw = radians(self.yaw_deg)
        along = np.array([cos(yaw), sin(yaw), 0.0])
        for behind_m in self.reach_m:
            flat = apply_homography(np.linalg.inv(self.slice_homography(behind_m)), self.hull_px)
            origin = np.array([*self.front_m, 0.0]) + behind_m * self.normal
            parts.append(origin + flat[:, :1] * along + flat[:, 1:] * np.array([0.0, 0.0, 1.0]))
        return np.concatenate(parts)

    def pixels_per_metre(self) -> float:
        """Scale of its picture at the middle of its silhouette."""
        back = np.linalg.inv(self.slice_homography(0.0))
        middle = np.array(self.hull_px).mean(axis=0)
        corners = apply_homography(back, [middle, middle + [1.0, 0.0], middle + [0.0, 1.0]])
        area = abs(float(np.linalg.det(corners[1:] - corners[0])))
        return float(1.0 / np.sqrt(area))

    def _upright(self, foot_m: Point, angle_rad: float) -> Floats:
        """3×3: (metres along, metres up) in the upright plane over a line of the ground, to pixels."""
        columns = np.column_stack([[cos(angle_rad), sin(angle_rad), 0, 0], [0, 0, 1, 0], [*foot_m, 0, 1]])
        matrix: Floats = self.matrix @ columns
        return matrix


def solid_of(
    pixels: Floats, hull_px: tuple[Point, ...], depth_m: float | None, broadest_px: float | None = None
) -> Solid:
    """The solid of a silhouette that stands on the ground.

    depth_m: None = what a side of its footprint tells, else a share of its width, but for what consists of thin parts
    (a bicycle) not more than they are broad. broadest_px: across the largest circle inside its outline; None: unknown.
    """
    found = footprint(pixels, hull_px)
    rows, yaw = _rows(pixels), found.yaw_deg or 0.0
    if depth_m is None:
        depth_m = found.depth_m
    depth = DEPTH_RATIO * found.width_m if depth_m is None else float(depth_m)
    if found.span_m < WIDE_BASE_RATIO * found.width_m:
        return Solid(rows, hull_px, found.front_m, 0.0, depth, found.span_m / 2.0)
    if found.yaw_deg is None or found.depth_m is not None:
        return Solid(rows, hull_px, found.front_m, yaw, depth, None, found.sides_m)
    if depth_m is None and broadest_px is not None:
        solid = Solid(rows, hull_px, found.front_m, yaw, depth, None)
        depth = min(depth, broadest_px / solid.pixels_per_metre())
    return Solid(rows, hull_px, found.front_m, yaw, depth, depth / 2.0)


def flat_solid(pixels: Floats, hull_px: tuple[Point, ...], depth_m: float) -> Solid:
    """The solid of something flat (artwork, what lies): one slice about its own plane."""
    return Solid(_rows(pixels), hull_px, (0.0, 0.0), 0.0, depth_m, 0.0)


def footprint(pixels: Floats, hull_px: tuple[Point, ...]) -> Footprint:
    """The footprint's near sides from a silhouette's convex hull (in order around it)."""
    hull = np.array(hull_px, dtype=np.float64)
    card = apply_homography(np.linalg.inv(pixels[:, [0, 2, 3]]), hull)
    width = float(np.ptp(card[:, 0]))
    ground = _on_ground(pixels, hull)
    unknown = Footprint((0.0, 0.0), 0.0, (), None, 0.0, width)
    if not np.any(np.isfinite(ground[:, 1])):
        return unknown
    nearest = int(np.nanargmin(ground[:, 1]))
    if abs(ground[nearest, 1]) > WIDE_BASE_RATIO * width:  # hangs over its contact, or reaches far out in front of it
        return unknown
    sides = _sides(ground, nearest, width)
    xs = [x for side in sides for x, _ in side]
    span = max(xs) - min(xs) if xs else 0.0
    fronts = [side for side in sides if _run(side)[1] <= FRONT_SLOPE * _run(side)[0]]
    longest = max(fronts, key=_length, default=None)
    if longest is None or _length(longest) < FRONT_RATIO * width:
        return Footprint((float(ground[nearest, 0]), float(ground[nearest, 1])), None, tuple(sides), None, span, width)
    yaw = _direction_deg(longest)
    return Footprint(longest[0], yaw, tuple(sides), _depth(sides, longest, width), span, width)


def _depth(sides: list[tuple[Point, Point]], front: tuple[Point, Point], width_m: float) -> float | None:
    """How deep the sides that adjoin the front show a thing to be; None where none of them is a side."""
    depths = []
    for side in sides:
        (left, right), (front_left, front_right) = side, front
        gap = min(_length((right, front_left)), _length((front_right, left)))
        square = abs(abs(_direction_deg(side) - _direction_deg(front)) - 90.0) <= SQUARE_DEG
        if side != front and square and gap <= CORNER_RATIO * width_m and _length(side) >= SIDE_RATIO * width_m:
            depths.append(_length(side))
    return max(depths, default=None)


def _sides(ground: Floats, nearest: int, width_m: float) -> list[tuple[Point, Point]]:
    """The hull's edges on the ground (from left to right each), going out from its nearest corner to both sides."""
    found = []
    for step in (1, -1):
        at = nearest
        for _ in range(len(ground)):
            following = (at + step) % len(ground)
            ends = sorted([(float(x), float(y)) for x, y in ground[[at, following]]])
            across, back = _run((ends[0], ends[1]))
            behind = float(ground[following, 1] - ground[nearest, 1])
            if not (back <= SIDE_SLOPE * across + 1e-9 and behind <= 1.5 * width_m):  # also where there is no ground
                break
            if across > 1e-6:
                found.append((ends[0], ends[1]))
            at = following
    return found


def _run(side: tuple[Point, Point]) -> Point:
    """How far a side runs sideways and backwards."""
    (x0, y0), (x1, y1) = side
    return abs(x1 - x0), abs(y1 - y0)


def _length(side: tuple[Point, Point]) -> float:
    return hypot(*_run(side))


def _direction_deg(side: tuple[Point, Point]) -> float:
    (x0, y0), (x1, y1) = side
    return degrees(atan2(y1 - y0, x1 - x0))


def _rows(pixels: Floats) -> tuple[Row, Row, Row]:
    first, second, third = ((float(a), float(b), float(c), float(d)) for a, b, c, d in pixels)
    return first, second, third


def _on_ground(pixels: Floats, hull: Floats) -> Floats:
    """Ground points (right, back) of pixels (n, 2); nan for those that show no ground."""
    matrix = pixels[:, [0, 1, 3]]
    back = np.column_stack([hull, np.ones(len(hull))]) @ np.linalg.inv(matrix).T
    in_front = matrix[2, 2] * back[:, 2] > 0.0  # the contact, at the origin, is in front
    result = np.full((len(hull), 2), np.nan)
    result[in_front] = back[in_front, :2] / back[in_front, 2:]
    return result
