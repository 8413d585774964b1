"""What the plate says where an element stands: measured once, in the full frame, whatever is drawn of it.

All measuring is done when an effect asks for it, and only in the part of the plate that it is about.
"""

from collections.abc import Callable, Hashable
from dataclasses import dataclass
from math import hypot
from typing import Any, TypeVar, cast

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.base.errors import GeometryError
from compositor.colour.coding import decode_float
from compositor.colour.match import Evidence
from compositor.colour.space import Space
from compositor.geometry.air import transmission
from compositor.measure.noise import Noise, noise_of, patches_of
from compositor.measure.sharpness import edge_sigma_px
from compositor.measure.statistics import far_colour, highlight, mean_colour, thinned
from compositor.pixels.mips import Mips
from compositor.plan.model import PlacedElement, PlatePlan, Point

_HORIZON_FRACTION = 0.08  # of the frame's height, above the horizon: hills end below it (by eye)
_GROUND_WIDTHS, _GROUND_DEPTHS = 0.75, 0.3  # of the element's height; of the way from the horizon to the contact
_AROUND_WIDTHS, _AROUND_BELOW = 1.5, 0.5  # of the element's height
_LEAST_HEIGHT_FRACTION = 0.02  # of the frame's: an element seen edge on or far away still has surroundings
_OPAQUE = 0.98
_ENOUGH_PX = 500_000  # pixels that tell the light of an element, or how sharp a picture is
_ENOUGH_FOR_MEANS_PX = 20_000
_MOSTLY_OPAQUE = 0.9
_GROUND_REACH = 0.6  # as a share of a thing's height: the ground around that its contact shadow reaches
_BLOCK_PX, _RIM_PX = 128, 4  # of a large picture only such blocks are looked at for edges

Found = TypeVar("Found")


