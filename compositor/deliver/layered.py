"""Layered files besides OpenRaster: TIFF pages, and OpenEXR parts in linear light."""

from collections.abc import Sequence

import numpy as np

from compositor.base.arrays import Pixels
from compositor.colour.coding import conversion_matrix
from compositor.colour.space import SRGB, Space
from compositor.deliver.fitting import fit_layers, layer_box
from compositor.files.exr import REC_709, Part, chromaticities_of, encode_parts
from compositor.files.tiff import Page, encode_pages
from compositor.render.layers import Layer

COMPOSITE = "composite"


def tiff_bytes(
    layers: Sequence[Layer], composite: Pixels, space: Space, dpi: tuple[float, float] | None = None, threads: int = 2
) -> bytes:
    """A 16-bit TIFF file: the composite first, which plain readers show, then the layers, the plate first.

    layers, composite: as for OpenRaster. Merged with their operators the pages give the composite, as layers.ora does.
    """
    size_px = layers[0].picture.size_px
    deep = composite if composite.dtype == np.uint16 else composite.astype(np.uint16) * np.uint16(257)
    pages = [Page(COMPOSITE, deep, (0, 0), "none")]
    for layer, samples in zip(layers, fit_layers(layers, space, 16, threads), strict=True):
        left, top, _, _ = layer_box(layer, size_px)
        pages.append(Page(layer.name, samples, (left, top), layer.operator))
    return encode_pages(pages, size_px, space.icc, dpi)


def exr_bytes(layers: Sequence[Layer], composite: Pixels, space: Space) -> bytes:
    """An OpenEXR file: the composite first, then the layers as they were rendered: linear, premultiplied, half floats.

    composite: linear (h, w, 4), uint16 or float32.
    """
    size_px = layers[0].picture.size_px
    parts = [Part(COMPOSITE, _shares(composite), (0, 0), "none")]
    for layer in layers:
        left, top, right, bottom = layer_box(layer, size_px)
        x, y = layer.offset_px
        inside = layer.picture.samples[max(top - y, 0) : bottom - y, max(left - x, 0) : right - x]
        empty = inside.shape[:2] != (bottom - top, right - left)
        samples = np.zeros((bottom - top, right - left, 4), np.float32) if empty else _shares(inside)
        parts.append(Part(layer.name, samples, (left, top), layer.operator))
    return encode_parts(parts, size_px, _primaries(space))


def _shares(samples: Pixels) -> Pixels:
    return samples if samples.dtype == np.float32 else samples.astype(np.float32) / np.float32(65535)


def _primaries(space: Space) -> tuple[float, ...]:
    """The space's primaries and white; those of sRGB as everybody writes them, others relative to D50."""
    if np.abs(conversion_matrix(space, SRGB) - np.eye(3)).max() < 1e-3:
        return REC_709
    return chromaticities_of(np.array(space.to_xyz))
