"""Planes that pictures stand or lie in, and the homographies between a plane and a camera's pixels.

A plane carries coordinates (s, z): metres to the right and up from its origin, as its camera sees it. One
homography P maps (s, z, 1) to pixels, so a flat element goes from its own picture to the plate by
W = P_plate · P_element⁻¹ (Hartley & Zisserman 2004, section 8.1.1: images of planes).
"""

from dataclasses import dataclass
from math import atan2, cos, hypot, radians, sin

import numpy as np

from compositor.base.arrays import Floats
from compositor.base.errors import GeometryError
from compositor.geometry.camera import Camera, Vector
from compositor.geometry.homography import Matrix


@dataclass(frozen=True)
class Plane:
    """A plane in the world: origin (metres) and the unit directions of its two coordinates."""

    origin_m: Vector
    right: Vector
    up: Vector

    def to_pixels(self, camera: Camera) -> Matrix:
        """3×3: plane coordinates (s, z, 1) in metres to homogeneous pixels of a camera."""
        x, y, z = self.origin_m
        columns = self.right, self.up, (x, y, z - camera.height_m)
        across, down, ahead = (tuple(i * a + j * b + k * c for a, b, c in columns) for i, j, k in camera.axes)
        (cx, cy), f = camera.principal_px, camera.focal_px
        return (
            (f * across[0] + cx * ahead[0], f * across[1] + cx * ahead[1], f * across[2] + cx * ahead[2]),
            (f * down[0] + cy * ahead[0], f * down[1] + cy * ahead[1], f * down[2] + cy * ahead[2]),
            (ahead[0], ahead[1], ahead[2]),
        )

    def homography(self, camera: Camera) -> Floats:
        """The same as an array."""
        return np.array(self.to_pixels(camera))

    def point_m(self, s_m: float, z_m: float) -> Vector:
        """World point of plane coordinates."""
        return _along(self.origin_m, (s_m, self.right), (z_m, self.up))

    def turned(self, turn_deg: float) -> "Plane":
        """The plane with its coordinates turned clockwise, as seen in its picture, about the origin."""
        c, s = cos(radians(turn_deg)), sin(radians(turn_deg))
        right = _along((0.0, 0.0, 0.0), (c, self.right), (-s, self.up))
        return Plane(self.origin_m, right, _along((0.0, 0.0, 0.0), (s, self.right), (c, self.up)))

    def mirrored(self) -> "Plane":
        """The plane with right and left exchanged: a flipped picture."""
        x, y, z = self.right
        return Plane(self.origin_m, (-x, -y, -z), self.up)


def facing(ground_m: tuple[float, float], raise_m: float = 0.0) -> Plane:
    """The upright plane over a ground point (X, Y), turned to face a camera that stands over the origin."""
    right = _across(ground_m)
    return Plane((*ground_m, raise_m), right, (0.0, 0.0, 1.0))


def frontal(ground_m: tuple[float, float], raise_m: float = 0.0) -> Plane:
    """The upright plane over a ground point that is square to the camera's own forward direction.

    Moving it along the ground keeps it parallel to itself, which is how a part of the plate is used again.
    """
    return Plane((*ground_m, raise_m), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0))


def lying(ground_m: tuple[float, float], raise_m: float = 0.0) -> Plane:
    """The level plane at a ground point; its up direction points away from the camera along the ground."""
    right = _across(ground_m)
    return Plane((*ground_m, raise_m), right, (-right[1], right[0], 0.0))


def along_wall(foot_m: tuple[float, float], start_m: Floats, end_m: Floats, raise_m: float = 0.0) -> Plane:
    """The upright plane of a wall that meets the ground from start to end (X, Y), with its origin at foot.

    Its right direction is the one that runs to the right as the camera sees the wall's front.
    Raises GeometryError for a wall without length or seen edge on.
    """
    run = np.asarray(end_m, dtype=np.float64) - np.asarray(start_m, dtype=np.float64)
    length = hypot(float(run[0]), float(run[1]))
    if length < 1e-6:
        raise GeometryError("the two points of the wall's foot coincide")
    right = run / length
    towards = right[0] * foot_m[1] - right[1] * foot_m[0]  # > 0: the camera sees this side, right is right
    if abs(towards) < 1e-3 * hypot(*foot_m):
        raise GeometryError("the wall is seen edge on")
    if towards < 0:
        right = -right
    return Plane((*foot_m, raise_m), (float(right[0]), float(right[1]), 0.0), (0.0, 0.0, 1.0))


def _across(ground_m: tuple[float, float]) -> Vector:
    """The level direction across the line of sight to a ground point, to the right."""
    azimuth = atan2(ground_m[0], ground_m[1])
    return (cos(azimuth), -sin(azimuth), 0.0)


def _along(start: Vector, *ways: tuple[float, Vector]) -> Vector:
    """Where one comes to from a start by so much of each way."""
    x, y, z = start
    for length, (dx, dy, dz) in ways:
        x, y, z = x + length * dx, y + length * dy, z + length * dz
    return x, y, z
