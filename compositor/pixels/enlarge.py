"""Doubling the number of samples without moving one and without halos.

New samples lie half-way between the old ones, by Lagrange's polynomial through six of them; the old ones stay as
they are. A new sample may go beyond its two neighbours only over a crest or a trough that the data show on both
sides, and no farther than a wave of four pixels does: fine texture keeps its contrast, while an edge gets no dark
or bright border. Colour never exceeds its alpha and nothing leaves 0..1.

Sources: Schafer & Rabiner, A digital signal processing approach to interpolation, Proc. IEEE 61(6), 1973 (Lagrange
interpolators, weights 3 −25 150 150 −25 3 over 256); the limit follows the minmod idea of Roe, Annual Review of
Fluid Mechanics 18, 1986. Measured: tests/studies/sharpness.py.
"""

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2

MARGIN_PX = 3
"""How far beyond a sample its interpolation looks."""
_CREST = 11 / 64  # how far a wave of four pixels rises above two equal samples, as a share of their step


def doubled(samples: Pixels) -> Pixels:
    """Samples (h, w[, 4]) → (2h − 1, 2w − 1[, 4]): index 2i is the old sample i. h, w >= 2."""
    rows = _interleaved(samples, _between(samples, axis=0), axis=0)
    result = _interleaved(rows, _between(rows, axis=1), axis=1)
    if result.dtype == np.float32:
        np.clip(result, 0.0, 1.0, out=result)
    return _colour_within_alpha(result) if result.ndim == 3 else result


def _between(samples: Pixels, axis: int) -> Pixels:
    """Values half-way between neighbours along an axis, one fewer than there are samples."""
    beside, above = (2, 0) if axis == 1 else (0, 2)
    padded = cv2.copyMakeBorder(samples, above, above, beside, beside, cv2.BORDER_REPLICATE)
    count = samples.shape[axis] - 1
    farther, before, first, last, after, farthest = (
        padded[:, start : start + count] if axis == 1 else padded[start : start + count] for start in range(6)
    )
    inner, outer = cv2.add(first, last, dtype=cv2.CV_32F), cv2.add(before, after, dtype=cv2.CV_32F)
    value = cv2.addWeighted(inner, 150 / 256, outer, -25 / 256, 0.0)
    depth = cv2.CV_16U if samples.dtype == np.uint16 else cv2.CV_32F
    value = cv2.addWeighted(value, 1.0, cv2.add(farther, farthest, dtype=cv2.CV_32F), 3 / 256, 0.0, dtype=depth)
    crest = cv2.min(_above(first, before), _above(last, after))
    trough = cv2.min(_above(before, first), _above(after, last))
    high = cv2.addWeighted(cv2.max(first, last), 1.0, crest, _CREST, 0.0)
    low = cv2.addWeighted(cv2.min(first, last), 1.0, trough, -_CREST, 0.0)
    limited: Pixels = cv2.min(cv2.max(value, low), high)
    return limited.reshape(first.shape)


def _above(samples: Pixels, others: Pixels) -> Pixels:
    """How far samples lie above others, 0 where they do not."""
    difference: Pixels = cv2.subtract(samples, others)
    return difference if samples.dtype == np.uint16 else np.maximum(difference, 0.0, out=difference)


def _interleaved(old: Pixels, new: Pixels, axis: int) -> Pixels:
    """Old and new samples in turn along an axis."""
    shape = list(old.shape)
    shape[axis] = 2 * shape[axis] - 1
    result = np.empty(shape, old.dtype)
    if axis == 0:
        result[0::2], result[1::2] = old, new
    else:
        whole = _as_whole_pixels(result)
        whole[:, 0::2], whole[:, 1::2] = _as_whole_pixels(old), _as_whole_pixels(new)
    return result


def _as_whole_pixels(samples: Pixels) -> Pixels:
    """The same memory with one item per pixel, (h, w): copying those is 20 times as fast as four channels each."""
    if samples.ndim == 2:
        return samples
    kind = np.uint64 if samples.dtype == np.uint16 else np.complex128
    return np.ascontiguousarray(samples).view(kind)[..., 0]


def _colour_within_alpha(samples: Pixels) -> Pixels:
    alpha = cv2.extractChannel(samples, 3)
    result: Pixels = cv2.min(samples, cv2.merge([alpha, alpha, alpha, alpha]))
    return result
