"""Stored samples to linear light and back, by tables that are kept per space.

Arrays are (h, w, 3) or (h, w, 4), R G B first; a fourth channel is alpha and passes without a curve. Grey pictures are
made three-channel before they come here. All functions may run in several threads at once.
"""

from functools import lru_cache

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.base.opencv import cv2
from compositor.colour.curves import Curve
from compositor.colour.space import Space

_ROWS = 64  # strips that stay in the processor's cache while several passes go over them
_SAME_PRIMARIES = 2e-4  # moves no 8-bit sRGB code by more than one; profiles of one space differ by about 5e-5


def decode(samples: Pixels, space: Space, out: Pixels | None = None) -> Pixels:
    """Encoded uint8 → linear uint16; encoded uint16 → linear float32 (0..1). `out`: where to put it."""
    if samples.dtype == np.uint16:
        return decode_float(samples, space, out)
    return _look_up(samples, _to_linear_16(space, _tables(space, samples)), out)


def opaque_light(samples: Pixels, space: Space, out: Pixels | None = None) -> Pixels:
    """Encoded (h, w, 3) → linear (h, w, 4) with a full fourth channel, in the kinds of `decode`."""
    return cv2.cvtColor(decode(samples, space), cv2.COLOR_RGB2RGBA, dst=out)


def opaque_codes(linear: Pixels, space: Space, out: Pixels) -> None:
    """Linear (h, w, 4) → encoded (h, w, 3) of the depth of `out`, without the fourth channel."""
    encode(cv2.cvtColor(linear, cv2.COLOR_RGBA2RGB), space, out.dtype.itemsize * 8, out)


def encode_colours(linear: Pixels, space: Space, depth_bits: int, out: Pixels | None = None) -> Pixels:
    """As `encode` of (h, w, 4), faster; the fourth channel comes out right where it is empty or full, only."""
    if linear.dtype != np.uint16 or not _one_curve(space):
        return encode(linear, space, depth_bits, out)
    return _look_up(linear, _to_encoded(space, depth_bits, 1), out)


def decode_float(samples: Pixels, space: Space, out: Pixels | None = None) -> Pixels:
    """Encoded uint8 or uint16 → linear float32 (0..1), exact but for the rounding to float32."""
    codes = 256 if samples.dtype == np.uint8 else 65536
    return _look_up(samples, _to_linear_float(space, codes, _tables(space, samples)), out)


def encode(linear: Pixels, space: Space, depth_bits: int, out: Pixels | None = None) -> Pixels:
    """Linear uint16 or float32 → encoded uint8 (depth_bits 8) or uint16 (16); values outside 0..1 are clipped.

    8 bits → `decode` → `encode` is the identity for every code; so is 16 bits for every curve that rises everywhere.
    """
    if linear.dtype == np.uint16:
        return _look_up(linear, _to_encoded(space, depth_bits, _tables(space, linear)), out)
    dtype, full = (np.uint8, 255) if depth_bits == 8 else (np.uint16, 65535)
    result = np.empty(linear.shape, dtype) if out is None else out
    for top in range(0, len(linear), _ROWS):
        strip = np.clip(linear[top : top + _ROWS], 0, 1)
        for curve, channels in _by_curve(space):
            strip[..., channels] = curve.to_encoded(strip[..., channels])
        result[top : top + _ROWS] = (strip * full + 0.5).astype(dtype)
    return result


def encode_float(linear: Pixels, space: Space) -> Pixels:
    """Linear R G B, uint16 or float32, (h, w, 3) → encoded values 0..1 that are not rounded to any code, float32."""
    if linear.dtype == np.uint16:
        return _look_up(linear, _to_encoded_float(space, _tables(space, linear)), None)
    result = np.clip(linear, 0, 1)
    for curve, channels in _by_curve(space):
        result[..., channels] = curve.to_encoded(result[..., channels])
    return result


def as_eight_bits(encoded: Pixels) -> Pixels:
    """uint16 codes to the nearest uint8 codes; uint8 as it is."""
    if encoded.dtype == np.uint8:
        return encoded
    return cv2.convertScaleAbs(encoded, alpha=255 / 65535)


def convert_linear(linear: Pixels, source: Space, target: Space) -> Pixels:
    """Linear light in one space's primaries to another's (both whites are D50 already: relative colorimetric).

    uint16 is clipped to 0..65535; float32 may leave 0..1. The same array comes back where the primaries agree.
    """
    if same_primaries(source, target):
        return linear
    matrix = conversion_matrix(source, target)
    if linear.shape[2] == 4:
        matrix = np.block([[matrix, np.zeros((3, 1))], [np.zeros((1, 3)), np.ones((1, 1))]])
    return cv2.transform(linear, matrix)


