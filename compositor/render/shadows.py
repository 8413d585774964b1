"""Shadow and contact layers: what elements take from the light of the plate's ground.

Both are factors on the plate. A place that one element shades already gets nothing more from the next, and ground that
lies in shadow in the plate gets none at all: every layer holds only what its element adds.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, partial
from math import ceil, floor
from typing import Any, Literal

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.base.opencv import cv2
from compositor.geometry.camera import Camera
from compositor.geometry.polygons import in_front
from compositor.pixels.footprint import Window
from compositor.pixels.mips import content_box
from compositor.pixels.strips import run_all
from compositor.plan.light import Light, Point, Shadow
from compositor.plan.model import Plan, StackItem
from compositor.render.bounced import returned
from compositor.render.casting import LEAST_SHARE, WALL_TOP_M, PlaneMap, sky_map, sun_maps
from compositor.render.layer import Layer, cropped
from compositor.render.pictures import Pictures
from compositor.render.silhouette import Silhouette
from compositor.render.view import View, view_coverage

DARKEST = 0.98
LEAST_LEFT = 1e-5
"""Where the sun is all the light there is, so much is left: less than 16 bits tell, but it can be divided by."""

_STRIP_PX = 32_768
_MARGIN_PX = 2
_DEPTHS: dict[type[np.generic], int] = {np.uint16: cv2.CV_16U, np.float32: cv2.CV_32F}


@dataclass(frozen=True)
class Kept:
    """How much of a light is kept from the places of a window of the view, (h, w) float32 0..1."""

    window: Window
    share: Pixels

    def place(self, corner_px: tuple[int, int]) -> tuple[slice, slice]:
        """Rows and columns of a part of the view, by its corner."""
        left, top = self.window.left - corner_px[0], self.window.top - corner_px[1]
        return slice(top, top + self.window.height), slice(left, left + self.window.width)


def shadow_layers(plan: Plan, pictures: Pictures, view: View, kind: type[np.generic]) -> dict[str, list[Layer]]:
    """The layers of shadows by their elements' names, shadow before contact. kind: uint16 or float32 samples."""
    light = plan.light
    if light is None:
        return {}
    cutters = [_Cutter(shadow, plan, pictures, view) for shadow in light.shadows]
    kept = run_all([partial(task, light) for cutter in cutters for task in (cutter.sunlight, cutter.skylight)])
    shade = None if light.shade is None else view_coverage(pictures.matte(light.shade), view)
    ground = Ground(light, shade, [part.window for part in kept if part is not None], kind)
    layers: dict[str, list[Layer]] = {shadow.element: [] for shadow in light.shadows}
    for cutter, sunlight in zip(cutters, kept[::2], strict=True):
        if sunlight is not None:
            layers[cutter.name] += _layer(cutter.name, "shadow", sunlight, ground.shaded, kind)
    for cutter, skylight in zip(cutters, kept[1::2], strict=True):
        if skylight is not None:
            factors = partial(ground.closed_in, back=returned(cutter.element, plan, pictures))
            layers[cutter.name] += _layer(cutter.name, "contact", skylight, factors, kind)
    return layers


def lies(plan: Plan, item: StackItem) -> bool:
    """Whether a storey is a picture on the ground that throws no shadow itself."""
    if item.kind != "element" or plan.element(item.name).stance != "flat":
        return False
    return plan.light is None or all(shadow.element != item.name for shadow in plan.light.shadows)


