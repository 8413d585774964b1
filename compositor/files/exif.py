"""What a camera wrote about a picture: orientation and lens. Source: Exif 2.32 (CIPA DC-008-2019)."""

import math
import struct
from dataclasses import dataclass
from typing import Any

from PIL import Image

_ORIENTATION = 0x0112
_EXIF_IFD = 0x8769
_INTEROP_IFD = 0xA005
_INTEROP_INDEX = 0x0001
_FOCAL_LENGTH = 0x920A
_FOCAL_LENGTH_35MM = 0xA405
_LONGEST_LENS_MM = 2000  # by eye: beyond every lens made for photography; larger values are junk

DAMAGE = (SyntaxError, OSError, ValueError, KeyError, IndexError, TypeError, OverflowError, EOFError, struct.error)
"""What Pillow raises over a damaged file."""


@dataclass(frozen=True)
class ExifLens:
    """The lens as the camera wrote it; None where unknown (0 means unknown in Exif)."""

    focal_mm: float | None
    equivalent_mm: float | None


@dataclass(frozen=True)
class Exif:
    """The few facts used. orientation: 1 to 8. dcf_optional: the camera used the DCF optional colour space (R03)."""

    orientation: int = 1
    lens: ExifLens | None = None
    dcf_optional: bool = False


def read_exif(block: bytes | None) -> Exif:
    """Facts of an Exif block (with or without its ``Exif\\0\\0`` head). A damaged block tells nothing."""
    if block is None:
        return Exif()
    tags = Image.Exif()
    try:
        tags.load(block)
        return exif_facts(tags)
    except DAMAGE:
        return Exif()


def exif_facts(tags: Image.Exif) -> Exif:
    """Facts of a parsed Exif block."""
    photo = tags.get_ifd(_EXIF_IFD)
    lens = ExifLens(_millimetres(photo.get(_FOCAL_LENGTH)), _millimetres(photo.get(_FOCAL_LENGTH_35MM)))
    known = lens.focal_mm is not None or lens.equivalent_mm is not None
    index = str(tags.get_ifd(_INTEROP_IFD).get(_INTEROP_INDEX, ""))
    return Exif(orientation_of(tags.get(_ORIENTATION)), lens if known else None, index.startswith("R03"))


def orientation_of(value: Any) -> int:
    """1 to 8; anything else means the picture is stored upright."""
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def _millimetres(value: Any) -> float | None:
    try:
        length_mm = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return length_mm if math.isfinite(length_mm) and 0 < length_mm <= _LONGEST_LENS_MM else None
