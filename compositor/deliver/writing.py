"""A delivery's file, in the format its plan asks for."""

from compositor.base.arrays import Pixels
from compositor.colour.coding import as_eight_bits
from compositor.colour.space import Space
from compositor.files.jpeg import encode_jpeg
from compositor.files.png import encode_png
from compositor.files.tiff import encode_tiff
from compositor.files.web import encode_web
from compositor.plan.model import Delivery

ENDINGS = {"png": "png", "jpeg": "jpg", "tiff": "tif", "webp": "webp", "avif": "avif"}


def encode_delivery(
    samples: Pixels, space: Space, delivery: Delivery, dpi: tuple[float, float] | None = None, threads: int = 2
) -> bytes:
    """The file's bytes from encoded R G B (h, w, 3), uint8 or uint16, with the space's profile embedded.

    PNG and TIFF keep the depth unless the plan asks for another; the others hold 8 bits. dpi: the plate's, where the
    plan has none. Raises CompositorError for a picture too large for its format.
    """
    dpi = dpi if delivery.dpi is None else (delivery.dpi, delivery.dpi)
    if delivery.format == "jpeg":
        return encode_jpeg(as_eight_bits(samples), delivery.quality, space.icc, dpi)
    if delivery.format in ("webp", "avif"):
        return encode_web(as_eight_bits(samples), delivery.format, delivery.quality, space.icc, dpi)
    if delivery.depth_bits == 8:
        samples = as_eight_bits(samples)
    if delivery.format == "tiff":
        return encode_tiff(samples, space.icc, dpi)
    return encode_png(samples, space.icc, dpi, threads)
