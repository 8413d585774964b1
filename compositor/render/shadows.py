"""Shadow and contact layers: what elements take from the light of the plate's ground.

Both are factors on the plate. A place that one element shades already gets nothing more from the next, and ground that
lies in shadow in the plate gets none at all: every layer holds only what its element adds.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Literal

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.base.errors import GeometryError
from compositor.base.opencv import cv2
from compositor.geometry.camera import Camera
from compositor.geometry.planes import Plane
from compositor.geometry.polygons import in_front
from compositor.geometry.shadow import Throw, sunward_ground
from compositor.geometry.sun import HALF_ANGLE_DEG
from compositor.pixels.footprint import Window
from compositor.pixels.mips import Mips, content_box
from compositor.pixels.strips import run_all
from compositor.pixels.warp import warp
from compositor.plan.light import Light, Point, Shadow
from compositor.plan.model import Plan, Source, StackItem
from compositor.render.layer import Layer, covered_window, cropped
from compositor.render.throwing import MOST_PIXELS, Grid, Silhouette, grid_over, skylight_kept, thrown
from compositor.render.view import View, view_coverage

UP = np.array([0.0, 0.0, 1.0])
OVERSAMPLING = 1.5
"""Samples of a cast shadow's map per pixel where the element stands."""

SKY_PIXELS = 8_000
"""Samples of a contact shadow's map."""

SKY_REACH = 0.6
"""How far around a thing, as a share of its height, its contact shadow reaches; beyond it is fainter than FAINT."""

DARKEST = 0.98
_WALL_TOP_M = 1000.0
_LEAST = 1e-3


@dataclass(frozen=True)
class Kept:
    """How much of a light is kept from the places of a window of the view, (h, w) float32 0..1."""

    window: Window
    share: Pixels

    @property
    def place(self) -> tuple[slice, slice]:
        """Rows and columns of the view."""
        window = self.window
        return slice(window.top, window.top + window.height), slice(window.left, window.left + window.width)


def shadow_layers(
    plan: Plan, element: Callable[[Source], Mips], matte: Callable[[str], Pixels], view: View, kind: type[np.generic]
) -> dict[str, list[Layer]]:
    """The layers of shadows by their elements' names, shadow before contact. kind: uint16 or float32 samples."""
    light = plan.light
    if light is None:
        return {}
    cutters = [_Cutter(shadow, plan, element, view) for shadow in light.shadows]
    kept = run_all([partial(task, light) for cutter in cutters for task in (cutter.sunlight, cutter.skylight)])
    ground = _Ground(light, view, matte)
    layers: dict[str, list[Layer]] = {shadow.element: [] for shadow in light.shadows}
    for cutter, sunlight in zip(cutters, kept[::2], strict=True):
        if sunlight is not None:
            layers[cutter.name] += _layer(cutter.name, "shadow", sunlight, ground.shaded(sunlight), kind)
    for cutter, skylight in zip(cutters, kept[1::2], strict=True):
        if skylight is not None:
            layers[cutter.name] += _layer(cutter.name, "contact", skylight, ground.closed_in(skylight), kind)
    return layers


def lies(plan: Plan, item: StackItem) -> bool:
    """Whether a storey is a picture on the ground that throws no shadow itself."""
    if item.kind != "element" or plan.element(item.name).stance != "flat":
        return False
    return plan.light is None or all(shadow.element != item.name for shadow in plan.light.shadows)


class _Ground:
    """What has been taken from the light of the ground so far, over the whole view."""

    def __init__(self, light: Light, view: View, matte: Callable[[str], Pixels]) -> None:
        width, height = view.size_px
        self.left = light.left_ratio
        self.sun = np.zeros((height, width), np.float32)
        self.sky = np.zeros((height, width), np.float32)
        self.shade = None if light.shade is None else view_coverage(matte(light.shade), view)

    def shaded(self, kept: Kept) -> list[Pixels]:
        """Factors per channel of what hides the sun; the ground remembers."""
        place = kept.place
        before = self._hidden(place)
        after = np.maximum(before, kept.share)
        factors = [_lit(after, left) / _lit(before, left) for left in self.left]
        np.maximum(self.sun[place], kept.share, out=self.sun[place])
        return factors

    def closed_in(self, kept: Kept) -> list[Pixels]:
        """Factors per channel of what hides the sky; the ground remembers."""
        place = kept.place
        hidden = self._hidden(place)
        before = self.sky[place].copy()
        after = np.maximum(before, np.minimum(kept.share, np.float32(DARKEST)))
        self.sky[place] = after
        lit = [_lit(hidden, left) for left in self.left]
        return [(all_ - left * after) / (all_ - left * before) for all_, left in zip(lit, self.left, strict=True)]

    def _hidden(self, place: tuple[slice, slice]) -> Pixels:
        """How much of the sun is hidden, by elements and in the plate itself."""
        if self.shade is None:
            return self.sun[place]
        shade = self.shade[place]
        full = np.float32(65535.0 if shade.dtype == np.uint16 else 1.0)
        hidden: Pixels = np.maximum(self.sun[place], shade.astype(np.float32) / full)
        return hidden