class Ground:
    """What has been taken from the light of the ground so far, in as much of the view as windows reach over.

    shade: how much of the sun the plate itself hides, as the view shows it. Factors are samples of a kind (uint16 or
    float32).
    """

    def __init__(self, light: Light, shade: Pixels | None, windows: list[Window], kind: type[np.generic]) -> None:
        self.left, self.kind = [max(left, LEAST_LEFT) for left in light.left_ratio], kind
        left, top = self.corner = min((w.left for w in windows), default=0), min((w.top for w in windows), default=0)
        right = max((w.left + w.width for w in windows), default=0)
        bottom = max((w.top + w.height for w in windows), default=0)
        self.sky = np.zeros((bottom - top, right - left), np.float32)
        self.sun = self.sky.copy()
        """How much of the sun is hidden, by elements and in the plate itself."""
        if shade is not None:
            self.sun += shade[top:bottom, left:right] / np.float32(_full(shade.dtype))

    def shaded(self, kept: Kept) -> list[Pixels]:
        """Factors per channel of what hides the sun; the ground remembers."""
        before = self.sun[kept.place(self.corner)]
        if cv2.countNonZero(before) == 0:  # as nearly everywhere
            made = {left: self._factor_of_open(kept.share, left) for left in set(self.left)}
            before[...] = kept.share
        else:
            after = cv2.max(before, kept.share)
            made = {left: self._factor(_lit(after, left), _lit(before, left)) for left in set(self.left)}
            before[...] = after
        return [made[left] for left in self.left]

    def closed_in(self, kept: Kept, back: Floats) -> list[Pixels]:
        """Factors per channel of what hides the sky and sends a share (3,) of its light back; the ground remembers."""
        place = kept.place(self.corner)
        hidden, before = self.sun[place], self.sky[place]
        after = cv2.max(before, np.minimum(kept.share, np.float32(DARKEST)))
        factors = []
        for left, sent in zip(self.left, back, strict=True):
            lit, taken = _lit(hidden, left), left * (1.0 - float(sent))
            factors.append(self._factor(cv2.scaleAdd(after, -taken, lit), cv2.scaleAdd(before, -taken, lit)))
        before[...] = after
        return factors

    def _factor(self, after: Pixels, before: Pixels) -> Pixels:
        factor: Pixels = cv2.divide(after, before, scale=_full(self.kind), dtype=_DEPTHS[self.kind])
        return factor

    def _factor_of_open(self, after: Pixels, left_ratio: float) -> Pixels:
        """The same where nothing has hidden the sun before."""
        full = _full(self.kind)
        factor: Pixels = cv2.addWeighted(after, (left_ratio - 1.0) * full, after, 0.0, full, dtype=_DEPTHS[self.kind])
        return factor


def _full(kind: type[np.generic] | np.dtype[Any]) -> float:
    return 65535.0 if kind == np.uint16 else 1.0


def _lit(hidden: Pixels, left_ratio: float) -> Pixels:
    """1 - (1 - left) * hidden."""
    result: Pixels = cv2.addWeighted(hidden, left_ratio - 1.0, hidden, 0.0, 1.0)
    return result


class _Cutter:
    """One element that stands in the light."""

    def __init__(self, shadow: Shadow, plan: Plan, pictures: Pictures, view: View) -> None:
        self.shadow, self.view, self.camera = shadow, view, plan.plate.camera
        self.name, self.element = shadow.element, plan.element(shadow.element)
        self.pictures = pictures

    @cached_property
    def silhouette(self) -> Silhouette:
        """Made only for maps that are not there."""
        return Silhouette(self.pictures.element(self.element.source), self.shadow.solid)

    def maps(self, what: str, light: Light, make: Callable[[], Any]) -> Any:
        """Maps on planes, which all views share."""
        shaping = what, self.shadow, light.sun, light.walls_m, self.camera
        return self.pictures.share(self.element.source, shaping, make)

    def sunlight(self, light: Light) -> Kept | None:
        """The sun's light that is kept from the ground and from walls; None where that is not in the view."""
        if light.sun is None or not self.shadow.cast:
            return None
        parts = []
        for found in self.maps("sun", light, lambda: sun_maps(self.shadow, self.silhouette, light, self.camera)):
            part = _seen(found, self.view)
            if part is None:
                continue
            if not found.on_wall:
                for wall in light.walls_m:
                    _open_behind(part, self.camera, self.view, wall)
            parts.append(part)
        return _joined(parts)

    def skylight(self, light: Light) -> Kept | None:
        """The sky's light that is kept from the ground around the element; None where that is not in the view."""
        if not self.shadow.contact:
            return None
        found = self.maps("sky", light, lambda: sky_map(self.shadow, self.silhouette, light, self.camera))
        return None if found is None else _seen(found, self.view)


