"""What a plate says of its light near a place: colours in linear light, without the sky."""

import numpy as np

from compositor.base.arrays import Floats, Pixels

_HIGHLIGHT_FRACTION = 0.98
_LUMINANCE = np.array([0.2126, 0.7152, 0.0722])  # ITU-R BT.709
_MOST_SAMPLES = 200_000
_FEWEST_SAMPLES = 50


def thinned(picture: Pixels) -> Pixels:
    """Every n-th pixel of every n-th row of (h, w[, c]): no more than are needed for statistics."""
    every = max(1, int(np.sqrt(picture.shape[0] * picture.shape[1] / _MOST_SAMPLES)))
    return picture[every // 2 :: every, every // 2 :: every]


def mean_colour(linear: Pixels) -> Floats | None:
    """Mean R G B (3,) of samples (n, 3); None where they are too few."""
    if len(linear) < _FEWEST_SAMPLES:
        return None
    result: Floats = linear.mean(axis=0, dtype=np.float64)
    return result


def highlight(linear: Pixels) -> float | None:
    """Luminance that 2 % of samples (n, 3) exceed: the lightest parts, without a few glints; None where too few."""
    if len(linear) < _FEWEST_SAMPLES:
        return None
    return float(np.quantile(linear @ _LUMINANCE, _HIGHLIGHT_FRACTION))


def far_colour(linear: Pixels) -> Floats:
    """R G B (3,) of the air from samples (n, 3) at and above the horizon: the median of the lightest quarter, since the
    more air lies before a thing, the lighter it is, and the sky is the farthest of all."""
    light = linear @ _LUMINANCE
    result: Floats = np.median(linear[light >= np.quantile(light, 0.75)], axis=0).astype(np.float64)
    return result
