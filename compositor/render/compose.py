"""The one place where layers meet: plate and layers to a finished frame.

Strips of rows, of which only the columns that a layer touches are made linear, blended and encoded again. Every
other pixel is the plate's own, bit by bit; so is every pixel under an empty part of a layer, because decoding and
encoding are each other's inverse for every code.
"""

from collections.abc import Sequence

import numpy as np

from compositor.base.arrays import Pixels
from compositor.colour.coding import opaque_codes, opaque_light
from compositor.colour.space import Space
from compositor.pixels import blend
from compositor.pixels.strips import STRIP_ROWS, THREADS, for_strips
from compositor.render.layers import Layer


def compose(
    plate: Pixels, space: Space, layers: list[Layer], strip_rows: int = STRIP_ROWS, threads: int = THREADS
) -> Pixels:
    """The frame (h, w, 3) in the plate's own encoding, uint8 or uint16.

    plate: encoded, as the view shows it. layers: bottom to top, uint16 samples over a uint8 plate, float32 over a
    uint16 one. The result does not depend on strip_rows or threads.
    """
    frame = np.empty_like(plate)
    _compose(plate, frame, space, layers, (strip_rows, threads))
    return frame


def compose_onto(
    frame: Pixels, space: Space, layers: list[Layer], strip_rows: int = STRIP_ROWS, threads: int = THREADS
) -> None:
    """As `compose`, in place: the plate becomes the frame."""
    _compose(frame, frame, space, layers, (strip_rows, threads))


def _compose(plate: Pixels, frame: Pixels, space: Space, layers: list[Layer], by: tuple[int, int]) -> None:
    """by: rows of a strip, and threads."""
    kind = np.uint16 if frame.dtype == np.uint8 else np.float32
    for layer in layers:
        if layer.picture.samples.dtype != kind:
            raise ValueError(f"layer {layer.name}: samples of {kind.__name__} wanted over a {frame.dtype} plate")

    def strip(top: int, bottom: int) -> None:
        if frame is not plate:
            frame[top:bottom] = plate[top:bottom]
        for left, right in touched_columns(layers, top, bottom, frame.shape[1]):
            part = frame[top:bottom, left:right]
            linear = opaque_light(part, space)
            for layer in layers:
                _lay(linear, layer, (left, top))
            opaque_codes(linear, space, part)

    for_strips(len(frame), strip, *by)


def touched_columns(layers: Sequence[Layer], top: int, bottom: int, width: int) -> list[tuple[int, int]]:
    """The column ranges of a strip that layers reach into, joined where they meet."""
    spans = []
    for layer in layers:
        (x, y), (across, down) = layer.offset_px, layer.picture.size_px
        if y < bottom and y + down > top and x < width and x + across > 0:
            spans.append((max(x, 0), min(x + across, width)))
    joined: list[tuple[int, int]] = []
    for left, right in sorted(spans):
        if joined and left <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(right, joined[-1][1]))
        else:
            joined.append((left, right))
    return joined


def _lay(below: Pixels, layer: Layer, corner_px: tuple[int, int]) -> None:
    """Lay a layer on an area of the view, given by its corner, as far as they overlap."""
    x, y = layer.offset_px[0] - corner_px[0], layer.offset_px[1] - corner_px[1]
    width, height = layer.picture.size_px
    left, right = max(x, 0), min(x + width, below.shape[1])
    top, bottom = max(y, 0), min(y + height, below.shape[0])
    if left >= right or top >= bottom:
        return
    operator = blend.over if layer.operator == "over" else blend.multiply_opaque
    samples = layer.picture.samples[top - y : bottom - y, left - x : right - x]
    operator(below[top:bottom, left:right], samples)


def compose_linear(plate: Pixels, space: Space, layers: list[Layer]) -> Pixels:
    """The frame (h, w, 4) in linear light, not rounded to any encoding: uint16 over a uint8 plate, else float32.

    For files that hold more than the plate does, or another space's colours.
    """
    linear = np.empty((*plate.shape[:2], 4), np.uint16 if plate.dtype == np.uint8 else np.float32)

    def strip(top: int, bottom: int) -> None:
        part = linear[top:bottom]
        opaque_light(plate[top:bottom], space, part)
        for layer in layers:
            _lay(part, layer, (0, top))

    for_strips(len(plate), strip)
    return linear