def _seen(found: PlaneMap, view: View) -> Kept | None:
    """A map as the view shows it; None where nothing of it is there."""
    window = _window(found.box_px, view)
    if window is None:
        return None
    to_view = view.matrix @ found.to_frame
    middles = np.array([[1.0, 0.0, window.left + 0.5], [0.0, 1.0, window.top + 0.5], [0.0, 0.0, 1.0]])
    try:
        back = np.linalg.inv(to_view) @ middles
    except np.linalg.LinAlgError:  # a wall that is seen edge on
        return None
    to_indices = np.array([[1.0, 0.0, -0.5], [0.0, 1.0, -0.5], [0.0, 0.0, 1.0]]) @ back
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    shown = cv2.warpPerspective(found.share, to_indices, (window.width, window.height), flags=flags)
    _only_in_front(shown, back[2])
    left, top, right, bottom = content_box(np.asarray(shown > LEAST_SHARE))
    if right == left:
        return None
    part = Window(window.left + left, window.top + top, right - left, bottom - top)
    return Kept(part, shown[top:bottom, left:right])


def _window(box_px: tuple[float, float, float, float] | None, view: View) -> Window | None:
    """The window of a view that holds what of it shows a box of the plate, and a little more; None where none does."""
    if box_px is None:
        return None
    s, (width, height) = view.scale_ratio, view.size_px
    left, right = (s * (x - view.left_px) for x in box_px[::2])
    top, bottom = (s * (y - view.top_px) for y in box_px[1::2])
    x, y = max(floor(left) - _MARGIN_PX, 0), max(floor(top) - _MARGIN_PX, 0)
    size = min(ceil(right) + _MARGIN_PX, width) - x, min(ceil(bottom) + _MARGIN_PX, height) - y
    return Window(x, y, *size) if min(size) > 0 else None


def _open_behind(ground: Kept, camera: Camera, view: View, wall_m: tuple[Point, Point]) -> None:
    """Take a shadow on the ground off where a wall hides that ground."""
    (x0, y0), (x1, y1) = wall_m
    corners = np.array([[x0, y0, 0, 1], [x1, y1, 0, 1], [x1, y1, WALL_TOP_M, 1], [x0, y0, WALL_TOP_M, 1.0]])
    polygon = in_front(corners @ (view.matrix @ camera.matrix).T)
    if len(polygon) < 3:
        return
    window = ground.window
    points = polygon[:, :2] / polygon[:, 2:] - [window.left + 0.5, window.top + 0.5]  # OpenCV's centres are whole
    mask = np.zeros(ground.share.shape, np.uint8)
    fixed = np.clip(np.rint(points * 16.0), -(2**26), 2**26).astype(np.int32)
    cv2.fillPoly(mask, [fixed], (255,), lineType=cv2.LINE_AA, shift=4)
    ground.share[...] *= np.float32(1.0) - mask.astype(np.float32) / np.float32(255.0)


def _only_in_front(shown: Pixels, row: Floats) -> None:
    """Empty what lies behind the camera: where a linear function (a, b, c) of the pixel's indices is not positive."""
    height, width = shown.shape
    corners = [row @ [x, y, 1.0] for x in (0, width) for y in (0, height)]
    if min(corners) <= 0.0:
        shown[np.add.outer(row[1] * np.arange(height) + row[2], row[0] * np.arange(width)) <= 0.0] = 0.0


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
    element: str,
    what: Literal["shadow", "contact"],
    kept: Kept,
    factors: Callable[[Kept], list[Pixels]],
    kind: type[np.generic],
) -> list[Layer]:
    """The layer that multiplies by factors where they darken; none where they do not. Made in strips that stay in the
    processor's cache."""
    window = kept.window
    samples = np.zeros((window.height, window.width, 4), kind)
    rows = max(1, _STRIP_PX // window.width)
    for top in range(0, window.height, rows):
        share = kept.share[top : top + rows]
        if cv2.minMaxLoc(share)[1] > 0.0:
            strip = Kept(Window(window.left, window.top + top, window.width, len(share)), share)
            _put_factors(factors(strip), samples[top : top + rows])
    layer = cropped(f"{element}/{what}", what, "multiply", (window.left, window.top), samples)
    return [] if layer is None else [layer]


def _put_factors(factors: list[Pixels], samples: Pixels) -> None:
    """Put samples that multiply by factors into empty ones (h, w, 4), wherever they darken."""
    least, full = cv2.min(cv2.min(factors[0], factors[1]), factors[2]), _full(factors[0].dtype)
    darker = (least < full * (1.0 - LEAST_SHARE)).view(np.uint8)
    least.fill(full)
    cv2.copyTo(cv2.merge([*factors, least]), darker, samples)
