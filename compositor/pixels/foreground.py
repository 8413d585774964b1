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
from compositor.pixels.mips import content_box
from compositor.pixels.strips import run_all

_REACHES_PX = (32, 16, 8, 4, 2)
_MARGIN_PX = 64  # more than the reaches together: tiles show no seams
_TILE_PX = 128
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
        x0, y0, x1, y1 = content_box(half[top : top + _TILE_PX, left : left + _TILE_PX])
        if x1 == x0:
            return
        left, right, top, bottom = left + x0, left + x1, top + y0, top + y1
        wanted = half[top:bottom, left:right]
        y, x = max(top - _MARGIN_PX, 0), max(left - _MARGIN_PX, 0)
        around = slice(y, bottom + _MARGIN_PX), slice(x, right + _MARGIN_PX)
        found = _separated(colour[around], alpha[around], background)
        part = found[top - y : bottom - y, left - x : right - x]
        result[top:bottom, left:right][wanted] = part[wanted]

    places = [(top, left) for top in range(0, height, _TILE_PX) for left in range(0, width, _TILE_PX)]
    run_all([partial(tile, *place) for place in places])
    return result


def _separated(colour: Pixels, alpha: Pixels, background: Pixels | None) -> Pixels:
    share = cv2.merge([alpha] * 3)
    rest = cv2.subtract(np.ones_like(share), share)
    strength = 1.0 / (share * share + rest * rest)
    to_fore, to_back = cv2.multiply(share, strength), cv2.multiply(rest, strength)
    # Colour that is mostly background tells little of the foreground, and the other way round.
    fore_weight, back_weight = share**4, rest**4 * (share > 0.0)
    fore = colour
    back = colour if background is None else np.broadcast_to(background, colour.shape).astype(np.float32)
    for reach_px in _REACHES_PX:
        fore = _around(fore, fore_weight, reach_px)
        if background is None:
            back = _around(back, back_weight, reach_px)
        lacking = cv2.subtract(colour, cv2.add(cv2.multiply(share, fore), cv2.multiply(rest, back)))
        fore = _light(cv2.add(fore, cv2.multiply(to_fore, lacking)))
        if background is None:
            back = _light(cv2.add(back, cv2.multiply(to_back, lacking)))
    return fore


def _light(colour: Pixels) -> Pixels:
    """Within what light can be: 0..1."""
    np.maximum(colour, np.float32(0.0), out=colour)
    return np.minimum(colour, np.float32(1.0), out=colour)


def _around(colour: Pixels, weight: Pixels, reach_px: int) -> Pixels:
    """Weighted mean colours around each pixel; its own where nothing is known of them."""
    side = (2 * reach_px + 1, 2 * reach_px + 1)
    total, around = cv2.blur(cv2.multiply(colour, weight), side), cv2.blur(weight, side)
    known = around > _NOTHING
    np.divide(total, around, out=total, where=known)
    np.copyto(total, colour, where=~known)
    return total
