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
from compositor.colour.coding import encode_colours, encode_float, opaque_codes
from compositor.colour.space import Space
from compositor.pixels import blend
from compositor.render.compose import touched_columns
from compositor.render.layers import Layer

_ROWS = 128  # strips: all layers go over a strip before the next, so that no whole frame is held in floats
_COARSE = 4  # hidden colours need no detail
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
    """All layers in a strip of rows, in the columns that layers touch; elsewhere there is only the plate."""
    plate = layers[0].picture.samples[rows]
    opaque_codes(plate, space, written[0][rows])
    for left, right in touched_columns(layers[1:], rows.start, rows.stop, plate.shape[1]):
        strip = _Strip(plate[:, left:right].copy(), written[0][rows, left:right], space)
        for layer, box, samples in list(zip(layers, boxes, written, strict=True))[1:]:
            top, bottom = max(box[1], rows.start), min(box[3], rows.stop)
            source = _source(layer, (box[0], top, box[2], bottom)) if top < bottom else None
            if source is not None and left <= box[0] < right:
                there = np.s_[top - rows.start : bottom - rows.start, box[0] - left : box[2] - left]
                fit = strip.multiply if layer.operator == "multiply" else strip.over
                samples[top - box[1] : bottom - box[1]] = fit(source, there)


class _Strip:
    """A part of the picture on the way up. true: linear, (h, w, 4). merged: what readers get, (h, w, 3) 0..1."""

    def __init__(self, true: Pixels, written: Pixels, space: Space) -> None:
        self.true, self.space, self.dtype = true, space, written.dtype
        self.full = int(np.iinfo(written.dtype).max)
        self.merged = written / np.float32(self.full)

    def over(self, source: Pixels, there: tuple[slice, slice]) -> Pixels:
        """Codes (h, w, 4) of a layer that covers what is below. Only where it does so in part is there much to do."""
        true, merged = self.true[there], self.merged[there]
        blend.over_opaque(true, source)
        alpha = cv2.extractChannel(source, 3)
        full = 65535 if source.dtype == np.uint16 else 1
        opaque = (alpha == full).view(np.uint8)
        encoded = cv2.cvtColor(encode_colours(true, self.space, self.dtype.itemsize * 8), cv2.COLOR_RGBA2RGB)
        codes = cv2.copyTo(cv2.cvtColor(encoded, cv2.COLOR_RGB2RGBA), opaque)
        cv2.copyTo(encoded / np.float32(self.full), opaque, dst=merged)
        soft = np.nonzero((alpha > 0) & (alpha < full))
        if len(soft[0]):
            share = (alpha[soft] / np.float32(full)).astype(np.float32)[np.newaxis, :, np.newaxis]
            below = merged[soft][np.newaxis]
            found = _fit_over(self._wanted(true[soft][np.newaxis]), below, share, self.full)
            codes[soft] = found[0]
            merged[soft] = _merge_over(found / np.float32(self.full), below)[0]
        return codes

    def multiply(self, source: Pixels, there: tuple[slice, slice]) -> Pixels:
        """Codes (h, w, 4) of a layer whose colours take what is below to the truth; white and open where they need
        not."""
        true, merged = self.true[there], self.merged[there]
        blend.multiply_opaque(true, source)
        open_ = cv2.extractChannel(source, 3) == 0
        ratio = np.divide(self._wanted(true), merged, out=np.ones_like(merged), where=merged > 0)
        colour = np.rint(np.clip(ratio, 0, 1) * self.full)
        colour[open_] = self.full
        merged *= colour / np.float32(self.full)
        codes: Pixels = cv2.cvtColor(colour.astype(self.dtype), cv2.COLOR_RGB2RGBA)
        codes[..., 3][open_] = 0
        return codes

    def _wanted(self, linear: Pixels) -> Pixels:
        """Encoded float32 (h, w, 3) of linear samples (h, w, 4); by table for 8-bit work."""
        return encode_float(np.ascontiguousarray(linear[..., :3]), self.space)


def _source(layer: Layer, box: Box) -> Pixels | None:
    """A layer's premultiplied samples inside a box of the view; None where it does not reach."""
    x, y = layer.offset_px
    left, top, right, bottom = box
    if left - x < 0 or top - y < 0 or right - x > layer.picture.size_px[0] or bottom - y > layer.picture.size_px[1]:
        return None
    return layer.picture.samples[top - y : bottom - y, left - x : right - x]


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


def _merge_over(layer: Pixels, below: Pixels) -> Pixels:
    """The reader's formula for an opaque backdrop: encoded, straight values 0..1."""
    merged: Pixels = (below + (layer[..., :3] - below) * layer[..., 3:]).astype(np.float32)
    return merged


def _fill_hidden(samples: Pixels) -> None:
    """Give pixels without alpha the colours of their neighbours, in place: scaled later they leave no dark rim."""
    hidden = (cv2.extractChannel(samples, 3) == 0).view(np.uint8)
    if hidden.all() or not hidden.any():
        return
    full = float(np.iinfo(samples.dtype).max)
    alphas = cv2.cvtColor(cv2.extractChannel(samples, 3), cv2.COLOR_GRAY2RGBA)  # for each colour, and full for itself
    weighted = cv2.multiply(samples, alphas, scale=1 / full**2, dtype=cv2.CV_32F)
    height, width = samples.shape[:2]
    few = cv2.resize(weighted, (-(-width // _COARSE), -(-height // _COARSE)), interpolation=cv2.INTER_AREA)
    filled = cv2.resize(np.rint(_spread(few) * full).astype(samples.dtype), (width, height))
    cv2.copyTo(cv2.merge([*cv2.split(filled), np.zeros_like(hidden, samples.dtype)]), hidden, dst=samples)


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
