"""TIFF files (TIFF 6.0, 1992): one picture, or a page for each layer. Equal input gives equal bytes."""

import io
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import tifffile

from compositor.base.arrays import Pixels

_PAGE_NAME, _X_POSITION, _Y_POSITION = 285, 286, 287
_RATIONAL = 5
_ONE_OF_SEVERAL = 2  # NewSubfileType, bit 1
_USUAL_DPI = 72.0
_FINE = 1000  # positions are kept to a thousandth of a pixel


@dataclass(frozen=True)
class Page:
    """One page. samples: (h, w, 3 | 4) uint16, straight alpha. offset_px: of its corner in the whole picture."""

    name: str
    samples: Pixels
    offset_px: tuple[int, int]
    operator: str


def encode_tiff(samples: Pixels, icc: bytes | None = None, dpi: tuple[float, float] | None = None) -> bytes:
    """A TIFF file of uint8 or uint16 R G B (h, w, 3), compressed without loss."""
    buffer = io.BytesIO()
    tifffile.imwrite(buffer, samples, **_common(samples, icc, dpi))
    return buffer.getvalue()


def encode_pages(
    pages: Sequence[Page], frame_px: tuple[int, int], icc: bytes | None, dpi: tuple[float, float] | None
) -> bytes:
    """A TIFF file with a page for each layer, in the order given.

    PageName holds the layer's name, XPosition and YPosition its offset, and ImageDescription as JSON what TIFF has no
    tags for: the operator, the offset in whole pixels and the whole picture's size.
    """
    buffer = io.BytesIO()
    with tifffile.TiffWriter(buffer) as writer:
        for page in pages:
            facts = {"operator": page.operator, "offset_px": list(page.offset_px), "frame_px": list(frame_px)}
            writer.write(
                page.samples,
                **_common(page.samples, icc, dpi),
                subfiletype=_ONE_OF_SEVERAL,
                description=json.dumps(facts),
                extratags=list(_tags(page, dpi or (_USUAL_DPI, _USUAL_DPI))),
            )
    return buffer.getvalue()


def _common(samples: Pixels, icc: bytes | None, dpi: tuple[float, float] | None) -> dict[str, Any]:
    return {
        "photometric": "rgb",
        "extrasamples": ["unassalpha"] if samples.shape[2] == 4 else [],
        "iccprofile": icc,
        "resolution": dpi or (_USUAL_DPI, _USUAL_DPI),
        "resolutionunit": "INCH",
        "compression": "zlib",
        "predictor": True,
        "software": False,
        "metadata": None,
    }


def _tags(page: Page, dpi: tuple[float, float]) -> Iterator[tuple[int, Any, int, Any, bool]]:
    yield (_PAGE_NAME, "s", 0, page.name.encode(), True)
    for code, offset_px, per_inch in zip((_X_POSITION, _Y_POSITION), page.offset_px, dpi, strict=True):
        yield (code, _RATIONAL, 1, (offset_px * _FINE, round(per_inch * _FINE)), True)
