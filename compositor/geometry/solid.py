"""A cut-out given thickness, so that light from the side meets something.

Subject coordinates: metres (right, back, up) from the element's contact, back being horizontally away from the camera
for what stands. From the near edge of its footprint the solid reaches backwards, a part as far as it is broad, and not
out of the footprint where that is known.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import atan2, cos, radians, sin, sqrt

import numpy as np

from compositor.base.arrays import Floats, apply_homography, fixed
from compositor.geometry.homography import Matrix, carried, inverse
from compositor.geometry.standing import WIDE_BASE_RATIO, Footprint, Point, Side, footprint

Row = tuple[float, float, float, float]

DEPTH_RATIO = 0.5
"""Depth of a thing as a share of its width, where nothing states or shows it: chest depth over shoulder breadth of a
standing person (ANSUR II, NATICK/TR-15/007, value from memory)."""

STEM_RATIO = 0.25
"""A thing whose footprint is not wider than this share of its width (a parasol, a tree, a lamp) is round about it."""

PART_DEPTH_RATIO = 0.9
"""Depth of a thing's parts as a share of how broad they are. Chosen in tests/studies/shadow_thickness.py."""

APART_RATIO = 0.25
"""From this share on, where one looks through below a thing's front, it stands on feet or legs."""

FEET_RATIO = 0.75
"""How far behind its feet's front line the middle of what stands on feet lies, as a share of how deep it is: people
stand on their ankles, three quarters of a foot behind the toes (ANSUR II, value from memory)."""

_LEAST = 1e-9
_FAR_M = 300.0


@dataclass(frozen=True)
class Build:
    """What a matte tells of a thing: how broad its parts are (px, root of the mean square), and the share of its
    front, down at the ground, below which one looks through."""

    breadth_px: float
    apart_ratio: float


@dataclass(frozen=True)
class Solid:
    """A silhouette with thickness.

    pixels: 3×4, subject coordinates to homogeneous pixels of its picture. sides_m: where its surfaces stand on the
    ground; empty: on the front line. far_m: where it ends behind; empty: unknown. middle_m: how far behind the front
    line the middle of every part lies; None: every part starts at its surface. depth_m: the most that a part is thick.
    is_round: as deep everywhere as it is wide there.
    """

    pixels: tuple[Row, Row, Row]
    hull_px: tuple[Point, ...]
    front_m: Point
    yaw_deg: float
    depth_m: float
    middle_m: float | None
    sides_m: tuple[Side, ...] = ()
    far_m: tuple[Side, ...] = ()
    is_round: bool = False

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

    @cached_property
    def eye(self) -> tuple[Floats, Floats]:
        """3×3: directions in subject coordinates to homogeneous pixels, positive ahead; and the eye (3,) that took the
        picture, very far away for orthographic ones."""
        matrix = self.matrix * np.sign(self.matrix[2, 3])
        if abs(np.linalg.det(matrix[:, :3])) < _LEAST * float(np.abs(matrix[:, :3]).max()) ** 3:
            matrix = matrix + np.outer(matrix[:, 3], [*(self.normal / _FAR_M), 0.0])
        return fixed(matrix[:, :3]), fixed(-np.linalg.solve(matrix[:, :3], matrix[:, 3]))

    def slice_homography(self, behind_m: float) -> Floats:
        """3×3: (metres along the front line, metres up) in the slice so far behind the front line, to pixels."""
        origin = np.array(self.front_m) + behind_m * self.normal[:2]
        return np.array(self._upright((float(origin[0]), float(origin[1])), radians(self.yaw_deg)))

    def surfaces(self, sides_m: tuple[Side, ...]) -> list[Floats]:
        """For each side a pair of rows (2, 3) on homogeneous pixels: quotient = how far behind the front line the ray
        of a pixel meets that side's upright plane. The ray enters the solid at the greatest of those of its sides, and
        leaves it at the least of those of its far sides."""
        rows = []
        for (x0, y0), (x1, y1) in sides_m:
            angle = atan2(y1 - y0, x1 - x0)
            back = np.array(inverse(self._upright((x0, y0), angle)))
            start = float(self.normal[:2] @ (np.array([x0, y0]) - np.array(self.front_m)))
            along = float(self.normal[:2] @ np.array([cos(angle), sin(angle)]))
            rows.append(np.array([start * back[2] + along * back[0], back[2]]))
        return rows

    @cached_property
    def outline_m(self) -> Floats:
        """The silhouette's hull in its first and last slice, (n, 3), subject coordinates: the solid lies between."""
        parts = []
        yaw = radians(self.yaw_deg)
        along = np.array([cos(yaw), sin(yaw), 0.0])
        for behind_m in self.reach_m:
            flat = apply_homography(np.linalg.inv(self.slice_homography(behind_m)), self.hull_px)
            origin = np.array([*self.front_m, 0.0]) + behind_m * self.normal
            parts.append(origin + flat[:, :1] * along + flat[:, 1:] * np.array([0.0, 0.0, 1.0]))
        return fixed(np.concatenate(parts))

    def pixels_per_metre(self) -> float:
        """Scale of its picture at the middle of its silhouette."""
        back = inverse(self._upright(self.front_m, radians(self.yaw_deg)))
        u, v = (sum(values) / len(self.hull_px) for values in zip(*self.hull_px, strict=True))
        (x, y), (x1, y1), (x2, y2) = carried(back, (u, v)), carried(back, (u + 1.0, v)), carried(back, (u, v + 1.0))
        return 1.0 / sqrt(abs((x1 - x) * (y2 - y) - (y1 - y) * (x2 - x)))

    def _upright(self, foot_m: Point, angle_rad: float) -> Matrix:
        """3×3: (metres along, metres up) in the upright plane over a line of the ground, to pixels."""
        (x, y), c, s = foot_m, cos(angle_rad), sin(angle_rad)
        one, two, three = ((c * a + s * b, up, x * a + y * b + start) for a, b, up, start in self.pixels)
        return one, two, three


