"""Layers in linear light, refitted so that programs which merge encoded values arrive at the same composite.

Readers of layered files merge what is stored: encoded, straight, rounded. Going up the stack, each layer is given the
colour, and where colour alone cannot do it the alpha, that takes the merge of what was written so far to the true
composite. So the rounding of one layer is made good by the next and never adds up. Formulas: W3C, Compositing and
Blending Level 1, sections "Simple alpha compositing" and "Separable blend modes".
"""

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2
from compositor.colour.coding import encode, encode_float
from compositor.colour.space import Space
from compositor.pixels.picture import Picture
from compositor.render.layers import Layer

_ROWS = 128  # strips: all layers go over a strip before the next, so that no whole frame is held in floats
_SLACK_CODES = 0.51  # no alpha is raised for what the rounding of the layers below may have left open

Box = tuple[int, int, int, int]
"""left, top, right, bottom in the view."""


def layer_box(layer: Layer, size_px: tuple[int, int]) -> Box:
    """The part of the view (width, height) that a layer covers; one pixel of it where it covers nothing."""
    (x, y), (width, height) = layer.offset_px, layer.picture.size_px
    box = max(x, 0), max(y, 0), min(x + width, size_px[0]), min(y + height, size_px[1])
    return box if box[0] < box[2] and box[1] < box[3] else (0, 0, 1, 1)


def fit_layers(layers: Sequence[Layer], space: Space, depth_bits: int, threads: int) -> list[Pixels]:
    """Encoded, straight samples for each layer inside its box: R G B for the plate, which is first, R G B A above it.

    depth_bits: 8 gives uint8, 16 uint16.
    """
    plate = layers[0].picture
    boxes = [layer_box(layer, plate.size_px) for layer in layers]
    dtype = np.uint8 if depth_bits == 8 else np.uint16
    written = [
        np.zeros((bottom - top, right - left, 3 if index == 0 else 4), dtype)
        for index, (left, top, right, bottom) in enumerate(boxes)
    ]
    height = plate.size_px[1]
    strips = [slice(start, min(start + _ROWS, height)) for start in range(0, height, _ROWS)]
    overs = [samples for layer, samples in zip(layers, written, strict=True) if layer.operator == "over"][1:]
    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(lambda rows: _fit_strip(layers, boxes, written, rows, space), strips))
        list(pool.map(_fill_hidden, overs))
    return written


def _fit_strip(
    layers: Sequence[Layer], boxes: Sequence[Box], written: Sequence[Pixels], rows: slice, space: Space
) -> None:
    full = np.iinfo(written[0].dtype).max
    plate = np.ascontiguousarray(layers[0].picture.samples[rows, :, :3])
    true = plate.astype(np.float32) / np.float32(layers[0].picture.full)
    written[0][rows] = encode(plate, space, written[0].itemsize * 8)
    merged = written[0][rows] / np.float32(full)
    for layer, (left, top, right, bottom), samples in list(zip(layers, boxes, written, strict=True))[1:]:
        first, last = max(top, rows.start), min(bottom, rows.stop)
        if first >= last:
            continue
        there = np.s_[first - rows.start : last - rows.start, left:right]
        source = _source(layer, (left, first, right, last))
        colour, alpha = source[..., :3], source[..., 3:]
        if layer.operator == "multiply":
            true[there] *= 1 - alpha + colour
        else:
            true[there] = true[there] * (1 - alpha) + colour
        wanted = _encoded(true[there], layers[0].picture, space)
        fit = _fit_multiply if layer.operator == "multiply" else _fit_over
        codes = fit(wanted, merged[there], alpha, full)
        samples[first - top : last - top] = codes
        merged[there] = _merge(layer.operator, codes / np.float32(full), merged[there])


