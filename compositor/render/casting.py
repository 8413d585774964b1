"""The maps of one element's shadow: how much of a light it keeps from each place of the planes around it.

They depend on the element, the light and the plate's camera, and on no view: all deliveries of a variant may share
them.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from compositor.base.arrays import Floats, Pixels, with_ones
from compositor.base.errors import GeometryError
from compositor.base.opencv import cv2
from compositor.geometry.camera import Camera
from compositor.geometry.planes import Plane
from compositor.geometry.polygons import in_front
from compositor.geometry.shadow import Throw, half_shadow_radii, sunward_ground
from compositor.geometry.sun import HALF_ANGLE_DEG
from compositor.plan.light import Light, Point, Shadow
from compositor.render.silhouette import Silhouette
from compositor.render.throwing import Grid, grid_over, skylight_kept, thrown

UP = np.array([0.0, 0.0, 1.0])
MOST_PIXELS = 120_000
"""Samples of a cast shadow's map, about one per pixel of the plate where the element stands; its half-shadow is wider
than they are apart where a shadow is longer than that."""

SKY_PIXELS = 3_000
"""Samples of a contact shadow's map."""

SKY_REACH = 0.6
"""How far around a thing, as a share of its height, its contact shadow reaches; beyond it is fainter than FAINT."""

WALL_TOP_M = 1000.0

LEAST_SHARE = 1e-3
"""Less of a light is not missed."""


@dataclass(frozen=True)
class PlaneMap:
    """How much of a light is kept from the samples of a grid on a plane, (h, w) float32 0..1.

    to_frame: 3×3, from its pixels to those of the plate. on_wall: whether it lies on a wall, and not on the ground.
    """

    to_frame: Floats
    share: Pixels
    on_wall: bool = False

    @cached_property
    def box_px(self) -> tuple[float, float, float, float] | None:
        """Where in the plate there is something to be seen of it: left, top, right, bottom; None: nowhere."""
        visible = in_front(with_ones(self._outline_px) @ self.to_frame.T)
        if len(visible) == 0:
            return None
        points = visible[:, :2] / visible[:, 2:]
        (left, top), (right, bottom) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
        return left, top, right, bottom

    @property
    def _outline_px(self) -> Floats:
        """Convex polygon (n, 2) of its samples, between which there is something to be seen; none where there is
        nothing."""
        there = np.asarray(self.share > LEAST_SHARE).view(np.uint8)
        found, _ = cv2.findContours(there, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
        if not found:
            return np.zeros((0, 2))
        corners = cv2.convexHull(np.concatenate(found))
        reached = [corners + np.array(away, np.int32) for away in ((-1, -1), (2, -1), (2, 2), (-1, 2))]
        return cv2.convexHull(np.concatenate(reached)).reshape(-1, 2).astype(np.float64)


def sun_maps(shadow: Shadow, silhouette: Silhouette, light: Light, camera: Camera) -> list[PlaneMap]:
    """The sun's light that is kept from the ground and from walls."""
    if light.sun is None:
        return []
    direction = light.sun.direction
    foot_m = (shadow.frame.origin_m[0], shadow.frame.origin_m[1])
    found = [_thrown(shadow, silhouette, (sunward_ground(foot_m, direction), UP, direction), camera, None)]
    for wall in light.walls_m:
        plane, facing = _upright(wall)
        found.append(_thrown(shadow, silhouette, (plane, facing, direction), camera, wall))
    return [one for one in found if one is not None]


def sky_map(shadow: Shadow, silhouette: Silhouette, light: Light, camera: Camera) -> PlaneMap | None:
    """The sky's light that is kept from the ground around an element."""
    points = shadow.frame.to_world(shadow.solid.outline_m)
    height = float(points[:, 2].max())
    if height <= 0.0:
        return None
    foot_m = (shadow.frame.origin_m[0], shadow.frame.origin_m[1])
    plane = Plane((*foot_m, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0))
    flat = points[:, :2] - np.array(foot_m)
    low, high = flat.min(axis=0) - SKY_REACH * height, flat.max(axis=0) + SKY_REACH * height
    grid = grid_over(low, high, _fineness(plane, shadow, camera), SKY_PIXELS)
    sun = None if light.sun is None else light.sun.direction
    share = skylight_kept(silhouette, shadow.frame, plane, grid, sun)
    return PlaneMap(plane.homography(camera) @ grid.to_plane, share)


def _thrown(
    shadow: Shadow,
    silhouette: Silhouette,
    lit: tuple[Plane, Floats, Floats],
    camera: Camera,
    wall: tuple[Point, Point] | None,
) -> PlaneMap | None:
    """A cast shadow on one plane. lit: the plane, its normal on the lit side and the direction to the light."""
    plane, facing, direction = lit
    try:
        throw = Throw(shadow.solid, shadow.frame, direction, plane, facing)
    except GeometryError:
        return None  # a wall that the sun does not reach
    low, high = throw.bounds_m()
    spread = np.array(half_shadow_radii(throw.most_towards_m, throw.slant, HALF_ANGLE_DEG))
    low, high = low - spread, high + spread
    if wall is not None:
        length = float(np.hypot(wall[1][0] - wall[0][0], wall[1][1] - wall[0][1]))
        low, high = np.maximum(low, (0.0, 0.0)), np.minimum(high, (length, WALL_TOP_M))
    if np.any(high - low <= 0.0):
        return None
    grid = grid_over(low, high, _fineness(plane, shadow, camera), MOST_PIXELS)
    share = thrown(silhouette, throw, grid, HALF_ANGLE_DEG)
    to_frame = plane.homography(camera) @ grid.to_plane
    return PlaneMap(to_frame, share if wall is None else _cut(share, grid, low, high), wall is not None)


def _upright(wall: tuple[Point, Point]) -> tuple[Plane, Floats]:
    """The plane of a wall, and its normal to the side of the camera, which stands over the origin."""
    (x0, y0), (x1, y1) = wall
    length = float(np.hypot(x1 - x0, y1 - y0))
    right = ((x1 - x0) / length, (y1 - y0) / length, 0.0)
    facing = np.array([-right[1], right[0], 0.0])
    if facing @ [x0, y0, 0.0] > 0.0:
        facing = -facing
    return Plane((x0, y0, 0.0), right, (0.0, 0.0, 1.0)), facing


def _fineness(plane: Plane, shadow: Shadow, camera: Camera) -> tuple[float, float]:
    """Samples per metre of a plane that the plate can show where the element stands."""
    matrix = plane.homography(camera)
    offset = np.array(shadow.frame.origin_m) - np.array(plane.origin_m)
    u, v, w = matrix @ [float(offset @ np.array(plane.right)), float(offset @ np.array(plane.up)), 1.0]
    columns = [np.hypot(*(matrix[:2, i] * w - matrix[2, i] * np.array([u, v]))) / w**2 for i in (0, 1)]
    return float(columns[0]), float(columns[1])


def _cut(share: Pixels, grid: Grid, low_m: Floats, high_m: Floats) -> Pixels:
    """A map with nothing outside a rectangle of its plane."""
    x = grid.low_m[0] + (np.arange(grid.size[0]) + 0.5) / grid.per_m[0]
    y = grid.low_m[1] + (np.arange(grid.size[1]) + 0.5) / grid.per_m[1]
    inside = ((x >= low_m[0]) & (x <= high_m[0]))[np.newaxis, :] & ((y >= low_m[1]) & (y <= high_m[1]))[:, np.newaxis]
    return np.where(inside, share, np.float32(0.0))
