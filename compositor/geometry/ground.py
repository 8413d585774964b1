"""Ground points and pixels: the pair of functions everything that stands on the ground goes through."""

import numpy as np

from compositor.base.arrays import Floats
from compositor.base.errors import GeometryError
from compositor.geometry.camera import Camera

# By eye: a ground point this much nearer to the horizon than a hundredth of a pixel is not a place one can mean.
NEAREST_TO_HORIZON_PX = 0.01


def ground_point(camera: Camera, pixel: tuple[float, float]) -> tuple[float, float]:
    """The ground point (X, Y) in metres that a pixel shows: its ray met with Z = 0.

    Raises GeometryError for a pixel on or above the horizon, which shows no ground.
    """
    a, b, c = camera.horizon
    below_px = a * pixel[0] + b * pixel[1] + c
    if below_px < NEAREST_TO_HORIZON_PX:
        place = "on" if below_px > -NEAREST_TO_HORIZON_PX else f"{-below_px:.1f} px above"
        raise GeometryError(f"lies {place} the horizon, where there is no ground")
    x, y, z = camera.ray(pixel)
    reach = -camera.height_m / z
    return x * reach, y * reach


def ground_pixel(camera: Camera, ground_m: tuple[float, float], raise_m: float = 0.0) -> Floats:
    """The pixel (2,) of a ground point (X, Y), or of the point that much above it.

    Raises GeometryError where the point is not in front of the camera.
    """
    return np.array(camera.pixel((*ground_m, raise_m)))