def _lit(hidden: Pixels, left_ratio: float) -> Pixels:
    result: Pixels = np.float32(1.0) - np.float32(1.0 - left_ratio) * hidden
    return result


class _Cutter:
    """One element that stands in the light."""

    def __init__(self, shadow: Shadow, plan: Plan, element: Callable[[Source], Mips], view: View) -> None:
        self.shadow, self.view, self.camera = shadow, view, plan.plate.camera
        self.name = shadow.element
        self.silhouette = Silhouette(element(plan.element(shadow.element).source), shadow.solid)
        self.foot_m = (shadow.frame.origin_m[0], shadow.frame.origin_m[1])

    def sunlight(self, light: Light) -> Kept | None:
        """The sun's light that is kept from the ground and from walls; None where that is not in the view."""
        if light.sun is None or not self.shadow.cast:
            return None
        direction = light.sun.direction
        parts = []
        ground = self._shown(sunward_ground(self.foot_m, direction), UP, direction)
        if ground is not None:
            for wall in light.walls_m:
                _open_behind(ground, self.camera, self.view, wall)
            parts.append(ground)
        for (x0, y0), (x1, y1) in light.walls_m:
            length = float(np.hypot(x1 - x0, y1 - y0))
            right = ((x1 - x0) / length, (y1 - y0) / length, 0.0)
            facing = np.array([-right[1], right[0], 0.0])
            if facing @ [x0, y0, 0.0] > 0.0:  # turned to the camera, which stands over the origin
                facing = -facing
            plane = Plane((x0, y0, 0.0), right, (0.0, 0.0, 1.0))
            part = self._shown(plane, facing, direction, ((0.0, 0.0), (length, _WALL_TOP_M)))
            if part is not None:
                parts.append(part)
        return _joined(parts)

    def skylight(self, light: Light) -> Kept | None:
        """The sky's light that is kept from the ground around the element; None where that is not in the view."""
        if not self.shadow.contact:
            return None
        points = self.shadow.frame.to_world(self.shadow.solid.outline_m())
        height = float(points[:, 2].max())
        plane = Plane((*self.foot_m, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0))
        flat = points[:, :2] - np.array(self.foot_m)
        low, high = flat.min(axis=0) - SKY_REACH * height, flat.max(axis=0) + SKY_REACH * height
        grid = grid_over(low, high, self._fineness(plane), SKY_PIXELS)
        window = self._window(plane, grid)
        if window is None or height <= 0.0:
            return None
        sun = None if light.sun is None else light.sun.direction
        return self._seen(skylight_kept(self.silhouette, self.shadow.frame, plane, grid, sun), plane, grid, window)

    def _shown(
        self, plane: Plane, facing: Floats, direction: Floats, within: tuple[Point, Point] | None = None
    ) -> Kept | None:
        """A cast shadow on one plane as the view shows it. within: the part of the plane that is there (metres)."""
        try:
            throw = Throw(self.shadow.solid, self.shadow.frame, direction, plane, facing)
        except GeometryError:
            return None  # a wall that the sun does not reach
        low, high = throw.bounds_m()
        if within is not None:
            low, high = np.maximum(low, within[0]), np.minimum(high, within[1])
        if np.any(high - low <= 0.0):
            return None
        grid = grid_over(low, high, self._fineness(plane), MOST_PIXELS)
        window = self._window(plane, grid)
        if window is None:
            return None
        share = thrown(self.silhouette, throw, grid, HALF_ANGLE_DEG)
        if within is not None:
            share = _cut(share, grid, within)
        return self._seen(share, plane, grid, window)

    def _fineness(self, plane: Plane) -> tuple[float, float]:
        """Samples per metre of a plane that the view can show where the element stands."""
        matrix = self.view.matrix @ plane.homography(self.camera)
        offset = np.array(self.shadow.frame.origin_m) - np.array(plane.origin_m)
        u, v, w = matrix @ [float(offset @ np.array(plane.right)), float(offset @ np.array(plane.up)), 1.0]
        columns = [np.hypot(*(matrix[:2, i] * w - matrix[2, i] * np.array([u, v]))) / w**2 for i in (0, 1)]
        return OVERSAMPLING * float(columns[0]), OVERSAMPLING * float(columns[1])

    def _window(self, plane: Plane, grid: Grid) -> Window | None:
        return covered_window(self._to_view(plane, grid), (0, 0, *grid.size), self.view.size_px)

    def _to_view(self, plane: Plane, grid: Grid) -> Floats:
        matrix: Floats = self.view.matrix @ plane.homography(self.camera) @ grid.to_plane
        return matrix

    def _seen(self, share: Pixels, plane: Plane, grid: Grid, window: Window) -> Kept | None:
        samples = np.rint(np.clip(share, 0.0, 1.0) * 65535.0).astype(np.uint16)
        shown = warp(Mips(samples), self._to_view(plane, grid), window)
        left, top, right, bottom = content_box(shown)
        if right == left:
            return None
        part = shown[top:bottom, left:right].astype(np.float32) / np.float32(65535.0)
        return Kept(Window(window.left + left, window.top + top, right - left, bottom - top), part)


