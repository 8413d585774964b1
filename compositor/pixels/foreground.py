"""The colour that a half-covered pixel of a cut-out would have without the background that shines through.

At an edge a photograph holds I = α·F + (1 − α)·B. Each pixel's F and B are first taken from around it, from pixels by
how much of the one or the other they hold; then what the equation still lacks is given to both by least squares. That
is done again and again from ever closer around, so that texture comes in where it is known.

Sources: M. Forte, Approximate fast foreground colour estimation, ICIP 2021 (blur fusion, there in two passes and for F
alone); T. Germer et al., Fast multi-level foreground estimation, ICPR 2020 (from coarse to fine).
"""

from functools import partial

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2
from compositor.pixels.strips import run_all

_REACHES_PX = (32, 16, 8, 4, 2)
_MARGIN_PX = 64  # more than the reaches together: tiles show no seams
_TILE_PX = 256
_NOTHING = 1e-4  # a weight below which nothing is known of a colour around a pixel


def foreground(colour: Pixels, alpha: Pixels, background: Pixels | None = None) -> Pixels:
    """The foreground's colour (h, w, 3) of a picture in linear light, float32, straight.

    colour (h, w, 3), alpha (h, w) float32 0..1. Opaque and empty pixels keep their colour exactly. background: (3,)
    where it is known to be one flat colour; otherwise it is estimated from the half-covered pixels alone, since what a
    file stores under alpha 0 need not be a picture.
    """
    result = colour.copy()
    half = (alpha > 0.0) & (alpha < 1.0)
    height, width = alpha.shape

    def tile(top: int, left: int) -> None:
        bottom, right = min(top + _TILE_PX, height), min(left + _TILE_PX, width)
        wanted = half[top:bottom, left:right]
        if not wanted.any():
            return
        y, x = max(top - _MARGIN_PX, 0), max(left - _MARGIN_PX, 0)
        around = slice(y, bottom + _MARGIN_PX), slice(x, right + _MARGIN_PX)
        found = _separated(colour[around], alpha[around], background)
        part = found[top - y : bottom - y, left - x : right - x]
        result[top:bottom, left:right][wanted] = part[wanted]

    places = [(top, left) for top in range(0, height, _TILE_PX) for left in range(0, width, _TILE_PX)]
    run_all([partial(tile, *place) for place in places])
    return result


def _separated(colour: Pixels, alpha: Pixels, background: Pixels | None) -> Pixels:
    fore_weight = alpha**4  # colour that is mostly background tells little of the foreground
    back_weight = (1.0 - alpha) ** 4 * (alpha > 0.0)
    share = cv2.merge([alpha] * 3)
    rest = 1.0 - share
    strength = 1.0 / (share * share + rest * rest)
    fore, back = colour, colour
    for reach_px in _REACHES_PX:
        fore = _around(fore, fore_weight, reach_px)
        back = _around(back, back_weight, reach_px) if background is None else np.broadcast_to(background, fore.shape)
        lacking = (colour - share * fore - rest * back) * strength
        fore = np.clip(fore + share * lacking, 0.0, 1.0)
        back = np.clip(back + rest * lacking, 0.0, 1.0)
    return fore


def _around(colour: Pixels, weight: Pixels, reach_px: int) -> Pixels:
    """Weighted mean colours around each pixel; its own where nothing is known of them."""
    side = (2 * reach_px + 1, 2 * reach_px + 1)
    total = cv2.blur(cv2.multiply(colour, cv2.merge([weight] * 3)), side)
    around = cv2.blur(weight, side)
    mean = total / np.maximum(around, _NOTHING)[..., np.newaxis]
    result: Pixels = np.where((around > _NOTHING)[..., np.newaxis], mean, colour)
    return result
