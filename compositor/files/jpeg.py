"""JPEG files (ISO/IEC 10918-1; JFIF 1.02 for the resolution; ICC.1:2010 annex B.4 for the profile)."""

import struct

from compositor.base.arrays import Pixels
from compositor.base.errors import CompositorError
from compositor.base.opencv import cv2
from compositor.files.codecs import fast_jpeg_file

_LONGEST_SIDE_PX = 65500  # of the encoder; the format itself allows 65535
_FULL_COLOUR_FROM = 90  # quality from which colour is kept at full resolution (common practice, no source)
_PROFILE = b"ICC_PROFILE\0"
_MOST_IN_SEGMENT = 65535 - 2 - len(_PROFILE) - 2
_DENSITY_AT = 13  # in the JFIF segment, which comes first: unit, then across and down
_HEAD_END = 20


def encode_jpeg(
    samples: Pixels, quality: int, icc: bytes | None = None, dpi: tuple[float, float] | None = None
) -> bytes:
    """A baseline JPEG file of uint8 R G B (h, w, 3). Raises CompositorError for a picture too large for the format."""
    height, width = samples.shape[:2]
    if max(width, height) > _LONGEST_SIDE_PX:
        raise CompositorError(f"{width}×{height} px is too large for JPEG ({_LONGEST_SIDE_PX} a side): use PNG")
    full_colour = quality >= _FULL_COLOUR_FROM
    data = fast_jpeg_file(samples, quality, full_colour) or _by_opencv(samples, quality, full_colour)
    head, rest = data[:_HEAD_END], memoryview(data)[_HEAD_END:]
    return b"".join([_with_density(head, dpi), *_profile_segments(icc or b""), rest])


def _by_opencv(samples: Pixels, quality: int, full_colour: bool) -> bytes:
    colour = cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444 if full_colour else cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420
    options = [cv2.IMWRITE_JPEG_QUALITY, quality, cv2.IMWRITE_JPEG_SAMPLING_FACTOR, colour]
    written, data = cv2.imencode(".jpg", cv2.cvtColor(samples, cv2.COLOR_RGB2BGR), options)
    if not written:
        raise CompositorError("the picture could not be written as JPEG")
    return data.tobytes()


def _with_density(head: bytes, dpi: tuple[float, float] | None) -> bytes:
    """The start of a file, its JFIF segment, with a resolution in pixels per inch."""
    if head[6:11] != b"JFIF\0":
        raise CompositorError("the JPEG encoder wrote no JFIF segment")
    if dpi is None:
        return head
    across, down = (min(round(value), 65535) for value in dpi)
    return head[:_DENSITY_AT] + struct.pack(">BHH", 1, across, down) + head[_DENSITY_AT + 5 :]


def _profile_segments(icc: bytes) -> list[bytes]:
    """A profile in APP2 segments, as many as it needs."""
    parts = [icc[start : start + _MOST_IN_SEGMENT] for start in range(0, len(icc), _MOST_IN_SEGMENT)]
    return [
        struct.pack(">HH", 0xFFE2, 2 + len(_PROFILE) + 2 + len(part)) + _PROFILE + bytes([number, len(parts)]) + part
        for number, part in enumerate(parts, 1)
    ]
