"""Layered files in the open format OpenRaster (openraster/ora-spec: file layout and layer stack, 0.0.3)."""

import io
import zipfile
from collections.abc import Sequence
from xml.etree import ElementTree

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2
from compositor.colour.coding import as_eight_bits, decode, encode
from compositor.colour.space import Space
from compositor.deliver.fitting import fit_layers, layer_box
from compositor.files.png import encode_png
from compositor.render.layers import Layer

_THUMBNAIL_PX = 256
_OPERATORS = {"over": "svg:src-over", "multiply": "svg:multiply"}
_NO_CLOCK = (1980, 1, 1, 0, 0, 0)  # the earliest a zip file can name


def openraster_bytes(
    layers: Sequence[Layer],
    composite: Pixels,
    space: Space,
    dpi: tuple[float, float] | None = None,
    threads: int = 2,
    merged: bytes | None = None,
) -> bytes:
    """The file's bytes. layers: bottom to top, the plate first. composite: the encoded frame (h, w, 3) as rendered.
    merged: the composite as a PNG file, where it has been written already.

    uint8 composites give 8-bit layers, uint16 ones 16-bit layers. Merged with the standard's operators the layers
    give the composite to within 1 of 255. Equal input gives equal bytes.
    """
    fitted = fit_layers(layers, space, composite.dtype.itemsize * 8, threads)
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_STORED) as archive:
        _add(archive, "mimetype", b"image/openraster")
        _add(archive, "stack.xml", _stack(layers, dpi))
        for index, samples in enumerate(fitted):
            _add(archive, _file_of(index), encode_png(samples, space.icc, dpi, threads))
        _add(archive, "Thumbnails/thumbnail.png", encode_png(_thumbnail(composite, space), space.icc))
        _add(archive, "mergedimage.png", merged or encode_png(composite, space.icc, dpi, threads))
    return buffer.getvalue()


def _add(archive: zipfile.ZipFile, name: str, data: bytes) -> None:
    entry = zipfile.ZipInfo(name, _NO_CLOCK)
    entry.create_system = 3  # the same on every system
    entry.external_attr = 0o644 << 16
    archive.writestr(entry, data)


def _file_of(index: int) -> str:
    """Layers' names may hold anything; files are numbered from the plate upwards."""
    return f"data/{index:03d}.png"


def _stack(layers: Sequence[Layer], dpi: tuple[float, float] | None) -> bytes:
    """stack.xml, the uppermost layer first."""
    size_px = layers[0].picture.size_px
    image = ElementTree.Element("image", version="0.0.3", w=str(size_px[0]), h=str(size_px[1]))
    if dpi is not None:
        image.set("xres", str(round(dpi[0])))
        image.set("yres", str(round(dpi[1])))
    stack = ElementTree.SubElement(image, "stack")
    for index, layer in reversed(list(enumerate(layers))):
        left, top, _, _ = layer_box(layer, size_px)
        attributes = {
            "name": layer.name,
            "src": _file_of(index),
            "x": str(left),
            "y": str(top),
            "opacity": "1.0",
            "visibility": "visible",
            "composite-op": _OPERATORS[layer.operator],
        }
        ElementTree.SubElement(stack, "layer", attributes)
    text: bytes = ElementTree.tostring(image, encoding="UTF-8", xml_declaration=True)
    return text


def _thumbnail(composite: Pixels, space: Space) -> Pixels:
    """At most 256 pixels a side, never enlarged, 8 bits; shrunk in linear light."""
    height, width = composite.shape[:2]
    scale_ratio = min(1.0, _THUMBNAIL_PX / max(width, height))
    size_px = (max(1, round(width * scale_ratio)), max(1, round(height * scale_ratio)))
    step = max(1, max(width, height) // (8 * _THUMBNAIL_PX))  # enough samples for a thumbnail, little memory
    fewer = cv2.resize(composite, (-(-width // step), -(-height // step)), interpolation=cv2.INTER_NEAREST)
    linear = decode(as_eight_bits(fewer), space)
    return encode(cv2.resize(linear, size_px, interpolation=cv2.INTER_AREA), space, 8)
