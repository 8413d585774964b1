"""The pinhole camera over level ground, and the lens distortion that is removed before it.

Conventions (used everywhere in this package):

world   metres; ground is the plane Z = 0; X right, Y forward (the horizontal direction of the camera's optical
        axis), Z up; the camera stands over the origin at (0, 0, height).
image   continuous pixel coordinates, (0, 0) = the top-left CORNER of the top-left pixel; u right, v down.
angles  pitch > 0: aimed above the horizontal; roll > 0: turned clockwise as seen from behind, so that the
        horizon rises toward the right edge. Degrees outside functions, radians only inside.

Source: Hartley & Zisserman, Multiple View Geometry, 2nd ed. 2004, ch. 6 (camera models).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from math import atan2, cos, degrees, hypot, radians, sin

import numpy as np
from numpy.typing import ArrayLike

from compositor.base.arrays import Floats, as_points, fixed, with_ones
from compositor.base.errors import GeometryError

Vector = tuple[float, float, float]


@dataclass(frozen=True)
class Camera:
    """A solved camera.

    focal_px: focal length in pixels (square pixels). principal_px: (cx, cy), the centre of the ORIGINAL
    photograph in this picture's pixels, outside the picture after some crops. size_px: (width, height) of
    this picture. height_m: over the ground. The matrices are worked out once and cannot be written to.
    """

    focal_px: float
    principal_px: tuple[float, float]
    size_px: tuple[int, int]
    pitch_deg: float
    roll_deg: float
    height_m: float

    @cached_property
    def intrinsics(self) -> Floats:
        """K, 3×3: camera rays (x right, y down, z forward) to homogeneous pixels."""
        (cx, cy), f = self.principal_px, self.focal_px
        return fixed(np.array([[f, 0.0, cx], [0.0, f, cy], [0.0, 0.0, 1.0]]))

    @cached_property
    def axes(self) -> tuple[Vector, Vector, Vector]:
        """The camera's right, down and forward directions in the world: the rows of R.

        One point at a time costs a tenth in plain numbers of what it costs in arrays, whence `ray` and `pixel`.
        """
        p, r = radians(self.pitch_deg), radians(self.roll_deg)
        (sp, cp), (sr, cr) = (sin(p), cos(p)), (sin(r), cos(r))
        return (cr, sr * sp, -sr * cp), (-sr, cr * sp, -cr * cp), (0.0, cp, sp)

    @cached_property
    def rotation(self) -> Floats:
        """R, 3×3: world directions to camera directions."""
        return fixed(np.array(self.axes))

    @property
    def position_m(self) -> Floats:
        """C, shape (3,): where the camera stands."""
        return np.array([0.0, 0.0, self.height_m])

    @cached_property
    def matrix(self) -> Floats:
        """P = K·R·[I | −C], 3×4: homogeneous world points to homogeneous pixels."""
        f, h, forward = self.focal_px, self.height_m, self.axes[2]
        rows = [
            [f * across + centre * ahead for across, ahead in zip(axis, forward, strict=True)]
            for axis, centre in zip(self.axes[:2], self.principal_px, strict=True)
        ]
        return fixed(np.array([[*row, -h * row[2]] for row in (*rows, forward)]))

    def project(self, points_m: ArrayLike) -> Floats:
        """Pixels (n, 2) of world points (n, 3). Raises GeometryError for points not in front of the camera."""
        points = np.atleast_2d(np.asarray(points_m, dtype=np.float64))
        mapped = with_ones(points) @ self.matrix.T
        if np.any(mapped[:, 2] <= 1e-9):
            raise GeometryError("a point lies behind the camera")
        result: Floats = mapped[:, :2] / mapped[:, 2:3]
        return result

    def rays(self, points_px: ArrayLike) -> Floats:
        """World directions (n, 3), not normalised, of the light that reaches pixels (n, 2)."""
        in_camera = with_ones((as_points(points_px) - self.principal_px) / self.focal_px)
        result: Floats = in_camera @ self.rotation
        return result

    def ray(self, pixel: tuple[float, float]) -> Vector:
        """World direction, not normalised, of the light that reaches one pixel."""
        (rx, ry, rz), (dx, dy, dz), (fx, fy, fz) = self.axes
        x = (pixel[0] - self.principal_px[0]) / self.focal_px
        y = (pixel[1] - self.principal_px[1]) / self.focal_px
        return x * rx + y * dx + fx, x * ry + y * dy + fy, x * rz + y * dz + fz

    def pixel(self, point_m: Vector) -> tuple[float, float]:
        """Pixel of one world point. Raises GeometryError for a point not in front of the camera."""
        (rx, ry, rz), (dx, dy, dz), (fx, fy, fz) = self.axes
        x, y, z = point_m[0], point_m[1], point_m[2] - self.height_m
        depth_m = fx * x + fy * y + fz * z
        if depth_m <= 1e-9:
            raise GeometryError("a point lies behind the camera")
        right, down = (rx * x + ry * y + rz * z) / depth_m, (dx * x + dy * y + dz * z) / depth_m
        return self.focal_px * right + self.principal_px[0], self.focal_px * down + self.principal_px[1]

    def direction_px(self, direction: ArrayLike) -> Floats:
        """Homogeneous pixel (3,) of a world direction (3,): its vanishing point, w = 0 where at infinity."""
        result: Floats = self.intrinsics @ self.rotation @ np.asarray(direction, dtype=np.float64)
        return result

    @cached_property
    def horizon(self) -> Vector:
        """The horizon as (a, b, c) with a·u + b·v + c = 0, (a, b) of unit length and b > 0 below it.

        The value at a pixel is its signed distance in px from the horizon, positive on the ground's side.
        """
        a, b, c = (-axis[2] for axis in self.axes)  # downwards, as the camera sees it
        (cx, cy), f, length = self.principal_px, self.focal_px, hypot(a, b)
        return a / length, b / length, (c * f - (cx * a + cy * b)) / length

    def horizon_line(self) -> Floats:
        """The horizon (a, b, c) as an array."""
        return self._horizon_line

    @cached_property
    def _horizon_line(self) -> Floats:
        return fixed(np.array(self.horizon))

    def horizon_row(self, column_px: float) -> float:
        """Row of the horizon at a column."""
        a, b, c = self.horizon
        return -(a * column_px + c) / b

    def shifted(self, right_px: float, down_px: float, size_px: tuple[int, int]) -> "Camera":
        """The same camera after its picture was moved inside a new frame (cropping, extending)."""
        cx, cy = self.principal_px
        return Camera(
            self.focal_px,
            (cx + right_px, cy + down_px),
            size_px,
            self.pitch_deg,
            self.roll_deg,
            self.height_m,
        )

    def at_height(self, height_m: float) -> "Camera":
        """The same camera at another height."""
        found = Camera(self.focal_px, self.principal_px, self.size_px, self.pitch_deg, self.roll_deg, height_m)
        # What does not depend on the height is the same; a cached property keeps its value here.
        # Looked up by name: other threads may be adding theirs.
        found.__dict__.update((name, self.__dict__[name]) for name in _AT_ANY_HEIGHT if name in self.__dict__)
        return found


_AT_ANY_HEIGHT = frozenset({"intrinsics", "axes", "rotation", "horizon", "_horizon_line"})


def pitch_from_horizon(
    line: Iterable[float], focal_px: float, principal_px: tuple[float, float]
) -> tuple[float, float]:
    """(pitch_deg, roll_deg) of a camera from its horizon line (a, b, c) in pixels, any scale and sign.

    The distance of the principal point from the line is f·|tan pitch|; the line's slope is the roll
    (Hartley & Zisserman, section 8.6).
    """
    a, b, c = (float(x) for x in line)
    if b == 0.0:
        raise GeometryError("the horizon stands upright: turn the picture first")
    if b < 0.0:
        a, b, c = -a, -b, -c
    length = hypot(a, b)
    cx, cy = principal_px
    below_px = -(a * cx + b * cy + c) / length  # how far the horizon lies below the principal point
    return degrees(atan2(below_px, focal_px)), degrees(atan2(a, b))


def line_through(point_px: tuple[float, float], roll_deg: float) -> Vector:
    """The line (a, b, c) through a pixel that a horizon of this roll makes."""
    a, b = sin(radians(roll_deg)), cos(radians(roll_deg))
    return a, b, -(a * point_px[0] + b * point_px[1])
