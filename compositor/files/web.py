"""WebP and AVIF files, 8 bits, written by Pillow where it can."""

import io
from typing import Literal

import numpy as np
from PIL import Image, features

from compositor.base.arrays import Pixels
from compositor.base.errors import CompositorError

WebFormat = Literal["webp", "avif"]
_X_RESOLUTION, _Y_RESOLUTION, _UNIT, _ORIENTATION = 0x011A, 0x011B, 0x0128, 0x0112
_INCH = 2
_LONGEST_SIDE_PX = {"webp": 16383, "avif": 65535}  # of either format


def can_write(kind: WebFormat) -> bool:
    """Whether this Pillow was built with the format."""
    return bool(features.check(kind))


def encode_web(
    samples: Pixels, kind: WebFormat, quality: int, icc: bytes | None, dpi: tuple[float, float] | None
) -> bytes:
    """The file's bytes from uint8 R G B (h, w, 3). Resolution goes into Exif, since neither format has a place for it.

    Raises CompositorError for a picture too large for the format.
    """
    height, width = samples.shape[:2]
    if max(width, height) > _LONGEST_SIDE_PX[kind]:
        raise CompositorError(
            f"{width}×{height} px is too large for {kind} ({_LONGEST_SIDE_PX[kind]} a side): use TIFF"
        )
    exif = Image.Exif()
    exif[_ORIENTATION] = 1
    if dpi is not None:
        exif[_X_RESOLUTION], exif[_Y_RESOLUTION], exif[_UNIT] = dpi[0], dpi[1], _INCH
    buffer = io.BytesIO()
    picture = Image.fromarray(np.ascontiguousarray(samples))
    # AVIF: one thread, because the number of threads changes the bytes.
    more = {"method": 4} if kind == "webp" else {"max_threads": 1, "subsampling": "4:4:4" if quality >= 90 else "4:2:0"}
    picture.save(buffer, kind.upper(), quality=quality, icc_profile=icc, exif=exif, **more)
    return buffer.getvalue()
