"""Shadows seen through air: of what a place in the plate shows, only the light of the ground itself is taken away; what
the air before it adds shines on.

A plate's pixel holds L = J·t + A·(1 − t), with t what the air lets through; with a factor f on J it is
L·(1 − (1 − f)·J·t / L). Source: Koschmieder (geometry/air.py). Distances are the ground's, also before a wall.
"""

from dataclasses import replace

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2
from compositor.colour.coding import decode_float
from compositor.colour.space import Space
from compositor.geometry.air import transmission
from compositor.geometry.planes import lying
from compositor.geometry.reach import reach
from compositor.pixels.picture import Picture
from compositor.render.layer import Layer
from compositor.render.surround import Surround
from compositor.render.view import Sampled, View

_NOTHING = 1e-4


def through_air(layers: list[Layer], plate: Pixels | Sampled, view: View, surround: Surround) -> list[Layer]:
    """Layers that multiply as the plate's air lets them. plate: as the view shows it."""
    return [_weakened(layer, plate, view, surround) for layer in layers]


def _weakened(layer: Layer, plate: Pixels | Sampled, view: View, surround: Surround) -> Layer:
    air = surround.plan.air
    if air is None:
        return layer
    (left, top), (width, height) = layer.offset_px, layer.picture.size_px
    columns = (np.arange(width, dtype=np.float64) + left + 0.5) / view.scale_ratio + view.left_px
    rows = (np.arange(height, dtype=np.float64) + top + 0.5) / view.scale_ratio + view.top_px
    along_m, _ = reach(surround.plan.camera, lying((0.0, 1.0)), columns, rows)
    added = (1.0 - transmission(air.attenuation_per_m, along_m)).astype(np.float32)
    seen = _light(plate, surround.space, (left, top, left + width, top + height))
    veil = added[..., np.newaxis] * surround.air_colour.astype(np.float32)
    share = np.clip(1.0 - veil / np.maximum(seen, _NOTHING), 0.0, 1.0)  # of the light that comes from the ground
    samples, full = layer.picture.samples, np.float32(layer.picture.full)
    alpha = samples[..., 3].astype(np.float32)
    colour = samples[..., :3].astype(np.float32)
    held_back = (alpha[..., np.newaxis] - colour) * share
    whole = cv2.merge([*cv2.split(alpha[..., np.newaxis] - held_back), alpha])
    kept = np.rint(whole).astype(np.uint16) if full > 1.0 else whole
    return replace(layer, picture=Picture(kept))


def _light(plate: Pixels | Sampled, space: Space, box: tuple[int, int, int, int]) -> Pixels:
    """Linear float32 (h, w, 3) of the plate inside a box (left, top, right, bottom) of the view."""
    left, top, right, bottom = box
    if isinstance(plate, Sampled):
        light = plate.part(box)[..., :3]
        return light / np.float32(65535.0 if light.dtype == np.uint16 else 1.0)
    return decode_float(np.ascontiguousarray(plate[top:bottom, left:right]), space)
