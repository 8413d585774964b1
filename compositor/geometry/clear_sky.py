"""The colour of a clear sky's light beside the sun's, by the height of the sun: air scatters short waves first, so the
lower the sun, the longer its way and the bluer, beside it, what reaches the shade."""

from math import radians, sin

import numpy as np

from compositor.base.arrays import Floats

WAVELENGTHS_UM = np.array([0.611, 0.549, 0.464])
"""Dominant wavelengths of the red, green and blue primaries of ITU-R BT.709, beside its white."""


def optical_depth(wavelength_um: Floats) -> Floats:
    """Of the whole air at sea level, by what its molecules scatter.

    Source: Hansen and Travis, Light scattering in planetary atmospheres, 1974, eq. 2.30.
    """
    squared = wavelength_um**-2.0
    depth: Floats = 0.008569 * squared**2 * (1.0 + 0.0113 * squared + 0.00013 * squared**2)
    return depth


def air_mass(elevation_deg: float) -> float:
    """The sun's way through the air over that from overhead.

    Source: Kasten and Young, Revised optical air mass tables, 1989.
    """
    return 1.0 / (sin(radians(elevation_deg)) + 0.50572 * float(np.power(elevation_deg + 6.07995, -1.6364)))


def sky_tint(elevation_deg: float) -> Floats:
    """R G B (3,) of the sky's light over the sun's on level ground, green = 1.

    Of the light scattered on its way once, half comes down: (1 - exp(-τm)) / 2 beside exp(-τm).
    """
    ratio = np.expm1(optical_depth(WAVELENGTHS_UM) * air_mass(elevation_deg))
    tint: Floats = ratio / ratio[1]
    return tint
