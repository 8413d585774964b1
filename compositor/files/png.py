"""PNG files, written quickly: strips are filtered and compressed side by side and joined.

Grainy photographs gain nothing from searching matches: the Average filter and Huffman codes alone give a smaller file
in a fraction of the time. Plain areas do gain, so each strip says by its own bytes how it is compressed. Sources: PNG
(W3C, third edition) sections 9 to 11; RFC 1950 and 1951 for the joints. Equal input gives equal bytes, whatever the
number of threads.
"""

import struct
import zlib
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from compositor.base.arrays import Pixels
from compositor.files.codecs import deflate
from compositor.files.containers import PNG_SIGNATURE

_STRIP_BYTES = 1 << 20
_AVERAGE = 3
_ADLER_BASE = 65521
_COLOUR_TYPE = {1: 0, 3: 2, 4: 6}

# Shares of zero bytes after filtering, chosen by trial on photographs, cut-outs and drawings of 2 to 6 megapixels:
_RUNS_FROM = 0.2  # grain leaves 0.05 to 0.15, where looking for runs costs a tenth more and gains nothing
_PLAIN_FROM = 0.85  # drawings have 0.9 and more; a light search halves what runs alone leave of them


def encode_png(
    samples: Pixels, icc: bytes | None = None, dpi: tuple[float, float] | None = None, threads: int = 2
) -> bytes:
    """A PNG file of uint8 or uint16 samples (h, w, 1 | 3 | 4): grey, R G B, R G B with straight alpha.

    icc goes into iCCP; an sRGB chunk is not written beside it, as the standard says (section 11.3.2).
    """
    height, width, channels = samples.shape
    depth_bits = samples.dtype.itemsize * 8
    step = max(1, _STRIP_BYTES // (width * channels * samples.dtype.itemsize))
    tops = range(0, height, step)
    with ThreadPoolExecutor(threads) as pool:
        strips = list(pool.map(lambda top: _strip(samples, top, min(top + step, height)), tops))
    form = struct.pack(">IIBBBBB", width, height, depth_bits, _COLOUR_TYPE[channels], 0, 0, 0)
    parts = [PNG_SIGNATURE, *_chunk(b"IHDR", form)]
    if icc is not None:
        parts += _chunk(b"iCCP", b"ICC profile\0\0", zlib.compress(icc, 9))
    if dpi is not None:
        parts += _chunk(b"pHYs", struct.pack(">IIB", *(round(value / 0.0254) for value in dpi), 1))
    parts += _chunk(b"IDAT", b"\x78\x01")
    adler = 1
    for chunk, strip_adler, length in strips:
        parts += chunk
        adler = _joined_adler(adler, strip_adler, length)
    parts += _chunk(b"IDAT", struct.pack(">I", adler)) + _chunk(b"IEND")
    return b"".join(parts)


def _strip(samples: Pixels, top: int, bottom: int) -> tuple[list[bytes], int, int]:
    """Rows top to bottom as an IDAT chunk's parts, with the Adler-32 and the length of what it holds."""
    filtered = _filtered(samples, top, bottom)
    level, strategy = _how(filtered)
    packer = deflate().compressobj(level, zlib.DEFLATED, -15, 9, strategy)
    last = bottom == len(samples)
    packed, rest = packer.compress(filtered.data), packer.flush(zlib.Z_FINISH if last else zlib.Z_FULL_FLUSH)
    return _chunk(b"IDAT", packed, rest), deflate().adler32(filtered.data), filtered.size


def _filtered(samples: Pixels, top: int, bottom: int) -> Pixels:
    """Average-filtered rows with their filter byte, uint8 (rows, 1 + bytes); left and above the picture is 0."""
    pixel_bytes = samples.shape[2] * samples.dtype.itemsize
    rows = _bytes(samples[max(top - 1, 0) : bottom])
    if top == 0:
        rows = np.vstack([np.zeros_like(rows[:1]), rows])
    above, here = rows[:-1], rows[1:]
    result = np.empty((bottom - top, 1 + here.shape[1]), np.uint8)
    result[:, 0] = _AVERAGE
    first, rest = result[:, 1 : 1 + pixel_bytes], result[:, 1 + pixel_bytes :]
    np.subtract(here[:, :pixel_bytes], above[:, :pixel_bytes] >> 1, out=first)
    left, up = here[:, :-pixel_bytes], above[:, pixel_bytes:]
    half = left ^ up  # the mean of two bytes without a ninth bit is (left & up) + ((left ^ up) >> 1)
    np.right_shift(half, 1, out=half)
    half += np.bitwise_and(left, up, out=rest)
    np.subtract(here[:, pixel_bytes:], half, out=rest)  # in place: fresh memory takes longer than all of this
    return result


def _bytes(rows: Pixels) -> Pixels:
    """Rows of samples as rows of bytes, the high byte first."""
    big = rows if rows.dtype == np.uint8 else rows.astype(">u2")
    return np.ascontiguousarray(big).reshape(len(rows), -1).view(np.uint8)


def _how(filtered: Pixels) -> tuple[int, int]:
    """zlib's level and strategy for a strip, by the share of zero bytes in every eighth row."""
    sample = filtered[::8]
    zeros = 1 - np.count_nonzero(sample) / sample.size
    if zeros >= _PLAIN_FROM:
        return 3, zlib.Z_DEFAULT_STRATEGY
    return 1, zlib.Z_RLE if zeros >= _RUNS_FROM else zlib.Z_HUFFMAN_ONLY


def _chunk(name: bytes, *content: bytes) -> list[bytes]:
    """A chunk in parts: joined only once, with all others, megabytes are not copied again and again."""
    checksum = zlib.crc32(name)
    for part in content:
        checksum = deflate().crc32(part, checksum)
    return [struct.pack(">I", sum(map(len, content))), name, *content, struct.pack(">I", checksum)]


def _joined_adler(first: int, second: int, second_length: int) -> int:
    """Adler-32 of two runs of bytes one after the other, from theirs (RFC 1950 section 8.2)."""
    low, high = first & 0xFFFF, first >> 16
    joined_low = (low + (second & 0xFFFF) - 1) % _ADLER_BASE
    joined_high = (high + (second >> 16) + second_length * (low - 1)) % _ADLER_BASE
    return joined_high << 16 | joined_low
