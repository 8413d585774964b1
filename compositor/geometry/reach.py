"""How far away the points of a plane are that a camera sees at its pixels."""

import numpy as np
from numpy.typing import ArrayLike

from compositor.base.arrays import Floats
from compositor.geometry.camera import Camera
from compositor.geometry.planes import Plane


def reach(camera: Camera, plane: Plane, points_px: ArrayLike) -> tuple[Floats, Floats]:
    """(along the ray, along the camera's axis), metres, shape (n,) each, of the plane's points at pixels (n, 2).

    Both are inf where the ray does not meet the plane in front of the camera.
    """
    rays = camera.rays(points_px)
    normal = np.cross(plane.right, plane.up)
    toward = rays @ normal
    with np.errstate(divide="ignore", invalid="ignore"):
        times = ((np.array(plane.origin_m) - camera.position_m) @ normal) / toward
    depth_m = np.where(np.isfinite(times) & (times > 0.0), times, np.inf)  # a ray's part along the axis is 1
    result: tuple[Floats, Floats] = (depth_m * np.linalg.norm(rays, axis=1), depth_m)
    return result
