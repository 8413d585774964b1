"""A delivery's file, in the format its plan asks for."""

from compositor.base.arrays import Pixels
from compositor.colour.coding import as_eight_bits
from compositor.colour.space import Space
from compositor.files.jpeg import encode_jpeg
from compositor.files.png import encode_png
from compositor.plan.model import Delivery


def encode_delivery(
    samples: Pixels, space: Space, delivery: Delivery, dpi: tuple[float, float] | None = None, threads: int = 2
) -> bytes:
    """The file's bytes from encoded R G B (h, w, 3), uint8 or uint16, with the space's profile embedded.

    PNG keeps the depth; JPEG holds 8 bits. Raises CompositorError for a picture too large for its format.
    """
    if delivery.format == "jpeg":
        return encode_jpeg(as_eight_bits(samples), delivery.quality, space.icc, dpi)
    return encode_png(samples, space.icc, dpi, threads)
