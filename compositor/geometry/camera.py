"""The pinhole camera over level ground, and the lens distortion that is removed before it.

Conventions (used everywhere in this package):

world   metres; ground is the plane Z = 0; X right, Y forward (the horizontal direction of the camera's optical
        axis), Z up; the camera stands over the origin at (0, 0, height).
image   continuous pixel coordinates, (0, 0) = the top-left CORNER of the top-left pixel; u right, v down.
angles  pitch > 0: aimed above the horizontal; roll > 0: turned clockwise as seen from behind, so that the
        horizon rises toward the right edge. Degrees outside functions, radians only inside.

Source: Hartley & Zisserman, Multiple View Geometry, 2nd ed. 2004, ch. 6 (camera models).
"""

from dataclasses import dataclass
from functools import cached_property
from math import atan2, cos, degrees, hypot, radians, sin

import numpy as np
from numpy.typing import ArrayLike

from compositor.base.arrays import Floats, as_points, fixed, with_ones
from compositor.base.errors import GeometryError


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
    def rotation(self) -> Floats:
        """R, 3×3: world directions to camera directions."""
        p, r = radians(self.pitch_deg), radians(self.roll_deg)
        tilt = np.array([[1.0, 0.0, 0.0], [0.0, sin(p), -cos(p)], [0.0, cos(p), sin(p)]])
        turn = np.array([[cos(r), sin(r), 0.0], [-sin(r), cos(r), 0.0], [0.0, 0.0, 1.0]])
        return fixed(turn @ tilt)

    @property
    def position_m(self) -> Floats:
        """C, shape (3,): where the camera stands."""
        return np.array([0.0, 0.0, self.height_m])

    @cached_property
    def matrix(self) -> Floats:
        """P = K·R·[I | −C], 3×4: homogeneous world points to homogeneous pixels."""
        return fixed(self.intrinsics @ self.rotation @ np.column_stack([np.eye(3), -self.position_m]))

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

    def direction_px(self, direction: ArrayLike) -> Floats:
        """Homogeneous pixel (3,) of a world direction (3,): its vanishing point, w = 0 where at infinity."""
        result: Floats = self.intrinsics @ self.rotation @ np.asarray(direction, dtype=np.float64)
        return result

    def horizon_line(self) -> Floats:
        """The horizon as (a, b, c) with a·u + b·v + c = 0, (a, b) of unit length and b > 0 below it.

        The value at a pixel is its signed distance in px from the horizon, positive on the ground's side.
        """
        return self._horizon

    @cached_property
    def _horizon(self) -> Floats:
        line = self.direction_px_line(np.array([0.0, 0.0, 1.0]))
        return fixed(-line / hypot(float(line[0]), float(line[1])))

    def direction_px_line(self, normal: ArrayLike) -> Floats:
        """The vanishing line (a, b, c), unscaled, of all planes with this world normal; positive towards it."""
        result: Floats = np.linalg.inv(self.intrinsics).T @ self.rotation @ np.asarray(normal, dtype=np.float64)
        return result

    def horizon_row(self, column_px: float) -> float:
        """Row of the horizon at a column."""
        a, b, c = self.horizon_line()
        return float(-(a * column_px + c) / b)

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
        # What does not depend on the height is the same array; a cached property keeps its value here.
        found.__dict__.update((name, kept) for name, kept in self.__dict__.items() if name in _AT_ANY_HEIGHT)
        return found


_AT_ANY_HEIGHT = frozenset({"intrinsics", "rotation", "_horizon"})


def pitch_from_horizon(line: Floats, focal_px: float, principal_px: tuple[float, float]) -> tuple[float, float]:
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


def line_through(point_px: tuple[float, float], roll_deg: float) -> Floats:
    """The line (a, b, c) through a pixel that a horizon of this roll makes."""
    a, b = sin(radians(roll_deg)), cos(radians(roll_deg))
    return np.array([a, b, -(a * point_px[0] + b * point_px[1])])
