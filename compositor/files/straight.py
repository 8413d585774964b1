"""Straight 8-bit samples to linear, premultiplied light: what a cut-out means where somebody looks at it.

Two samples side by side are looked up at once, in a table of all pairs of codes: three quarters of the time. Quarters
are samples at a quarter of full scale, of which four can be added up. A pixel comes out the same wherever it stands.
"""

from functools import lru_cache
from typing import NamedTuple

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2
from compositor.colour.coding import decode
from compositor.colour.space import Space
from compositor.pixels.mips import quartered

_ROWS = 128  # strips that stay in the processor's cache while several passes go over them
_JOINED_PX = 32  # columns between two runs that are worked on together
_FULL = 65535
_AT_ONCE = 64  # samples: a multiple of what any processor multiplies at once


class _Tables(NamedTuple):
    """What two codes side by side mean, two uint16 as one int32, and quarters of it: (1, 65536) for R G and B A alike,
    or (1, 65536, 2)."""

    light: Pixels
    quarters: Pixels


def premultiply(space: Space, samples: Pixels, alpha: Pixels, out: Pixels, in_quarters: bool = False) -> None:
    """Encoded uint8 (h, w, 4), straight, and their alpha (h, w) as linear, premultiplied uint16 R G B A into `out`."""
    tables = _tables(space)
    for top in range(0, len(samples), _ROWS):
        rows = slice(top, top + _ROWS)
        _premultiply_strip((samples[rows], alpha[rows]), tables, out[rows], in_quarters)


def _premultiply_strip(stored: tuple[Pixels, Pixels], tables: _Tables, out: Pixels, in_quarters: bool) -> None:
    """Only columns that hold less than full coverage are multiplied, few in most cut-outs; what is beyond the first and
    the last that hold something is not even looked up."""
    samples, alpha = stored
    opaque = tables.quarters if in_quarters else tables.light
    done, right = _occupied(alpha)
    out[:, :done], out[:, right:] = 0, 0
    for first, end in [*_soft_columns(alpha, done, right), (right, right)]:
        if first > done:
            _look_up(samples[:, done:first], opaque, out[:, done:first])
        if end > first:
            soft = _multiplied(samples[:, first:end], alpha[:, first:end], tables.light)
            if in_quarters:
                quartered(soft, out[:, first:end])
            else:
                out[:, first:end] = soft
        done = end


def _multiplied(samples: Pixels, alpha: Pixels, light: Pixels) -> Pixels:
    """Laid out without gaps, and a little longer than it is: OpenCV rounds those left over at the end of a row, which
    are fewer than it multiplies at once, in another way."""
    rows, columns = alpha.shape
    size = 4 * rows * columns
    flat = np.empty((2, 1, size + -size % _AT_ONCE), np.uint16)
    result, factor = (each[0, :size].reshape(rows, columns, 4) for each in flat)
    coverage = np.multiply(alpha, np.uint16(257), dtype=np.uint16)
    _look_up(samples, light, result)
    cv2.cvtColor(coverage, cv2.COLOR_GRAY2RGBA, dst=factor)
    cv2.multiply(flat[0], flat[1], dst=flat[0], scale=1 / _FULL)
    return cv2.insertChannel(coverage, result, 3)


def _look_up(samples: Pixels, table: Pixels, out: Pixels) -> None:
    cv2.LUT(samples.view(np.uint16), table, dst=out.view(np.int32))


def _occupied(alpha: Pixels) -> tuple[int, int]:
    """The first column that holds something and the one after the last; (0, 0) where none does."""
    columns = np.flatnonzero(alpha.max(axis=0))
    return (int(columns[0]), int(columns[-1]) + 1) if len(columns) else (0, 0)


def _soft_columns(alpha: Pixels, left: int, right: int) -> list[tuple[int, int]]:
    """Runs of columns (first, the one after the last) between two that hold less than full coverage (h, w) uint8."""
    soft = left + np.flatnonzero(alpha[:, left:right].min(axis=0) < 255)
    if not len(soft):
        return []
    gaps = np.flatnonzero(np.diff(soft) > _JOINED_PX)
    firsts, lasts = [soft[0], *soft[gaps + 1]], [*soft[gaps], soft[-1]]
    return [(int(first), int(last) + 1) for first, last in zip(firsts, lasts, strict=True)]


@lru_cache(maxsize=8)
def _tables(space: Space) -> _Tables:
    light = decode(np.repeat(np.arange(256, dtype=np.uint8), 4).reshape(1, 256, 4), space)[0]
    return _Tables(_of_pairs(light), _of_pairs(np.rint(light / 4).astype(np.uint16)))


def _of_pairs(values: Pixels) -> Pixels:
    """values: of each code, (256, 4). One table where it serves all channels, which is faster; alpha, which has no
    curve, comes out right there where it is empty or full."""
    first, second = np.arange(65536, dtype=np.uint16).view(np.uint8).reshape(65536, 2).T
    red, green, blue, alpha = values.T
    one = (red == green).all() and (red == blue).all() and (red[[0, 255]] == alpha[[0, 255]]).all()
    pairs = [(red, red)] if one else [(red, green), (blue, alpha)]
    joined = [np.stack([table[first], other[second]], axis=1).view(np.int32) for table, other in pairs]
    return np.ascontiguousarray(np.hstack(joined)[np.newaxis])