def _cut(share: Pixels, grid: Grid, within: tuple[Point, Point]) -> Pixels:
    """A map with nothing outside a rectangle of its plane."""
    (low_x, low_y), (high_x, high_y) = within
    x = grid.low_m[0] + (np.arange(grid.size[0]) + 0.5) / grid.per_m[0]
    y = grid.low_m[1] + (np.arange(grid.size[1]) + 0.5) / grid.per_m[1]
    inside = ((x >= low_x) & (x <= high_x))[np.newaxis, :] & ((y >= low_y) & (y <= high_y))[:, np.newaxis]
    return np.where(inside, share, np.float32(0.0))


def _open_behind(ground: Kept, camera: Camera, view: View, wall_m: tuple[Point, Point]) -> None:
    """Take a shadow on the ground off where a wall hides that ground."""
    (x0, y0), (x1, y1) = wall_m
    corners = np.array([[x0, y0, 0, 1], [x1, y1, 0, 1], [x1, y1, _WALL_TOP_M, 1], [x0, y0, _WALL_TOP_M, 1.0]])
    polygon = in_front(corners @ (view.matrix @ camera.matrix).T)
    if len(polygon) < 3:
        return
    window = ground.window
    points = polygon[:, :2] / polygon[:, 2:] - [window.left + 0.5, window.top + 0.5]  # OpenCV's centres are whole
    mask = np.zeros(ground.share.shape, np.uint8)
    fixed = np.clip(np.rint(points * 16.0), -(2**26), 2**26).astype(np.int32)
    cv2.fillPoly(mask, [fixed], (255,), lineType=cv2.LINE_AA, shift=4)
    ground.share[...] *= np.float32(1.0) - mask.astype(np.float32) / np.float32(255.0)


def _joined(parts: list[Kept]) -> Kept | None:
    """Several parts as one."""
    if len(parts) <= 1:
        return parts[0] if parts else None
    left, top = min(p.window.left for p in parts), min(p.window.top for p in parts)
    right = max(p.window.left + p.window.width for p in parts)
    bottom = max(p.window.top + p.window.height for p in parts)
    share = np.zeros((bottom - top, right - left), np.float32)
    for part in parts:
        rows = slice(part.window.top - top, part.window.top - top + part.window.height)
        columns = slice(part.window.left - left, part.window.left - left + part.window.width)
        share[rows, columns] = np.maximum(share[rows, columns], part.share)
    return Kept(Window(left, top, right - left, bottom - top), share)


def _layer(
    element: str, what: Literal["shadow", "contact"], kept: Kept, factors: list[Pixels], kind: type[np.generic]
) -> list[Layer]:
    """The layer that multiplies by factors where they darken; none where they do not."""
    least = cv2.min(cv2.min(factors[0], factors[1]), factors[2])
    darkens = (least < 1.0 - _LEAST).astype(np.float32)
    full = 65535.0 if kind == np.uint16 else 1.0
    colours = [cv2.multiply(factor, darkens) for factor in factors]
    samples = cv2.multiply(
        cv2.merge([*colours, darkens]), np.full(4, full), dtype=cv2.CV_16U if full > 1 else cv2.CV_32F
    )
    layer = cropped(f"{element}/{what}", what, "multiply", (kept.window.left, kept.window.top), samples)
    return [] if layer is None else [layer]