def _source(layer: Layer, box: Box) -> Pixels:
    """A layer's premultiplied samples inside a box of the view, float32 0..1; nothing where it does not reach."""
    x, y = layer.offset_px
    left, top, right, bottom = box
    if left - x < 0 or top - y < 0 or right - x > layer.picture.size_px[0] or bottom - y > layer.picture.size_px[1]:
        return np.zeros((bottom - top, right - left, 4), np.float32)
    samples = layer.picture.samples[top - y : bottom - y, left - x : right - x]
    return samples.astype(np.float32) / np.float32(layer.picture.full)


def _encoded(linear: Pixels, plate: Picture, space: Space) -> Pixels:
    """Encoded float32; by table for 8-bit work, whose linear light is rounded to 16 bits anyway."""
    if plate.samples.dtype == np.float32:
        return encode_float(linear, space)
    return encode_float(np.rint(np.clip(linear, 0, 1) * 65535).astype(np.uint16), space)


def _fit_over(wanted: Pixels, below: Pixels, alpha: Pixels, full: int) -> Pixels:
    """Codes (h, w, 4) of the layer which drawn over `below` gives `wanted`: its own alpha, raised where it must be."""
    change = wanted - below
    room = np.where(change > 0, 1 - below, below)
    least = (np.abs(change) - _SLACK_CODES / full) / np.maximum(room, 1 / full)
    most = np.maximum(np.maximum(least[..., :1], least[..., 1:2]), least[..., 2:])  # quicker than max along an axis
    least_codes = np.ceil(most * full)
    alpha_codes = np.where(alpha > 0, np.clip(np.maximum(np.rint(alpha * full), least_codes), 0, full), 0)
    share = np.maximum(alpha_codes, 1) / np.float32(full)
    colour = np.clip(below + change / share, 0, 1)  # (R - (1 - a) B) / a
    return np.concatenate([np.where(alpha_codes > 0, np.rint(colour * full), 0), alpha_codes], axis=2)


def _fit_multiply(wanted: Pixels, below: Pixels, alpha: Pixels, full: int) -> Pixels:
    """Codes (h, w, 4) of the layer whose colours take `below` to `wanted`; white and open where it does nothing."""
    ratio = np.divide(wanted, below, out=np.ones_like(wanted), where=below > 0)
    colour = np.where(alpha > 0, np.rint(np.clip(ratio, 0, 1) * full), full)
    return np.concatenate([colour, np.where(alpha > 0, full, 0)], axis=2)


def _merge(operator: str, layer: Pixels, below: Pixels) -> Pixels:
    """The reader's formula for an opaque backdrop: encoded, straight values 0..1."""
    colour, alpha = layer[..., :3], layer[..., 3:]
    blended = below * colour if operator == "multiply" else colour
    merged: Pixels = (below + (blended - below) * alpha).astype(np.float32)
    return merged


def _fill_hidden(samples: Pixels) -> None:
    """Give pixels without alpha the colours of their neighbours, in place: scaled later they leave no dark rim."""
    hidden = samples[..., 3] == 0
    if hidden.all() or not hidden.any():
        return
    alpha = samples[..., 3:] / np.float32(np.iinfo(samples.dtype).max)
    filled = _spread(np.concatenate([samples[..., :3] * alpha, alpha], axis=2))
    samples[hidden, :3] = np.rint(filled[hidden])


def _spread(weighted: Pixels) -> Pixels:
    """Premultiplied colours and alpha (h, w, 4) to colours everywhere (h, w, 3): what alpha leaves open is filled
    from averages over ever larger squares, in which faint pixels count little.
    """
    height, width = weighted.shape[:2]
    if max(height, width) == 1:
        return weighted[..., :3] / weighted[..., 3:]
    half = cv2.resize(weighted, ((width + 1) // 2, (height + 1) // 2), interpolation=cv2.INTER_AREA)
    coarse = cv2.resize(_spread(half), (width, height), interpolation=cv2.INTER_LINEAR)
    spread: Pixels = weighted[..., :3] + (1 - weighted[..., 3:]) * coarse
    return spread