def same_primaries(source: Space, target: Space) -> bool:
    """Whether linear light means the same in both."""
    return bool(np.abs(conversion_matrix(source, target) - np.eye(3)).max() < _SAME_PRIMARIES)


def conversion_matrix(source: Space, target: Space) -> Floats:
    """3×3, linear R G B of one space to linear R G B of another."""
    return _conversion(source.to_xyz, target.to_xyz)


def _conversion(source: tuple[object, ...], target: tuple[object, ...]) -> Floats:
    result: Floats = np.linalg.solve(np.array(target, dtype=np.float64), np.array(source, dtype=np.float64))
    return result


def _one_curve(space: Space) -> bool:
    red, green, blue = space.curves
    return red == green == blue


def _by_curve(space: Space) -> list[tuple[Curve, slice]]:
    """The curves with the channels they serve; one entry where all three are one."""
    red, green, blue = space.curves
    if _one_curve(space):
        return [(red, slice(0, 3))]
    return [(red, slice(0, 1)), (green, slice(1, 2)), (blue, slice(2, 3))]


def _tables(space: Space, samples: Pixels) -> int:
    """How many tables samples are looked up in: one for three equal curves, which is twice as fast, else one for each
    channel. A fourth has no curve; to look it up by itself takes as long as is won."""
    channels: int = samples.shape[2]
    return 1 if channels == 3 and _one_curve(space) else channels


def _look_up(samples: Pixels, table: Pixels, out: Pixels | None) -> Pixels:
    """cv2.LUT; table (1, codes, channels), or (1, codes, 1) for all of them."""
    return cv2.LUT(samples, table, dst=out)


@lru_cache(maxsize=32)
def _to_linear_float(space: Space, codes: int, channels: int) -> Pixels:
    table: Pixels = _table(space, codes, channels).astype(np.float32)
    return table


@lru_cache(maxsize=32)
def _to_linear_16(space: Space, channels: int) -> Pixels:
    """256 codes to linear 16 bits, every code its own value so that the way back finds it."""
    nearest = np.rint(np.clip(_table(space, 256, channels), 0, 1) * 65535).astype(np.int64)
    code = np.arange(256).reshape(1, 256, 1)
    rising = np.maximum.accumulate(nearest - code, axis=1) + code  # at least one more than the code before
    table: Pixels = np.minimum(rising, 65535 - (255 - code)).astype(np.uint16)
    return table


@lru_cache(maxsize=32)
def _to_encoded(space: Space, depth_bits: int, channels: int) -> Pixels:
    """Linear 16 bits to codes: the nearest code, and for the values that `_to_linear_16` gives exactly its code."""
    linear = np.arange(65536) / 65535
    curves = [curve.to_encoded(linear) for curve in space.curves[:channels]] + [linear] * (channels - 3)
    encoded = np.clip(np.stack(curves, axis=-1), 0, 1)
    table: Pixels
    if depth_bits == 16:
        table = np.rint(encoded * 65535).astype(np.uint16)[np.newaxis]
        return table
    codes = np.rint(encoded * 255).astype(np.int64)
    for channel in range(channels):
        anchors = _to_linear_16(space, channels)[0, :, channel]
        below = np.maximum(np.searchsorted(anchors, np.arange(65536), side="right") - 1, 0)
        codes[:, channel] = np.clip(codes[:, channel], below, below + 1)
        codes[anchors, channel] = np.arange(256)
    table = np.minimum(codes, 255).astype(np.uint8)[np.newaxis]
    return table


@lru_cache(maxsize=8)
def _to_encoded_float(space: Space, channels: int) -> Pixels:
    linear = np.arange(65536) / 65535
    encoded = np.stack([curve.to_encoded(linear) for curve in space.curves[:channels]], axis=-1)
    table: Pixels = np.clip(encoded, 0, 1).astype(np.float32)[np.newaxis]
    return table


def _table(space: Space, codes: int, channels: int) -> Floats:
    """Every code's linear value in float64, (1, codes, channels)."""
    encoded = np.arange(codes) / (codes - 1)
    curves = [curve.to_linear(encoded) for curve in space.curves[:channels]] + [encoded] * (channels - 3)
    result: Floats = np.stack(curves, axis=-1)[np.newaxis]
    return result
