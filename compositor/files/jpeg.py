"""JPEG files."""

import io

import numpy as np
from PIL import Image

from compositor.base.arrays import Pixels
from compositor.base.errors import CompositorError

_LONGEST_SIDE_PX = 65500  # of the encoder; the format itself allows 65535
_FULL_COLOUR_FROM = 90  # quality from which colour is kept at full resolution (common practice, no source)


def encode_jpeg(
    samples: Pixels, quality: int, icc: bytes | None = None, dpi: tuple[float, float] | None = None
) -> bytes:
    """A baseline JPEG file of uint8 R G B (h, w, 3). Raises CompositorError for a picture too large for the format."""
    height, width = samples.shape[:2]
    if max(width, height) > _LONGEST_SIDE_PX:
        raise CompositorError(f"{width}×{height} px is too large for JPEG ({_LONGEST_SIDE_PX} a side): use PNG")
    buffer = io.BytesIO()
    density = {} if dpi is None else {"dpi": dpi}
    Image.fromarray(np.ascontiguousarray(samples)).save(
        buffer,
        "JPEG",
        quality=quality,
        subsampling="4:4:4" if quality >= _FULL_COLOUR_FROM else "4:2:0",
        icc_profile=icc,
        **density,
    )
    return buffer.getvalue()
