"""An element made to belong, once it is in its place: outline, look, air, focus, sharpness, grain, in this order.

The order is that of light: colours change before the air lies over them, the lens blurs what air and thing show
together, and the sensor's grain comes last. An element that asks for none of it never comes here.

Work is done in tiles, and where a tile holds nothing of the element none is done. What is measured or decided is so
for the whole element before the first tile: tiles show no seams, and a part of the picture is drawn as in the whole.
"""

from dataclasses import dataclass
from functools import partial

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.base.errors import GeometryError
from compositor.colour.match import matching_gain
from compositor.geometry.camera import Camera
from compositor.geometry.ground import ground_point
from compositor.geometry.polygons import in_front
from compositor.geometry.reach import reach
from compositor.pixels.blur import bell_blurred, bell_margin_px, disc_margin_px
from compositor.pixels.footprint import Window
from compositor.pixels.mips import Mips
from compositor.pixels.strips import run_all
from compositor.plan.effects import Look
from compositor.plan.model import PlacedElement, PlatePlan, Point
from compositor.render.air import hazed
from compositor.render.edges import outlined
from compositor.render.focus import defocused
from compositor.render.grain import Lacking, grained, lacking_grain
from compositor.render.look import changes_colour, coloured
from compositor.render.surround import Surround
from compositor.render.view import View

_LARGEST_DISC_PX = 400.0
"""Beyond, a thing cannot be made out any more; keeps a slip of the keyboard from taking for ever (by eye)."""
_WORTH_BLURRING_PX = 0.25
"""A smaller difference of sharpness is not seen (by eye)."""
_MOST_SOFTENING_PX = 3.0
"""Where the plate seems softer still, something else than its lens is looked at (by eye)."""
_TILE_PX = 256
_PLAIN = Look()


@dataclass(frozen=True)
class _Settled:
    """What is done to an element in a view. gain: (3,) of the match. disc_px: least and most diameter of the blur
    discs over all of it. softening_px: the bell that it lacks. margin_px: how far light is spread in all."""

    element: PlacedElement
    look: Look
    view: View
    gain: Floats
    disc_px: tuple[float, float]
    softening_px: float
    lacking: Lacking | None
    margin_px: int


