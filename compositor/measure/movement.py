"""How far a part of a picture lies from where it lay, and how its colour changed, by least squares over its pixels.

Model: new(x) = approved(x - d) + shift, to first order in the displacement d, the gradient being the mean of both
pictures' (B. D. Lucas, T. Kanade, An Iterative Image Registration Technique with an Application to Stereo Vision,
1981). Both are blurred first, so that a step of one pixel is still a slope. Because the displacement is taken out, a
letter that moves over the edge of a tile does not count as a change of the tile's colour.
"""

from dataclasses import dataclass
from math import pi

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.base.opencv import cv2

BLUR_PX = 1.5
REACH_PX = 4.0
"""How far a move is measured truly, by trial on the pictures of tests/measure; a farther one is known to be farther."""

MARGIN_PX = 8
"""Pixels around a part that its sums depend on."""

_CORRELATED_PX = 4 * pi * BLUR_PX**2  # pixels that one independent sample of blurred noise covers
_FAINT_GRADIENT = (
    0.75  # levels per pixel: by eye, what camera grain still has after the blur; nothing can be tracked on it
)
_FITTED = 3  # parameters

(_GX, _GY, _GXX, _GXY, _GYY, _D, _GXD, _GYD, _DD, _DA, _DB, _AX, _AY, _BX, _BY) = range(15)


@dataclass(frozen=True)
class Movement:
    """Of parts of a picture, arrays of one entry per part. Uncertainties are standard deviations.

    moved_px (n, 2): right and down, with moved_plus_minus_px (n,) along itself. explained_fraction (n,): of the change
    that remains after the shift, what moving explains. shift (n, 3): luma, a* and b* added, with shift_plus_minus
    (n,) of its luma.
    """

    moved_px: Floats
    moved_plus_minus_px: Floats
    explained_fraction: Floats
    shift: Floats
    shift_plus_minus: Floats


def moments(approved: Pixels, new: Pixels) -> Pixels:
    """What is summed over a part, per pixel (h, w, 15), of two pictures of luma, a* and b* (h, w, 3) float32."""
    first, second = (cv2.GaussianBlur(lab, (0, 0), BLUR_PX) for lab in (approved, new))
    change, mean = second - first, (first + second) * np.float32(0.5)
    across = cv2.Sobel(mean, cv2.CV_32F, 1, 0, ksize=1, scale=0.5)
    down = cv2.Sobel(mean, cv2.CV_32F, 0, 1, ksize=1, scale=0.5)
    gx, gy, d = across[..., 0], down[..., 0], change[..., 0]
    return np.stack(
        [gx, gy, gx * gx, gx * gy, gy * gy, d, gx * d, gy * d, d * d, change[..., 1], change[..., 2]]
        + [across[..., 1], down[..., 1], across[..., 2], down[..., 2]],
        axis=-1,
    )


def movement(sums: Floats, counts: Floats) -> Movement:
    """The fit of each part from its moments' sums (n, 15) and its number of pixels (n,)."""
    mean = sums / counts[:, np.newaxis]
    g = mean[:, [_GX, _GY]]
    spread = _matrices(mean) - g[:, :, np.newaxis] * g[:, np.newaxis, :]
    held = spread + np.eye(2) * _FAINT_GRADIENT**2
    together = mean[:, [_GXD, _GYD]] - g * mean[:, [_D]]
    inverse = np.linalg.inv(held)
    moved = -np.einsum("nij,nj->ni", inverse, together)
    whole = np.maximum(mean[:, _DD] - mean[:, _D] ** 2, 0)
    left = np.maximum(whole + 2 * (moved * together).sum(axis=1) + np.einsum("ni,nij,nj->n", moved, spread, moved), 0)
    samples = np.maximum(counts / _CORRELATED_PX, _FITTED + 1)
    variance = left / (samples - _FITTED)
    along = moved / np.maximum(np.hypot(moved[:, 0], moved[:, 1]), 1e-9)[:, np.newaxis]
    return Movement(
        moved_px=moved,
        moved_plus_minus_px=np.sqrt(variance * np.einsum("ni,nij,nj->n", along, inverse, along)),
        explained_fraction=1 - left / np.maximum(whole, 1e-12),
        shift=np.stack([mean[:, change] + (mean[:, at] * moved).sum(axis=1) for change, at in _CHANNELS], axis=1),
        shift_plus_minus=np.sqrt(variance),
    )


_CHANNELS: tuple[tuple[int, list[int]], ...] = ((_D, [_GX, _GY]), (_DA, [_AX, _AY]), (_DB, [_BX, _BY]))


def _matrices(mean: Floats) -> Floats:
    matrices: Floats = mean[:, [_GXX, _GXY, _GXY, _GYY]].reshape(-1, 2, 2)
    return matrices
