"""Contrast and saturation in linear light."""

import numpy as np

from compositor.base.arrays import Floats, Pixels

MIDDLE_GREY = 0.18
"""Reflectance of the grey card (common practice, no source)."""


def contrasted(straight: Pixels, contrast_fraction: float) -> Pixels:
    """Tones (any shape, linear, straight, float32, >= 0) farther from middle grey by a share: middle grey stays, and a
    stop becomes 1 + contrast_fraction stops."""
    if contrast_fraction == 0.0:
        return straight
    result: Pixels = np.float32(MIDDLE_GREY) * (straight / np.float32(MIDDLE_GREY)) ** np.float32(1 + contrast_fraction)
    return result


def saturation_matrix(luminance: Floats, saturation_fraction: float) -> Floats:
    """3×3 on linear R G B: colours farther from the grey of the same luminance by a share; -1 leaves only that grey.

    luminance: (3,), the weights of R, G and B, which sum to 1.
    """
    result: Floats = (1.0 + saturation_fraction) * np.eye(3) - saturation_fraction * np.tile(luminance, (3, 1))
    return result