@dataclass(frozen=True)
class Finishing:
    """What every element of a plate is finished by."""

    plate: PlatePlan
    surround: Surround

    def needed(self, element: PlacedElement) -> bool:
        """Whether anything is to be done at all."""
        return element.look is not None or self.plate.air is not None or self.plate.focus is not None

    def margin_px(self, element: PlacedElement, mips: Mips, view: View) -> int:
        """How much more than a window of the view has to be drawn, so that its edge is blurred by what lies beyond."""
        return self._settled(element, mips, view).margin_px

    def finished(self, samples: Pixels, element: PlacedElement, mips: Mips, place: tuple[View, Window]) -> Pixels:
        """The premultiplied samples (h, w, 4), uint16 or float32, of an element in a window of a view, finished."""
        view, window = place
        settled = self._settled(element, mips, view)
        result = np.zeros_like(samples)
        margin_px = settled.margin_px
        side = max(_TILE_PX, 4 * margin_px)

        def tile(top: int, left: int) -> None:
            y, x = max(top - margin_px, 0), max(left - margin_px, 0)
            part = samples[y : top + side + margin_px, x : left + side + margin_px]
            if not part[..., 3].any():
                return
            drawn = result[top : top + side, left : left + side]
            inner = Window(window.left + left, window.top + top, drawn.shape[1], drawn.shape[0])
            outer = Window(window.left + x, window.top + y, part.shape[1], part.shape[0])
            drawn[...] = _as(samples.dtype, self._drawn(_light(part), settled, outer, inner))

        height, width = samples.shape[:2]
        run_all([partial(tile, top, left) for top in range(0, height, side) for left in range(0, width, side)])
        return result

    def shown(self, element: PlacedElement, mips: Mips) -> Floats | None:
        """Linear R G B (3,) of an element as its look shows it, without the air before it; None: too small."""
        mean, look = self.surround.face(element, mips), element.look or _PLAIN
        if mean is None or not changes_colour(look):
            return mean
        pixel = np.array([[[*mean, 1.0]]], np.float32)
        result: Floats = coloured(pixel, look, self._gain(element, mips, look), self.surround.space)[0, 0, :3]
        return result.astype(np.float64)

    def _settled(self, element: PlacedElement, mips: Mips, view: View) -> _Settled:
        look = element.look or _PLAIN
        disc_px = self._disc_range_px(element, view)
        softening_px = self._softening_px(element, mips, view, disc_px[0] / 4.0)  # deviation of an even disc
        lacking = None
        if look.grain and self.surround.noise is not None:
            lacking = lacking_grain(self.surround.noise, self.surround.own(element, mips).noise)
        outline_px = (look.choke_px + 2.0 * look.soften_px) * view.scale_ratio
        margin_px = disc_margin_px(disc_px[1]) + bell_margin_px(softening_px) + int(np.ceil(outline_px))
        gain = self._gain(element, mips, look)
        return _Settled(element, look, view, gain, disc_px, softening_px, lacking, margin_px)

    def _drawn(self, light: Pixels, settled: _Settled, outer: Window, inner: Window) -> Pixels:
        """Samples float32 of an outer window finished, cut to an inner one."""
        look, view, element = settled.look, settled.view, settled.element
        if look.choke_px > 0.0 or look.soften_px > 0.0:
            light = outlined(light, look.choke_px * view.scale_ratio, look.soften_px * view.scale_ratio)
        if changes_colour(look):
            light = coloured(light, look, settled.gain, self.surround.space)
        if self.plate.air is not None:
            way_m = np.maximum(self._reach(element, view, outer)[0] - self._own_reach(element)[0], 0.0)
            light = hazed(light, self.plate.air.attenuation_per_m, way_m, self.surround.air_colour)
        disc_px = None if self.plate.focus is None else self._disc_px(element, view, outer)
        if disc_px is not None:
            light = defocused(light, disc_px, settled.disc_px)
        light = bell_blurred(light, settled.softening_px)
        y, x = inner.top - outer.top, inner.left - outer.left
        light = light[y : y + inner.height, x : x + inner.width]
        if settled.lacking is None:
            return light
        disc_px = None if disc_px is None else disc_px[y : y + inner.height, x : x + inner.width]
        return grained(light, (view, inner), settled.lacking, _blurred_px(disc_px, settled.softening_px))

    def _gain(self, element: PlacedElement, mips: Mips, look: Look) -> Floats:
        evidence = self.surround.evidence(element, mips) if look.match_fraction > 0.0 else None
        if evidence is None:
            return np.ones(3)
        gain = matching_gain(evidence, look.match_fraction)
        return np.full(3, self.surround.space.luminance @ gain) if look.protects_chroma else gain

    def _reach(self, element: PlacedElement, view: View, window: Window) -> tuple[Floats, Floats]:
        """Distances of an element's points along ray and axis, (h, w) each, in a window of a view; a part of the plate
        is taken at its contact's distance throughout, now as then."""
        if element.source.outline_px is not None:
            along_m, depth_m = _apart_m(self.plate.camera, element.contact_px)
            shape = (window.height, window.width)
            return np.full(shape, along_m), np.full(shape, depth_m)
        columns = (np.arange(window.width, dtype=np.float64) + window.left + 0.5) / view.scale_ratio + view.left_px
        rows = (np.arange(window.height, dtype=np.float64) + window.top + 0.5) / view.scale_ratio + view.top_px
        return reach(self.plate.camera, element.plane, columns, rows)

    def _own_reach(self, element: PlacedElement) -> tuple[float, float | None]:
        """How far a part of the plate stood from it when it was taken, along the ray and the axis: that much air and
        blur is in its picture already. Other elements: (0, None), nothing."""
        if element.source.outline_px is None or element.own_camera is None:
            return 0.0, None
        return _apart_m(element.own_camera, element.own_contact_px)

    def _disc_px(self, element: PlacedElement, view: View, window: Window) -> Floats:
        """Diameters (h, w) of the blur discs, px of the view; less what is in the picture already."""
        return self._discs_px(element, view, self._reach(element, view, window)[1])

    def _disc_range_px(self, element: PlacedElement, view: View) -> tuple[float, float]:
        """Least and most diameter of the blur discs on an element, wherever it is drawn: on a plane the inverse depth
        is linear, so its ends are at corners of the hull, and the disc's too, but for a least of none in focus."""
        if self.plate.focus is None:
            return 0.0, 0.0
        if element.source.outline_px is not None:
            ends_m = np.array([_apart_m(self.plate.camera, element.contact_px)[1]])
        else:
            hull = np.column_stack([np.array(element.own_hull_px), np.ones(len(element.own_hull_px))])
            seen = in_front(hull @ element.homography_matrix.T)
            points_px = seen[:, :2] / seen[:, 2:]
            ends_m = np.diagonal(reach(self.plate.camera, element.plane, points_px[:, 0], points_px[:, 1])[1])
        nearest_m, farthest_m = float(ends_m.min()), float(ends_m.max())
        discs = self._discs_px(element, view, np.array([nearest_m, farthest_m]))
        crossed = nearest_m < self.plate.focus.distance_m < farthest_m
        return 0.0 if crossed else float(discs.min()), float(discs.max())

    def _discs_px(self, element: PlacedElement, view: View, depth_m: Floats) -> Floats:
        focus = self.plate.focus
        if focus is None:
            return np.zeros_like(depth_m)
        focal_px = self.plate.camera.focal_px * view.scale_ratio
        own_depth_m = self._own_reach(element)[1]
        own = 0.0 if own_depth_m is None else focus.blur_disc_px(own_depth_m, focal_px)
        left: Floats = np.sqrt(np.maximum(focus.blur_disc_px(depth_m, focal_px) ** 2 - own**2, 0.0))
        return np.minimum(left, _LARGEST_DISC_PX)

    def _softening_px(self, element: PlacedElement, mips: Mips, view: View, blurred_px: float) -> float:
        """The bell that an element lacks to be as soft as the plate around it, px of the view; 0 = none.

        blurred_px: deviation that it is blurred by at least.
        """
        if element.look is None or not element.look.sharpness:
            return 0.0
        plate_px, own_px = self.surround.edge_sigma_px(element), self.surround.own(element, mips).edge_sigma_px
        if plate_px is None or own_px is None:
            return 0.0
        has_px = float(np.hypot(own_px, blurred_px / view.scale_ratio))
        lacking_px = float(np.sqrt(max(0.0, plate_px**2 - has_px**2)))
        if lacking_px < _WORTH_BLURRING_PX:
            return 0.0
        return min(lacking_px, _MOST_SOFTENING_PX) * view.scale_ratio


def _light(samples: Pixels) -> Pixels:
    """uint16 or float32 to float32 0..1."""
    if samples.dtype != np.uint16:
        return samples
    result: Pixels = samples.astype(np.float32) * np.float32(1.0 / 65535.0)
    return result


def _as(kind: np.dtype[np.generic], light: Pixels) -> Pixels:
    return np.rint(light * np.float32(65535.0)).astype(np.uint16) if kind == np.uint16 else light


def _blurred_px(disc_px: Floats | None, softening_px: float) -> Floats | float:
    """Deviation of what an element's points were blurred by."""
    result: Floats | float = softening_px if disc_px is None else np.hypot(disc_px / 4.0, softening_px)
    return result


def _apart_m(camera: Camera, pixel: Point) -> tuple[float, float]:
    """Distance of the ground that a pixel shows, along the ray and the axis; (0, inf) where it shows none."""
    try:
        x, y = ground_point(camera, pixel)
    except GeometryError:
        return 0.0, np.inf
    apart = np.array([x, y, -camera.height_m])
    return float(np.linalg.norm(apart)), float((camera.rotation @ apart)[2])
