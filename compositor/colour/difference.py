"""How different two colours look."""

from math import pi, radians

import numpy as np

from compositor.base.arrays import Pixels

_FULL_CIRCLE = 2 * pi
_25_TO_7 = 25.0**7


def ciede2000(first: Pixels, second: Pixels) -> Pixels:
    """CIEDE2000 colour difference of L* a* b* arrays (..., 3): shape (...), 1 = just seen side by side.

    Source: G. Sharma, W. Wu, E. N. Dalal, The CIEDE2000 Color-Difference Formula: Implementation Notes, Supplementary
    Test Data, and Mathematical Observations, Color Research & Application 30(1), 2005, equations 2 to 22, with all
    three parametric factors 1.
    """
    lightness_1, lightness_2 = first[..., 0], second[..., 0]
    (chroma_1, hue_1), (chroma_2, hue_2) = _chroma_and_hue(first, second)
    grey = chroma_1 * chroma_2 == 0
    turn = np.where(grey, 0.0, _wrapped(hue_2 - hue_1))
    by_hue = 2 * np.sqrt(chroma_1 * chroma_2) * np.sin(turn / 2)
    lightness, chroma = (lightness_1 + lightness_2) / 2, (chroma_1 + chroma_2) / 2
    hue = np.where(grey, hue_1 + hue_2, _mean_hue(hue_1, hue_2))

    s_lightness = 1 + 0.015 * (lightness - 50) ** 2 / np.sqrt(20 + (lightness - 50) ** 2)
    s_chroma = 1 + 0.045 * chroma
    s_hue = 1 + 0.015 * chroma * _hue_weight(hue)
    a, b, c = (
        (lightness_2 - lightness_1) / s_lightness,
        (chroma_2 - chroma_1) / s_chroma,
        by_hue / s_hue,
    )
    result: Pixels = np.sqrt(np.maximum(a**2 + b**2 + c**2 + _rotation(chroma, hue) * b * c, 0))
    return result


def _chroma_and_hue(first: Pixels, second: Pixels) -> list[tuple[Pixels, Pixels]]:
    """Chroma and hue angle (0 to one turn) of both, the reds of near-neutrals stretched (equations 2 to 7)."""
    mean = (np.hypot(first[..., 1], first[..., 2]) + np.hypot(second[..., 1], second[..., 2])) / 2
    power = mean**7
    stretch = 1.5 - 0.5 * np.sqrt(power / (power + _25_TO_7))
    pairs = [(stretch * lab[..., 1], lab[..., 2]) for lab in (first, second)]
    return [(np.hypot(a, b), np.mod(np.arctan2(b, a), _FULL_CIRCLE)) for a, b in pairs]


def _wrapped(turn: Pixels) -> Pixels:
    """An angle as the shorter way round."""
    return np.where(turn > pi, turn - _FULL_CIRCLE, np.where(turn < -pi, turn + _FULL_CIRCLE, turn))


def _mean_hue(first: Pixels, second: Pixels) -> Pixels:
    """The middle of the shorter arc between two hues (equation 14)."""
    total = first + second
    far = np.abs(first - second) > pi
    other = np.where(total < _FULL_CIRCLE, total + _FULL_CIRCLE, total - _FULL_CIRCLE)
    return np.where(far, other, total) / 2


def _hue_weight(hue: Pixels) -> Pixels:
    """T of equation 15."""
    six, sixty_three, thirty = radians(6), radians(63), radians(30)
    weight: Pixels = (
        1
        - 0.17 * np.cos(hue - thirty)
        + 0.24 * np.cos(2 * hue)
        + 0.32 * np.cos(3 * hue + six)
        - 0.20 * np.cos(4 * hue - sixty_three)
    )
    return weight


def _rotation(chroma: Pixels, hue: Pixels) -> Pixels:
    """R_T of equations 16, 17 and 21: chroma and hue differences of blues are not independent."""
    power = chroma**7
    angle = radians(30) * np.exp(-(((np.degrees(hue) - 275) / 25) ** 2))
    rotation: Pixels = -2 * np.sqrt(power / (power + _25_TO_7)) * np.sin(2 * angle)
    return rotation
