"""How far away the points of a plane are that a camera sees at its pixels."""

import numpy as np

from compositor.base.arrays import Floats
from compositor.geometry.camera import Camera
from compositor.geometry.planes import Plane


def reach(camera: Camera, plane: Plane, columns_px: Floats, rows_px: Floats) -> tuple[Floats, Floats]:
    """(along the ray, along the camera's axis), metres, shape (h, w) each, at pixels of columns (w,) and rows (h,).

    Both are inf where the ray does not meet the plane in front of the camera. The inverse depth of a plane is a linear
    function of the pixel (Hartley & Zisserman 2004, section 13.1), so three rays tell all of them.
    """
    normal = np.cross(plane.right, plane.up)
    apart_m = float((np.array(plane.origin_m) - camera.position_m) @ normal)
    corner, right, down = (camera.rays([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]) @ normal) / (apart_m or np.inf)
    inverse = corner + (right - corner) * columns_px[np.newaxis, :] + (down - corner) * rows_px[:, np.newaxis]
    depth_m = np.where(inverse > 0.0, 1.0 / np.where(inverse > 0.0, inverse, 1.0), np.inf)
    (cx, cy), focal_px = camera.principal_px, camera.focal_px
    across, along = (columns_px[np.newaxis, :] - cx) / focal_px, (rows_px[:, np.newaxis] - cy) / focal_px
    return depth_m * np.sqrt(1.0 + across**2 + along**2), depth_m
