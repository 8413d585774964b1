"""Aerial perspective: how much light of a thing is left after its way through hazy air.

L(d) = L₀·t + A·(1 − t) with t = exp(−β·d), in linear light; A is the colour of the air itself.
Source: H. Koschmieder, Theorie der horizontalen Sichtweite, 1924; the two thresholds: visual range at a contrast of
0.02 (AMS Glossary of Meteorology, "visual range"), meteorological optical range at 0.05 (CIE e-ILV 17-772).
"""

from math import log
from typing import TypeVar

import numpy as np

from compositor.base.arrays import Floats

VISIBILITY_CONTRAST_FRACTION = 0.02
OPTICAL_RANGE_FRACTION = 0.05

Numbers = TypeVar("Numbers", float, Floats)


def attenuation_from_visibility(visibility_m: float) -> float:
    """β per metre from the distance at which 2 % of the contrast is left: 3.912 / V."""
    return -log(VISIBILITY_CONTRAST_FRACTION) / visibility_m


def attenuation_from_optical_range(optical_range_m: float) -> float:
    """β per metre from the distance after which 5 % of a beam is left: 2.996 / MOR."""
    return -log(OPTICAL_RANGE_FRACTION) / optical_range_m


def transmission(attenuation_per_m: float, distance_m: Numbers) -> Numbers:
    """The share 0..1 of light that is left after a distance along the ray, number or array of any shape."""
    return np.exp(-attenuation_per_m * distance_m)  # type: ignore[no-any-return]