class Surround:
    """A plate's own light, noise and sharpness near its elements. plate: encoded (h, w, 3), the full frame."""

    def __init__(self, plate: Pixels, space: Space, plan: PlatePlan, found: dict[Hashable, Any] | None = None) -> None:
        """found: what was measured already on this same plate and its elements, which plans may share."""
        self.plate, self.space, self.plan = plate, space, plan
        self._found = {} if found is None else found

    @property
    def air_colour(self) -> Floats:
        """Linear R G B (3,) of the air: given, else the plate's at the horizon (or at the frame's edge nearest it)."""
        given = None if self.plan.air is None else self.plan.air.colour
        return self._once(("air", given, self.plan.horizon_px), self._air_colour)

    def _air_colour(self) -> Floats:
        given = None if self.plan.air is None else self.plan.air.colour
        if given is not None:
            curves = self.space.curves
            return np.array([float(curve.to_linear(np.array(v))) for curve, v in zip(curves, given, strict=True)])
        height, width = self.plate.shape[:2]
        columns = np.arange(0, width, max(1, width // 2000))
        (u0, v0), (u1, v1) = self.plan.horizon_px
        horizon = v0 + (v1 - v0) * (columns + 0.5 - u0) / (u1 - u0)
        reach = -np.linspace(0.0, _HORIZON_FRACTION * height, 16)
        rows = np.clip(np.floor(horizon[:, np.newaxis] + reach), 0, height - 1).astype(int)
        samples = self.plate[rows, columns[:, np.newaxis]]
        return far_colour(self._linear(samples).reshape(-1, 3))

    @property
    def noise(self) -> Noise | None:
        """The plate's noise by brightness."""
        return self._once(("noise",), self._noise)

    def _noise(self) -> Noise | None:
        patches = patches_of(self.plate)
        flat = patches.reshape(len(patches), -1, 3)
        return noise_of(self._linear(flat).reshape(patches.shape)) if len(patches) else None

    def evidence(self, element: PlacedElement, mips: Mips) -> Evidence | None:
        """What tells the plate's light at an element's place and the element's own; None where no ground is seen."""
        key = "evidence", element.source, *self._place(element)
        return self._once(key, lambda: self._evidence(element, mips))

    def ground(self, element: PlacedElement) -> Floats | None:
        """Linear R G B (3,) of the plate's ground at an element's place; None where it is not seen."""
        key = "ground", *self._place(element)
        part = self._ground_part(element)
        return self._once(key, lambda: mean_colour(self._without_air(self._part(*part), element)))

    def ground_coverage(self, element: PlacedElement, matte: Pixels) -> float:
        """How much of that ground a matte (h, w) of the full frame covers, 0..1."""
        left, right, top, bottom = self._box(*self._ground_part(element))
        full = 65535.0 if matte.dtype == np.uint16 else 1.0
        samples = thinned(matte[top:bottom, left:right])
        return float(samples.mean(dtype=np.float64)) / full if samples.size else 0.0

    def face(self, element: PlacedElement, mips: Mips) -> Floats | None:
        """Mean linear R G B (3,) of an element's picture as the ground sees it; None where nothing is opaque."""
        key = "face", element.source, element.own_contact_px, element.own_top_px
        return self._once(key, lambda: seen_from_ground(mips, element.own_contact_px, element.own_top_px))

    def edge_sigma_px(self, element: PlacedElement) -> float | None:
        """Blur of the plate's sharpest edges around an element, px of the full frame."""
        return self._once(("edge", element.contact_px, element.top_px), lambda: self._edge_sigma_px(element))

    def own(self, element: PlacedElement, mips: Mips) -> "Own":
        """Sharpness and noise of an element itself, at its scale in the full frame."""
        key = "own", element.source, element.scale_ratio
        return self._once(key, lambda: own_traits(mips, element.scale_ratio))

    def _once(self, key: Hashable, find: Callable[[], Found]) -> Found:
        """What was found before by all that it depends on, or is found now."""
        if key not in self._found:
            self._found[key] = find()
        return cast(Found, self._found[key])

    def _foot_px(self, element: PlacedElement) -> Point:
        """The ground straight below an element's contact, which may hang above it; the contact where that is unseen."""
        try:
            u, v = self.plan.camera.project([[element.offset_m, element.distance_m, 0.0]])[0]
        except GeometryError:
            return element.contact_px
        return float(u), float(v)

    def _place(self, element: PlacedElement) -> tuple[Hashable, ...]:
        """All that measuring the plate at an element's place depends on, besides the plate."""
        shown = self._foot_px(element), element.contact_px, element.top_px, element.distance_m
        return *shown, self.plan.air, self.plan.horizon_px

    def _evidence(self, element: PlacedElement, mips: Mips) -> Evidence | None:
        u, v = self._foot_px(element)
        height_px = self._height_px(element)
        around = self._part(
            (u - _AROUND_WIDTHS * height_px, u + _AROUND_WIDTHS * height_px),
            (self.plan.camera.horizon_row(u), v + _AROUND_BELOW * height_px),
        )
        colour, light = self.ground(element), highlight(self._without_air(around, element))
        own = highlight(_opaque_colours(mips))
        if colour is None or light is None or own is None:
            return None
        return Evidence((float(colour[0]), float(colour[1]), float(colour[2])), light, own)

    def _ground_part(self, element: PlacedElement) -> tuple[tuple[float, float], tuple[float, float]]:
        """The plate's ground at an element's place, in columns and rows."""
        u, v = self._foot_px(element)
        aside_px = _GROUND_WIDTHS * self._height_px(element)
        along_px = _GROUND_DEPTHS * (v - self.plan.camera.horizon_row(u))
        return (u - aside_px, u + aside_px), (v - along_px, v + along_px)

    def _without_air(self, linear: Pixels, element: PlacedElement) -> Pixels:
        """Linear samples (n, 3) of the plate at an element's distance as they were without the air before them."""
        if self.plan.air is None:
            return linear
        share = transmission(self.plan.air.attenuation_per_m, element.distance_m)
        result: Pixels = (linear - self.air_colour * (1.0 - share)) / share
        return result

    def _edge_sigma_px(self, element: PlacedElement) -> float | None:
        (u, v), (_, top) = element.contact_px, element.top_px
        height_px = self._height_px(element)
        left, right, first, last = self._box(
            (u - _AROUND_WIDTHS * height_px, u + _AROUND_WIDTHS * height_px),
            (min(v, top) - 0.25 * height_px, max(v, top) + _AROUND_BELOW * height_px),
        )
        samples, usable = spread(self.plate[first:last, left:right])
        return edge_sigma_px(seen_tones(self._linear(samples)), usable) if samples.size else None

    def _height_px(self, element: PlacedElement) -> float:
        (u, v), (top_u, top_v) = element.contact_px, element.top_px
        return max(hypot(u - top_u, v - top_v), _LEAST_HEIGHT_FRACTION * float(self.plate.shape[0]))

    def _part(self, columns: tuple[float, float], rows: tuple[float, float]) -> Pixels:
        """Linear samples (n, 3) of a part of the plate."""
        left, right, top, bottom = self._box(columns, rows)
        return self._linear(thinned(self.plate[top:bottom, left:right])).reshape(-1, 3)

    def _box(self, columns: tuple[float, float], rows: tuple[float, float]) -> tuple[int, int, int, int]:
        height, width = self.plate.shape[:2]
        left, right = (int(np.clip(at, 0, width)) for at in columns)
        top, bottom = (int(np.clip(at, 0, height)) for at in rows)
        return left, right, top, bottom

    def _linear(self, samples: Pixels) -> Pixels:
        """Encoded (h, w, 3) to linear float32; nothing of nothing."""
        return decode_float(np.ascontiguousarray(samples), self.space) if samples.size else samples.astype(np.float32)


def seen_tones(linear: Pixels) -> Pixels:
    """Tones (h, w) float32 in steps nearly even to the eye, from linear R G B (h, w, 3): the square root of light."""
    result: Pixels = np.sqrt(np.maximum(linear.mean(axis=2), 0.0)).astype(np.float32)
    return result


@dataclass(frozen=True)
class Own:
    """What an element's picture says of itself once it is shown at a scale: blur of its sharpest edges, px of the full
    frame, and noise; None where it does not tell."""

    edge_sigma_px: float | None
    noise: Noise | None


def own_traits(mips: Mips, scale_ratio: float) -> Own:
    """Measured on the level of the pyramid that is shown, so in about as many pixels as it covers."""
    level, rest_ratio = _level(scale_ratio)
    samples = mips.level(min(level, mips.deepest))
    seen, usable = spread(samples)
    seen = _straight(seen)
    sigma_px = edge_sigma_px(seen_tones(seen[..., :3]), usable & (seen[..., 3] >= _OPAQUE))
    if sigma_px is not None:
        # What a pixel of the frame averages more than one of the level does: a box of variance 1/12.
        sigma_px = float(np.sqrt((sigma_px * rest_ratio) ** 2 + max(0.0, 1.0 - rest_ratio**2) / 12.0))
    patches = _straight(patches_of(samples))
    patches = patches[(patches[..., 3] >= _OPAQUE).all(axis=(1, 2))]
    noise = noise_of(patches[..., :3]) if len(patches) else None
    return Own(sigma_px, None if noise is None else noise.scaled(min(rest_ratio, 1.0)))


def spread(picture: Pixels) -> tuple[Pixels, Pixels]:
    """A picture (h, w, c) to look for edges in, and which of its pixels may be looked at (h, w): itself, or, where it
    is large, blocks spread evenly over it, one below the other, without their rims."""
    height, width = picture.shape[:2]
    if height * width <= _ENOUGH_PX or min(height, width) < _BLOCK_PX:
        return picture, np.ones((height, width), bool)
    blocks = patches_of(picture, _BLOCK_PX, _ENOUGH_PX // _BLOCK_PX**2)
    inside = np.zeros(blocks.shape[:3], bool)
    inside[:, _RIM_PX:-_RIM_PX, _RIM_PX:-_RIM_PX] = True
    return blocks.reshape(-1, _BLOCK_PX, picture.shape[2]), inside.reshape(-1, _BLOCK_PX)


def _level(scale_ratio: float) -> tuple[int, float]:
    """The pyramid level that is shown at half its size to its size, and at what ratio."""
    level = max(0, int(np.floor(-np.log2(scale_ratio))))
    return level, scale_ratio * 2.0**level


def _straight(samples: Pixels) -> Pixels:
    """Premultiplied uint16 or float32 (h, w, 4) to straight float32 0..1."""
    full = np.float32(65535.0 if samples.dtype == np.uint16 else 1.0)
    values = samples.astype(np.float32) / full
    values[..., :3] /= np.maximum(values[..., 3:], 1e-4)
    return values


def seen_from_ground(mips: Mips, contact_px: Point, top_px: Point) -> Floats | None:
    """Mean linear R G B (3,) of a picture's opaque pixels, each by how much of it the ground around sees.

    Ground at a distance d sees a strip of a wide wall at height z by d·z / (d² + z²)^1.5 / 2 (the form factor of
    radiosity); the mean over all d up to r goes with 1 - z / √(r² + z²): the foot of a thing counts most.
    """
    level = _small_level(mips, _ENOUGH_FOR_MEANS_PX)
    samples = _straight(mips.level(level))
    rows, columns = np.nonzero(samples[..., 3] >= _MOSTLY_OPAQUE)
    upwards = np.array(top_px) - np.array(contact_px)
    middles = (
        np.column_stack([columns + 0.5, rows + 0.5]) * 2.0**level + np.array(mips.origin_px) - np.array(contact_px)
    )
    heights = np.clip(middles @ upwards / max(float(upwards @ upwards), 1e-9), 0.0, 1.0)
    weights = 1.0 - heights / np.hypot(_GROUND_REACH, heights)
    if not len(weights):
        return None
    result: Floats = weights @ samples[rows, columns, :3] / weights.sum()
    return result


def _opaque_colours(mips: Mips) -> Pixels:
    """Linear R G B (n, 3) of an element's opaque pixels."""
    samples = _straight(mips.level(_small_level(mips, _ENOUGH_PX)))
    return samples[..., :3][samples[..., 3] >= _MOSTLY_OPAQUE]


def _small_level(mips: Mips, enough_px: int) -> int:
    """The first level of a pyramid of no more pixels than are enough."""
    (width, height), level = mips.size_px, 0  # without a look at the large levels, which need not be made
    while width * height > enough_px and level < mips.deepest:
        width, height, level = (width + 1) // 2, (height + 1) // 2, level + 1
    return level
