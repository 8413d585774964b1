"""The one place where layers meet: plate and layers to a finished frame.

Strips of rows, of which only the columns that a layer touches are made linear, blended and encoded again. Every
other pixel is the plate's own, bit by bit; so is every pixel under an empty part of a layer, because decoding and
encoding are each other's inverse for every code. A plate that a view samples is linear already, and encoded once.
"""

from collections.abc import Sequence

import numpy as np

from compositor.base.arrays import Pixels
from compositor.colour.coding import opaque_codes, opaque_light
from compositor.colour.space import Space
from compositor.pixels import blend
from compositor.pixels.strips import STRIP_ROWS, THREADS, for_strips
from compositor.render.layers import Layer
from compositor.render.view import Sampled, light_in


def compose(
    plate: Pixels | Sampled, space: Space, layers: list[Layer], strip_rows: int = STRIP_ROWS, threads: int = THREADS
) -> Pixels:
    """The frame (h, w, 3) in the plate's own encoding, uint8 or uint16.

    plate: as the view shows it. layers: bottom to top, uint16 samples over a uint8 plate, float32 over a uint16 one.
    The result does not depend on strip_rows, which sampled plates choose themselves, or threads.
    """
    if isinstance(plate, Sampled):
        return _compose_sampled(plate, space, layers, threads)
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
    _check_kinds(frame.dtype, layers)

    def strip(top: int, bottom: int) -> None:
        if frame is not plate:
            frame[top:bottom] = plate[top:bottom]
        here = _in_strip(layers, top, bottom, frame.shape[1])
        for left, right in _joined([(first, last) for first, last, _ in here]):
            part = frame[top:bottom, left:right]
            linear = opaque_light(part, space)
            _lay(linear, [layer for first, _, layer in here if left <= first < right], (left, top))
            opaque_codes(linear, space, part)

    for_strips(len(frame), strip, *by)


def _compose_sampled(plate: Sampled, space: Space, layers: list[Layer], threads: int) -> Pixels:
    """Light that was sampled is encoded once, with what is laid on it."""
    frame = np.empty(plate.shape, plate.dtype)
    _check_kinds(plate.dtype, layers)

    def strip(top: int, bottom: int) -> None:
        linear = plate.rows(top, bottom)
        _lay(linear, [layer for _, _, layer in _in_strip(layers, top, bottom, frame.shape[1])], (0, top))
        opaque_codes(linear, space, frame[top:bottom])

    for_strips(len(frame), strip, plate.rows_at_once, threads)
    return frame


def _check_kinds(plate_dtype: np.dtype[np.generic], layers: list[Layer]) -> None:
    kind = np.uint16 if plate_dtype == np.uint8 else np.float32
    for layer in layers:
        if layer.picture.samples.dtype != kind:
            raise ValueError(f"layer {layer.name}: samples of {kind.__name__} wanted over a {plate_dtype} plate")


def touched_columns(layers: Sequence[Layer], top: int, bottom: int, width: int) -> list[tuple[int, int]]:
    """The column ranges of a strip that layers reach into, joined where they meet."""
    return _joined([(left, right) for left, right, _ in _in_strip(layers, top, bottom, width)])


def _in_strip(layers: Sequence[Layer], top: int, bottom: int, width: int) -> list[tuple[int, int, Layer]]:
    """The layers that reach into a strip, in order, and the first column of each and the one after its last."""
    here = []
    for layer in layers:
        (x, y), (down, across, _) = layer.offset_px, layer.picture.samples.shape
        if y < bottom and y + down > top and x < width and x + across > 0:
            here.append((max(x, 0), min(x + across, width), layer))
    return here


def _joined(spans: list[tuple[int, int]]) -> list[tuple[int, int]]:
    joined: list[tuple[int, int]] = []
    for left, right in sorted(spans):
        if joined and left <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(right, joined[-1][1]))
        else:
            joined.append((left, right))
    return joined


def _lay(below: Pixels, layers: Sequence[Layer], corner_px: tuple[int, int]) -> None:
    """Lay layers, all of which reach into it, on an opaque area of the view, given by its corner."""
    height, width = below.shape[:2]
    for layer in layers:
        x, y = layer.offset_px[0] - corner_px[0], layer.offset_px[1] - corner_px[1]
        left, top = max(x, 0), max(y, 0)
        seen = layer.picture.samples[top - y : height - y, left - x : width - x]
        there = below[top : top + seen.shape[0], left : left + seen.shape[1]]
        (blend.over_opaque if layer.operator == "over" else blend.multiply_opaque)(there, seen)


def compose_linear(plate: Pixels | Sampled, space: Space, layers: list[Layer]) -> Pixels:
    """The frame (h, w, 4) in linear light, not rounded to any encoding: uint16 over a uint8 plate, else float32.

    For files that hold more than the plate does, or another space's colours.
    """
    linear = np.empty((*plate.shape[:2], 4), np.uint16 if plate.dtype == np.uint8 else np.float32)

    def strip(top: int, bottom: int) -> None:
        part = linear[top:bottom]
        part[:] = light_in(plate, space, (0, top, linear.shape[1], bottom))
        here = _in_strip(layers, top, bottom, linear.shape[1])
        _lay(part, [layer for _, _, layer in here], (0, top))

    for_strips(len(linear), strip, plate.rows_at_once if isinstance(plate, Sampled) else STRIP_ROWS)
    return linear
