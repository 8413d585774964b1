"""Keying a flat studio backdrop: what differs from one given colour is kept, with the coverage of its edge.

Pixels near the backdrop's colour are background; pixels well away from any of these are foreground; in the band
between, coverage is how far the pixel's light lies on the way from the backdrop's to the foreground's beside it.
Source: the mixture I = α·F + (1 − α)·K solved for α by least squares; difference keying is common practice.
"""

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2

EDGE_PX = 5
"""How far the half-covered band of an edge reaches from the backdrop (by eye, on edges up to 8 px wide)."""
_REACHES_PX = (2 * EDGE_PX, 8 * EDGE_PX)  # how far foreground colour is fetched: from beside, else from farther
_NOISE_FRACTION = 0.03  # of the way, at both ends: noise and texture that are no edge (by eye)
_NOTHING = 1e-4


def keyed(coded: Pixels, linear: Pixels, backdrop: tuple[Pixels, Pixels], tolerance_fraction: float) -> Pixels:
    """Coverage (h, w) float32 0..1 of what stands before a flat backdrop.

    coded, linear: the picture (h, w, 3) as it is stored (0..1) and in linear light, float32. backdrop: its colour (3,)
    coded and linear. tolerance_fraction: how far it strays, in coded values.
    """
    behind = np.abs(coded - backdrop[0]).max(axis=2) <= tolerance_fraction
    band = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * EDGE_PX + 1, 2 * EDGE_PX + 1))
    near = cv2.dilate(behind.astype(np.uint8), band) > 0
    inside = (~near).astype(np.float32)
    alpha = _mixed(linear, backdrop[1], _beside(linear, inside))
    alpha[~near] = 1.0
    alpha[behind] = 0.0
    return alpha


def _beside(linear: Pixels, inside: Pixels) -> Pixels:
    """The foreground's colour near each pixel; its own where no foreground is near (a thin thing)."""
    result = linear
    for reach in reversed(_REACHES_PX):
        side = 2 * reach + 1
        total = cv2.blur(cv2.merge([linear * inside[..., np.newaxis], inside]), (side, side))
        weight = total[..., 3:]
        result = np.where(weight > _NOTHING, total[..., :3] / np.maximum(weight, _NOTHING), result)
    return result


def _mixed(linear: Pixels, backdrop: Pixels, fore: Pixels) -> Pixels:
    """How far each pixel lies on the way from the backdrop's colour to the foreground's, 0..1."""
    way = fore - backdrop
    length = np.maximum((way * way).sum(axis=2), _NOTHING**2)
    along = ((linear - backdrop) * way).sum(axis=2) / length
    alpha: Pixels = np.clip((along - _NOISE_FRACTION) / (1.0 - 2.0 * _NOISE_FRACTION), 0.0, 1.0).astype(np.float32)
    return alpha
