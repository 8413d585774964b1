"""Small JPEG files that stand for a picture: coarse in detail, true in brightness, colour and place."""

import io
from functools import cache

import numpy as np
from PIL import Image
from PIL.JpegImagePlugin import JpegImageFile

from compositor.base.arrays import Pixels

_MEAN_STEP = 1  # of a block's mean, in eighths of a level; by trial (tests/studies/picture_tolerances.py)
_SLOPES = (1, 8)  # places of the first coefficients across and down in a table of 8 by 8


def encode_faithful_jpeg(samples: Pixels, quality: int, icc: bytes | None) -> bytes:
    """A JPEG file of uint8 R G B (h, w, 3) whose areas keep their mean and slopes however coarse the rest is.

    These are the first coefficients of a block's transform (ITU-T T.81), a small part of a file; they are kept finer
    than the quality asks.
    """
    buffer = io.BytesIO()
    tables = [list(table) for table in _tables(quality)]
    picture = Image.fromarray(np.ascontiguousarray(samples))
    picture.save(buffer, "JPEG", qtables=tables, subsampling="4:4:4", progressive=True, optimize=True, icc_profile=icc)
    return buffer.getvalue()


@cache
def _tables(quality: int) -> tuple[tuple[int, ...], ...]:
    buffer = io.BytesIO()
    Image.new("RGB", (8, 8)).save(buffer, "JPEG", quality=quality)
    buffer.seek(0)
    with JpegImageFile(buffer) as picture:
        tables = [list(table) for table in picture.quantization.values()]
    for table in tables:
        table[0] = min(table[0], _MEAN_STEP)
        for slope in _SLOPES:
            table[slope] = max(table[slope] // 2, 1)
    return tuple(tuple(table) for table in tables)
