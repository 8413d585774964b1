"""The sun in the plate's world: its direction, and where it comes from.

azimuth: degrees clockwise, seen from above, from the plate's forward direction (world Y): 0 = ahead of the camera,
90 = at its right, 180 = behind it. elevation: degrees above the horizon.
"""

from dataclasses import dataclass
from math import asin, atan2, cos, degrees, hypot, radians, sin, tan

import numpy as np

from compositor.base.arrays import Floats
from compositor.base.errors import GeometryError
from compositor.geometry.camera import Camera
from compositor.geometry.ground import ground_point
from compositor.geometry.heights import upright_height

Pixel = tuple[float, float]

HALF_ANGLE_DEG = 0.2666
"""Half the mean angle of the sun's disc: 959.63 arc seconds at one astronomical unit (NASA's planetary fact sheets)."""

LOWEST_DEG = 0.5
"""A shadow is 115 times as long as what throws it there: below, there is no shadow that anybody could see."""


@dataclass(frozen=True)
class Sun:
    """A direction to the sun."""

    azimuth_deg: float
    elevation_deg: float

    @property
    def direction(self) -> Floats:
        """Unit vector (3,) from the ground to the sun."""
        azimuth, elevation = radians(self.azimuth_deg), radians(self.elevation_deg)
        level = cos(elevation)
        return np.array([level * sin(azimuth), level * cos(azimuth), sin(elevation)])


def sun_at_pixel(camera: Camera, pixel: Pixel) -> Sun:
    """The sun whose middle is seen at a pixel. Raises GeometryError on or below the horizon."""
    ray = camera.rays(pixel)[0]
    elevation = degrees(asin(float(ray[2] / np.linalg.norm(ray))))
    if elevation < LOWEST_DEG:
        raise GeometryError("lies on or below the horizon, where the sun throws no shadow")
    return Sun(degrees(atan2(ray[0], ray[1])), elevation)


def sun_of_shadow(camera: Camera, base_px: Pixel, top_px: Pixel, tip_px: Pixel) -> Sun:
    """The sun that makes an upright object's top throw its shadow to a tip, all three as seen.

    Raises GeometryError where base or tip show no ground, the top does not stand above the base, or the shadow has
    no length.
    """
    base, tip = ground_point(camera, base_px), ground_point(camera, tip_px)
    height_m = upright_height(camera, base_px, top_px)
    run = (base[0] - tip[0], base[1] - tip[1])
    length_m = hypot(*run)
    if length_m < 1e-6 * height_m:
        raise GeometryError("the shadow has no length: the sun would stand overhead, without a direction")
    sun = Sun(degrees(atan2(*run)), degrees(atan2(height_m, length_m)))
    if sun.elevation_deg < LOWEST_DEG:
        raise GeometryError("the shadow is so long that the sun would stand on the horizon")
    return sun


def shadow_length(height_m: float, elevation_deg: float) -> float:
    """How far on level ground the shadow of a point at a height reaches."""
    return height_m / tan(radians(elevation_deg))


def shadow_tip(point_m: tuple[float, float, float], sun: Sun) -> Pixel:
    """The ground point (X, Y) that the shadow of a world point falls on: (x, y) − z·cot(el)·(sin az, cos az)."""
    x, y, z = point_m
    reach, azimuth = shadow_length(z, sun.elevation_deg), radians(sun.azimuth_deg)
    return x - reach * sin(azimuth), y - reach * cos(azimuth)
