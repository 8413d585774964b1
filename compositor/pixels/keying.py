"""Keying a flat studio backdrop: what differs from one given colour is kept, with the coverage of its edge.

Pixels near the backdrop's colour are background; pixels well away from any of these are foreground; in the band
between, coverage is how far the pixel's light lies on the way from the backdrop's to the foreground's beside it.
Before a coloured backdrop, gaps too narrow to show it purely are told by its excess: what its leading channels have
beyond the others, which is its own and hardly the foreground's.
Sources: the mixture I = α·F + (1 − α)·K solved for α by least squares; A. R. Smith & J. F. Blinn, Blue Screen Matting,
SIGGRAPH 1996 (colour differences; value from memory); difference keying is common practice.
"""

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2

EDGE_PX = 5
"""How far the half-covered band of an edge reaches from the backdrop (by eye, on edges up to 8 px wide)."""
_REACHES_PX = (2 * EDGE_PX, 8 * EDGE_PX)  # how far foreground colour is fetched: from beside, else from farther
_NOISE_FRACTION = 0.03  # of the way, at both ends: noise and texture that are no edge (by eye)
_COLOURED = 0.1  # least excess of a backdrop that tells it, linear light (by eye)
_GAP_FRACTION = 0.25  # of the backdrop's excess, in a gap that shows some of it (by eye)
_NOTHING = 1e-4


def keyed(coded: Pixels, linear: Pixels, backdrop: tuple[Pixels, Pixels], tolerance_fraction: float) -> Pixels:
    """Coverage (h, w) float32 0..1 of what stands before a flat backdrop.

    coded, linear: the picture (h, w, 3) as it is stored (0..1) and in linear light, float32. backdrop: its colour (3,)
    coded and linear. tolerance_fraction: how far it strays, in coded values.
    """
    behind = np.abs(coded - backdrop[0]).max(axis=2) <= tolerance_fraction
    band = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * EDGE_PX + 1, 2 * EDGE_PX + 1))
    near = cv2.dilate(behind.astype(np.uint8), band) > 0
    near |= _gaps(linear, backdrop[1], near, band)
    inside = (~near).astype(np.float32)
    alpha = _mixed(linear, backdrop[1], _beside(linear, inside))
    alpha[~near] = 1.0
    alpha[behind] = 0.0
    return alpha


def without_spill(linear: Pixels, backdrop: Pixels, share_fraction: float) -> Pixels:
    """Colours (h, w, 3) of a foreground without the light that a coloured backdrop (3,) threw on it: of its excess, a
    share is taken from the backdrop's leading channels. Before a grey backdrop nothing can be told from paint."""
    if share_fraction <= 0.0 or float(_excess(backdrop[np.newaxis, np.newaxis], backdrop)[0, 0]) < _COLOURED:
        return linear
    spill = np.maximum(_excess(linear, backdrop), 0.0) * np.float32(share_fraction)
    result: Pixels = linear - spill[..., np.newaxis] * _leading(backdrop).astype(np.float32)
    return result


def _leading(backdrop: Pixels) -> Pixels:
    """Which of its channels (3,) lead a colour: the largest, or the two that lie nearer to it than to the least."""
    least, middle, most = np.sort(backdrop)
    result: Pixels = backdrop >= (middle if middle - least > most - middle else most)
    return result


def _excess(linear: Pixels, backdrop: Pixels) -> Pixels:
    """What the least of the backdrop's leading channels has beyond the largest of the others, (h, w); 0 for grey."""
    leading = _leading(backdrop)
    if leading.all():
        return np.zeros(linear.shape[:2], np.float32)
    result: Pixels = linear[..., leading].min(axis=2) - linear[..., ~leading].max(axis=2)
    return result


def _gaps(linear: Pixels, backdrop: Pixels, near: Pixels, band: Pixels) -> Pixels:
    """Narrow places (h, w) away from what is purely backdrop that show it mixed; what is broader and of its hue is a
    thing of that colour."""
    whole = float(_excess(backdrop[np.newaxis, np.newaxis], backdrop)[0, 0])
    if whole < _COLOURED:
        return np.zeros_like(near)
    mixed = (_excess(linear, backdrop) > _GAP_FRACTION * whole) & ~near
    broad = cv2.dilate(cv2.morphologyEx(mixed.astype(np.uint8), cv2.MORPH_OPEN, band), band) > 0
    result: Pixels = cv2.dilate((mixed & ~broad).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    return result


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
