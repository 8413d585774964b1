"""Light of another colour: whites along the Planckian and the daylight locus, adaptation between them, and the filters
that photographers say it in.

A light-balancing filter is marked by its shift in mired (10⁶ / kelvin), a colour-compensating filter by hundredths of
density in the light that it holds back: common practice, no source. Everything acts on linear light.
"""

import numpy as np

from compositor.base.arrays import Floats
from compositor.colour.space import BRADFORD, XY, Space

REFERENCE_K = 6504.0
"""Daylight D65, from which temperatures are shifted (CIE 15)."""
PLANCKIAN_K = (1667.0, 25000.0)
"""Where the published approximation of the Planckian locus holds."""


def planckian_xy(temperature_k: float) -> XY:
    """Chromaticity of a black body, 1667 to 25000 K. Source: Kim et al., US patent 7024034, 2006 (cubic splines)."""
    t = temperature_k
    if t <= 4000.0:
        x = -0.2661239e9 / t**3 - 0.2343589e6 / t**2 + 0.8776956e3 / t + 0.179910
    else:
        x = -3.0258469e9 / t**3 + 2.1070379e6 / t**2 + 0.2226347e3 / t + 0.240390
    if t <= 2222.0:
        y = -1.1063814 * x**3 - 1.34811020 * x**2 + 2.18555832 * x - 0.20219683
    elif t <= 4000.0:
        y = -0.9549476 * x**3 - 1.37418593 * x**2 + 2.09137015 * x - 0.16748867
    else:
        y = 3.0817580 * x**3 - 5.87338670 * x**2 + 3.75112997 * x - 0.37001483
    return x, y


def adaptation(source_xyz: tuple[float, float, float], target_xyz: tuple[float, float, float]) -> Floats:
    """Bradford's matrix, 3×3, from X Y Z seen under one white to the same under another (ICC.1:2010 annex E)."""
    gain = (BRADFORD @ np.array(target_xyz)) / (BRADFORD @ np.array(source_xyz))
    result: Floats = np.linalg.inv(BRADFORD) @ np.diag(gain) @ BRADFORD
    return result


def white_xyz(white: XY) -> tuple[float, float, float]:
    """X Y Z of a chromaticity, Y = 1."""
    x, y = white
    return x / y, 1.0, (1.0 - x - y) / y


def balance(space: Space, temperature_mired: float, tint_cc: float) -> Floats:
    """3×3 on linear R G B: a light-balancing filter (+ = warmer) and a colour-compensating one (+ = magenta).

    A neutral keeps its luminance, and zero for both is the identity.
    """
    to_xyz = np.array(space.to_xyz)
    shifted_k = 1e6 / max(1e6 / REFERENCE_K + temperature_mired, 1e6 / PLANCKIAN_K[1])
    before, after = (white_xyz(planckian_xy(t)) for t in (REFERENCE_K, max(shifted_k, PLANCKIAN_K[0])))
    warmed = np.linalg.solve(to_xyz, adaptation(before, after) @ to_xyz)
    held_back = np.diag([1.0, 10.0 ** (-tint_cc / 100.0), 1.0])
    filtered: Floats = held_back @ warmed
    grey = float(to_xyz[1] @ filtered @ np.ones(3)) / float(to_xyz[1].sum())
    return filtered / grey
