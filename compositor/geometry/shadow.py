"""Shadows of solids on planes: which part of a picture stands between a place and the light.

Light carries (x, y, z) to (x, y) - z·cot(elevation)·(sin azimuth, cos azimuth) on level ground. How a whole solid is
carried at once: :mod:`compositor.geometry.sweep`.
"""

from dataclasses import dataclass
from functools import cached_property
from math import radians, tan

import numpy as np

from compositor.base.arrays import Floats
from compositor.base.errors import GeometryError
from compositor.geometry.camera import Vector
from compositor.geometry.planes import Plane
from compositor.geometry.solid import Solid


@dataclass(frozen=True)
class Frame:
    """Subject coordinates in the plate's world: origin (the contact) and the unit vectors right, back and up."""

    origin_m: Vector
    right: Vector
    back: Vector
    up: Vector

    @property
    def rotation(self) -> Floats:
        """3×3: world directions to subject directions."""
        return np.array([self.right, self.back, self.up])

    def to_world(self, points_m: Floats) -> Floats:
        """Subject points (n, 3) in the world."""
        result: Floats = points_m @ self.rotation + np.array(self.origin_m)
        return result


def frame_of(plane: Plane, eye_m: Vector | Floats) -> Frame:
    """The frame of what stands in a plane, its back turned away from an eye."""
    (a, b, c), (x, y, z) = plane.up, plane.right
    back = b * z - c * y, c * x - a * z, a * y - b * x
    away = sum(part * (here - eye) for part, here, eye in zip(back, plane.origin_m, eye_m, strict=True))
    sign = -1.0 if away < 0.0 else 1.0
    return Frame(plane.origin_m, plane.right, (sign * back[0], sign * back[1], sign * back[2]), plane.up)


def sunward_ground(ground_m: tuple[float, float], direction: Floats) -> Plane:
    """The level ground about a point, its second coordinate running away from the light."""
    away = -np.array([float(direction[0]), float(direction[1])])
    length = float(np.hypot(*away))
    away = np.array([0.0, 1.0]) if length < 1e-9 else away / length
    return Plane((*ground_m, 0.0), (float(away[1]), float(-away[0]), 0.0), (float(away[0]), float(away[1]), 0.0))


@dataclass(frozen=True)
class Throw:
    """A solid in a light, over a receiving plane.

    direction: unit vector (3,) to the light, in the world. Raises GeometryError where the light grazes the plane or
    comes from behind it (`facing` tells which side is lit: the plane's normal on it).
    """

    solid: Solid
    frame: Frame
    direction: Floats
    receiver: Plane
    facing: Floats

    def __post_init__(self) -> None:
        if self.slant < 1e-3:
            raise GeometryError("the light grazes the plane or comes from behind it")

    @property
    def slant(self) -> float:
        """Sine of the angle between the light and the receiving plane."""
        return float(self.direction @ self.facing)

    @property
    def light(self) -> Floats:
        """The direction to the light in subject coordinates."""
        result: Floats = self.frame.rotation @ self.direction
        return result

    @cached_property
    def outline_m(self) -> Floats:
        """The solid's outline (n, 3) in the world, from the receiving plane's origin."""
        result: Floats = self.frame.to_world(self.solid.outline_m) - np.array(self.receiver.origin_m)
        return result

    @property
    def most_towards_m(self) -> float:
        """Metres from the receiving plane, towards the light, to the solid's farthest point."""
        return max(0.0, float((self.outline_m @ self.facing).max()) / self.slant)

    def bounds_m(self) -> tuple[Floats, Floats]:
        """Least and greatest coordinates (2,) on the receiving plane that the shadow can reach."""
        flat = self.landed_m()
        return flat.min(axis=0), flat.max(axis=0)

    def landed_m(self) -> Floats:
        """Coordinates (n, 2) on the receiving plane where the light through the solid's outline lands."""
        above = np.maximum(self.outline_m @ self.facing, 0.0)
        offset = self.outline_m - above[:, np.newaxis] / self.slant * self.direction
        return np.column_stack([offset @ np.array(self.receiver.right), offset @ np.array(self.receiver.up)])

    @property
    def to_subject(self) -> Floats:
        """3×3: receiving plane's (right, up, 1) to subject coordinates."""
        receiver, rotation = self.receiver, self.frame.rotation
        offset = np.array(receiver.origin_m) - np.array(self.frame.origin_m)
        return np.column_stack([rotation @ np.array(part) for part in (receiver.right, receiver.up, offset)])


def half_shadow_radii(towards_m: float, slant: float, half_angle_deg: float) -> tuple[float, float]:
    """Radii in metres, across and along the slope of the light, of the half-shadow of what is so far towards it."""
    radius = towards_m * tan(radians(half_angle_deg))
    return radius, radius / slant


@dataclass(frozen=True)
class SkyPatch:
    """A part of the sky: direction (3,) of its middle, its half-angle in degrees, and its share of the light that the
    whole sky throws on level ground."""

    direction: Floats
    half_angle_deg: float
    share: float


def sky_patches(sun: Floats | None) -> list[SkyPatch]:
    """The sky in patches, brighter around the sun, whose direction (3,) is given; None: overcast, brighter overhead.

    Equal areas of the sky's projection on the ground, after Nusselt: two rings, each turned towards the sun.
    """
    start = 0.0 if sun is None else float(np.arctan2(sun[0], sun[1]))
    turns, shares = (part.ravel() for part in np.meshgrid([-0.8, -0.4, 0.0, 0.4, 0.8], [0.1, 0.3, 0.5, 0.7, 0.9]))
    middles, halves, parts = [], [], []
    for count, inner, outer, half_angle_deg in ((3, 0.0, 0.577, 28.0), (6, 0.577, 1.0, 20.0)):
        azimuths = start + 2.0 * np.pi * np.arange(count) / count
        levels = np.sqrt(inner**2 + (outer**2 - inner**2) * shares)
        parts.append(_on_disc(azimuths[:, np.newaxis] + np.pi * turns / count, levels))
        middles.append(_on_disc(azimuths, np.sqrt((inner**2 + outer**2) / 2.0)))
        halves += [half_angle_deg] * count
    luminance = sky_luminance(np.concatenate(parts), sun).mean(axis=1)
    of_all = luminance / luminance.sum()
    return [
        SkyPatch(direction, half, float(share))
        for direction, half, share in zip(np.concatenate(middles), halves, of_all, strict=True)
    ]


def _on_disc(azimuth_rad: float | Floats, level: float | Floats) -> Floats:
    """The directions (..., 3) in the sky over points of the unit disc."""
    right, ahead = level * np.sin(azimuth_rad), level * np.cos(azimuth_rad)
    return np.stack([right, ahead, np.broadcast_to(np.sqrt(1.0 - level**2), right.shape)], axis=-1)


def sky_luminance(direction: Floats, sun: Floats | None) -> Floats:
    """Luminance of the sky in directions (..., 3), in a unit of its own.

    ISO 15469:2004 (CIE S 011): type 12, clear, about a sun in a direction (3,); without one type 1, overcast.
    """
    up = np.maximum(direction[..., 2], 1e-3)
    if sun is None:
        overcast: Floats = 1.0 + 4.0 * np.exp(-0.70 / up)
        return overcast
    from_sun = np.arccos(np.clip(direction @ sun, -1.0, 1.0))
    gradation = 1.0 - np.exp(-0.32 / up)
    indicatrix = 1.0 + 10.0 * (np.exp(-3.0 * from_sun) - np.exp(-1.5 * np.pi)) + 0.45 * np.cos(from_sun) ** 2
    clear: Floats = gradation * indicatrix
    return clear