def solid_of(
    pixels: Sequence[Row] | Floats, hull_px: tuple[Point, ...], depth_m: float | None, build: Build | None = None
) -> Solid:
    """The solid of a silhouette that stands on the ground.

    depth_m: None = what a side of its footprint tells, else nearly as deep as its parts are broad, but not more than a
    share of its width; what stands on a stem or on a round foot is as deep as it is wide. build: None: unknown.
    """
    rows = _rows(pixels)
    found = footprint(rows, hull_px)
    yaw = found.yaw_deg or 0.0
    if found.span_m < STEM_RATIO * found.width_m:
        depth = found.width_m if depth_m is None else float(depth_m)
        return Solid(rows, hull_px, found.front_m, 0.0, depth, found.span_m / 2.0, is_round=True)
    assumed = _depth(found, Solid(rows, hull_px, found.front_m, yaw, 1.0, None).pixels_per_metre(), build)
    depth = assumed if depth_m is None else float(depth_m)
    on_feet = build is not None and build.apart_ratio >= APART_RATIO
    if found.span_m < WIDE_BASE_RATIO * found.width_m:
        return Solid(rows, hull_px, found.front_m, 0.0, depth, found.span_m / 2.0)
    if found.yaw_deg is None:
        if depth_m is None:
            depth = (DEPTH_RATIO if on_feet else 1.0) * found.width_m
        return Solid(rows, hull_px, found.front_m, 0.0, depth, None, found.sides_m, is_round=True)
    if found.depth_m is not None:
        return Solid(rows, hull_px, found.front_m, yaw, depth, None, found.sides_m, found.far_sides(depth))
    middle = FEET_RATIO * min(assumed, depth) if on_feet else depth / 2.0
    return Solid(rows, hull_px, found.front_m, yaw, depth, middle)


def _depth(found: Footprint, px_per_m: float, build: Build | None) -> float:
    """How deep a thing is taken to be where nothing states it."""
    if found.depth_m is not None:
        return found.depth_m
    most = DEPTH_RATIO * found.width_m
    return most if build is None else min(most, PART_DEPTH_RATIO * build.breadth_px / px_per_m)


def flat_solid(pixels: Sequence[Row] | Floats, hull_px: tuple[Point, ...], depth_m: float) -> Solid:
    """The solid of something flat (artwork, what lies): one slice about its own plane."""
    return Solid(_rows(pixels), hull_px, (0.0, 0.0), 0.0, depth_m, 0.0)


def _rows(pixels: Sequence[Row] | Floats) -> tuple[Row, Row, Row]:
    first, second, third = ((float(a), float(b), float(c), float(d)) for a, b, c, d in pixels)
    return first, second, third
