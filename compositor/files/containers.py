"""Looking into PNG and TIFF files where the decoders do not tell enough, or tell it too late."""

import struct
from typing import BinaryIO

from compositor.files.codecs import deflate

PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"

_ORIENTATION_TAG = 274
_SHORT = 3
_CHUNK = struct.Struct(">I4s")  # length and name
_CHECKSUM = struct.Struct(">I")


class Damaged(Exception):
    """The file does not keep to its format; the message is a short fact."""


def check_png(data: bytes) -> None:
    """Look at every chunk's CRC, to the last (PNG, W3C, section 5). Raises Damaged."""
    view, crc32, place, end = memoryview(data), deflate().crc32, len(PNG_SIGNATURE), len(data)
    while place + 12 <= end:
        length, name = _CHUNK.unpack_from(data, place)
        checksum_at = place + 8 + length
        if checksum_at + 4 > end:
            break
        if crc32(view[place + 4 : checksum_at]) != _CHECKSUM.unpack_from(data, checksum_at)[0]:
            raise Damaged("the file is damaged (checksum)")
        if name == b"IEND":
            return
        place = checksum_at + 4
    raise Damaged("the file is truncated")


def png_exif(file: BinaryIO) -> bytes | None:
    """The Exif block, wherever the file keeps it, without reading the picture."""
    file.seek(len(PNG_SIGNATURE))
    while len(head := file.read(8)) == 8:
        length, name = _CHUNK.unpack(head)
        if name == b"eXIf":
            return file.read(length)
        file.seek(length + 4, 1)
    return None


def tiff_upright(data: bytes) -> bytes:
    """The same TIFF file with its first picture's orientation tag set to 1: decoders differ in what they make of it.

    Classic and large (64-bit) files. A file without that tag comes back as it is. Raises Damaged. Source: TIFF 6.0.
    """
    order = "<" if data[:2] == b"II" else ">"
    large = struct.unpack_from(order + "H", data, 2)[0] == 43
    try:
        (place,) = struct.unpack_from(order + ("8xQ" if large else "4xI"), data)
        (count,) = struct.unpack_from(order + ("Q" if large else "H"), data, place)
        place, step, value_at = (place + 8, 20, 12) if large else (place + 2, 12, 8)
        for entry in range(place, place + step * count, step):
            tag, kind = struct.unpack_from(order + "HH", data, entry)
            if tag == _ORIENTATION_TAG and kind == _SHORT:
                at = entry + value_at
                return data[:at] + struct.pack(order + "H", 1) + data[at + 2 :]
    except struct.error as error:
        raise Damaged("the file is truncated") from error
    return data
