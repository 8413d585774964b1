"""An element made to belong, once it is in its place: outline, look, air, focus, sharpness, grain, in this order.

The order is that of light: colours change before the air lies over them, the lens blurs what air and thing show
together, and the sensor's grain comes last. An element that asks for none of it never comes here.
"""

from dataclasses import dataclass

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.base.errors import GeometryError
from compositor.colour.match import matching_gain
from compositor.geometry.camera import Camera
from compositor.geometry.ground import ground_point
from compositor.geometry.reach import reach
from compositor.measure.noise import Noise
from compositor.pixels.blur import bell_blurred, bell_margin_px, disc_margin_px
from compositor.pixels.footprint import Window
from compositor.pixels.mips import Mips
from compositor.plan.effects import Look
from compositor.plan.model import PlacedElement, PlatePlan, Point
from compositor.render.air import hazed
from compositor.render.edges import outlined
from compositor.render.focus import defocused
from compositor.render.grain import grained
from compositor.render.look import changes_colour, coloured
from compositor.render.surround import Surround
from compositor.render.view import View

_LARGEST_DISC_PX = 400.0
"""Beyond, a thing cannot be made out any more; keeps a slip of the keyboard from taking for ever (by eye)."""
_WORTH_BLURRING_PX = 0.25
"""A smaller difference of sharpness is not seen (by eye)."""
_MOST_SOFTENING_PX = 3.0
"""Where the plate seems softer still, something else than its lens is looked at (by eye)."""
_GRAIN_GONE_PX = 0.5
"""A bell that wide leaves nothing of an element's own noise that would be seen (a seventh of it)."""
_PLAIN = Look()


@dataclass(frozen=True)
class Finishing:
    """What every element of a plate is finished by."""

    plate: PlatePlan
    surround: Surround

    def needed(self, element: PlacedElement) -> bool:
        """Whether anything is to be done at all."""
        return element.look is not None or self.plate.air is not None or self.plate.focus is not None

    def margin_px(self, element: PlacedElement, mips: Mips, view: View, window: Window) -> int:
        """How much more than a window of the view has to be drawn, so that its edge is blurred by what lies beyond."""
        disc_px = disc_margin_px(float(np.max(self._disc_px(element, view, window), initial=0.0)))
        look = element.look or _PLAIN
        outline_px = (look.choke_px + 2.0 * look.soften_px) * view.scale_ratio
        return disc_px + bell_margin_px(self._softening_px(element, mips, view, 0.0)) + int(np.ceil(outline_px))

    def finished(self, samples: Pixels, element: PlacedElement, mips: Mips, place: tuple[View, Window]) -> Pixels:
        """The premultiplied samples (h, w, 4), uint16 or float32, of an element in a window of a view, finished."""
        view, window = place
        look = element.look or _PLAIN
        full = np.float32(65535.0 if samples.dtype == np.uint16 else 1.0)
        light: Pixels = samples.astype(np.float32) / full
        if look.choke_px > 0.0 or look.soften_px > 0.0:
            light = outlined(light, look.choke_px * view.scale_ratio, look.soften_px * view.scale_ratio)
        if changes_colour(look):
            light = coloured(light, look, self._gain(element, mips, look), self.surround.space)
        light, blurred_px = self._through_air_and_lens(light, element, view, window)
        softening_px = self._softening_px(element, mips, view, blurred_px)
        light = bell_blurred(light, softening_px)
        if look.grain and self.surround.noise is not None:
            own = self._noise_left(element, mips, float(np.hypot(blurred_px, softening_px)))
            light = grained(light, window, view, self.surround.noise, own)
        if samples.dtype == np.uint16:
            return np.rint(light * full).astype(np.uint16)
        return light

    def _through_air_and_lens(
        self, light: Pixels, element: PlacedElement, view: View, window: Window
    ) -> tuple[Pixels, float]:
        """The element behind the plate's air and lens, and the deviation in px of the lens's blur."""
        if self.plate.air is not None:
            along_m, _ = self._reach(element, view, window)
            way_m = np.maximum(along_m - self._own_reach(element)[0], 0.0)
            light = hazed(light, self.plate.air.attenuation_per_m, way_m, self.surround.air_colour)
        if self.plate.focus is None:
            return light, 0.0
        disc_px = self._disc_px(element, view, window)
        return defocused(light, disc_px), float(np.median(disc_px)) / 4.0  # deviation of an even disc

    def _gain(self, element: PlacedElement, mips: Mips, look: Look) -> Floats:
        evidence = self.surround.evidence(element, mips) if look.match_fraction > 0.0 else None
        return np.ones(3) if evidence is None else matching_gain(evidence, look.match_fraction)

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
        focus = self.plate.focus
        if focus is None:
            return np.zeros((window.height, window.width))
        focal_px = self.plate.camera.focal_px * view.scale_ratio
        discs = focus.blur_disc_px(self._reach(element, view, window)[1], focal_px)
        own_depth_m = self._own_reach(element)[1]
        own = 0.0 if own_depth_m is None else focus.blur_disc_px(own_depth_m, focal_px)
        left: Floats = np.sqrt(np.maximum(discs**2 - own**2, 0.0))
        return np.minimum(left, _LARGEST_DISC_PX)

    def _softening_px(self, element: PlacedElement, mips: Mips, view: View, blurred_px: float) -> float:
        """The bell that an element lacks to be as soft as the plate around it, px of the view; 0 = none.

        blurred_px: deviation that it was blurred by already.
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

    def _noise_left(self, element: PlacedElement, mips: Mips, blurred_px: float) -> Noise | None:
        return None if blurred_px >= _GRAIN_GONE_PX else self.surround.own(element, mips).noise


def _apart_m(camera: Camera, pixel: Point) -> tuple[float, float]:
    """Distance of the ground that a pixel shows, along the ray and the axis; (0, inf) where it shows none."""
    try:
        x, y = ground_point(camera, pixel)
    except GeometryError:
        return 0.0, np.inf
    apart = np.array([x, y, -camera.height_m])
    return float(np.linalg.norm(apart)), float((camera.rotation @ apart)[2])
