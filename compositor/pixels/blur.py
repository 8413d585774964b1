"""Blurs that never sharpen: the disc of a lens out of focus, the bell of a soft one.

Every kernel is non-negative and sums to 1, so nothing rings, colour never exceeds alpha, and edges stay clean on
premultiplied samples. Outside the array there is nothing (0): callers bring a margin.
"""

from functools import lru_cache

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.base.opencv import cv2

_SUB = 8  # looks per pixel and axis when a disc is drawn
LEAST_DISC_PX = 1.0
"""A disc that fits into one pixel changes nothing."""
LEAST_SIGMA_PX = 0.15
"""A bell narrower than this moves less than a thousandth of a pixel's light to its neighbours."""


def disc_margin_px(diameter_px: float) -> int:
    """How far a disc reaches."""
    return 0 if diameter_px <= LEAST_DISC_PX else int(np.ceil(diameter_px / 2.0))


def bell_margin_px(sigma_px: float) -> int:
    """How far a bell is followed: less than a thousandth of its light lies beyond."""
    return 0 if sigma_px <= LEAST_SIGMA_PX else int(np.ceil(3.5 * sigma_px))


def disc_blurred(samples: Pixels, diameter_px: float) -> Pixels:
    """Samples (h, w[, c]) float32 spread over a disc, as a circular aperture does."""
    if diameter_px <= LEAST_DISC_PX:
        return samples
    blurred: Pixels = cv2.filter2D(samples, -1, disc_kernel(diameter_px), borderType=cv2.BORDER_CONSTANT)
    return blurred


def bell_blurred(samples: Pixels, sigma_px: float) -> Pixels:
    """Samples (h, w[, c]) float32 spread by a Gaussian."""
    if sigma_px <= LEAST_SIGMA_PX:
        return samples
    side = 2 * bell_margin_px(sigma_px) + 1
    blurred: Pixels = cv2.GaussianBlur(samples, (side, side), sigma_px, borderType=cv2.BORDER_CONSTANT)
    return blurred


@lru_cache(maxsize=64)
def disc_kernel(diameter_px: float) -> Floats:
    """A disc's share of each pixel, (2r + 1, 2r + 1), sum 1."""
    reach = disc_margin_px(diameter_px)
    at = (np.arange((2 * reach + 1) * _SUB) + 0.5) / _SUB - reach - 0.5
    inside = at[:, None] ** 2 + at[None, :] ** 2 <= (diameter_px / 2.0) ** 2
    cells = inside.reshape(2 * reach + 1, _SUB, 2 * reach + 1, _SUB).mean(axis=(1, 3))
    kernel: Floats = cells / cells.sum()
    return kernel


def choked(alpha: Pixels, choke_px: float) -> Pixels:
    """A coverage (h, w) float32 0..1 whose outline lies choke_px farther inside.

    Whole pixels by the least value in a disc, the rest by interpolation between two discs: soft edges keep their
    softness and nothing opens that was closed.
    """
    if choke_px <= 0.0:
        return alpha
    whole = int(np.floor(choke_px))
    less, more = (_eroded(alpha, radius) for radius in (whole, whole + 1))
    part = np.float32(choke_px - whole)
    result: Pixels = less + part * (more - less)
    return result


def _eroded(alpha: Pixels, radius_px: int) -> Pixels:
    if radius_px == 0:
        return alpha
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius_px + 1, 2 * radius_px + 1))
    result: Pixels = cv2.erode(alpha, kernel, borderType=cv2.BORDER_CONSTANT, borderValue=(0.0,))
    return result
