"""Blur of what lies before or behind the plate's focus."""

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.pixels.blur import LEAST_DISC_PX, disc_blurred

_STEP_PX, _STEP_RATIO = 0.75, 1.15
"""Discs whose diameters differ by less than the one, or by a smaller ratio, cannot be told apart (by eye)."""
_RUNGS = 64


def _ladder() -> Floats:
    """Rising diameters, px, each as far from the last as can just be told."""
    rungs = [LEAST_DISC_PX]
    while len(rungs) < _RUNGS:
        rungs.append(max(rungs[-1] + _STEP_PX, rungs[-1] * _STEP_RATIO))
    return np.array(rungs)


_LADDER_PX = _ladder()


def defocused(samples: Pixels, disc_px: Floats, range_px: tuple[float, float]) -> Pixels:
    """Premultiplied samples (h, w, 4) float32 blurred by discs of a diameter (h, w) that may change over the picture,
    as over a floor that runs into the distance: each pixel takes its own mixture of the two nearest of a fixed ladder
    of discs, so that parts of a picture are blurred as the whole is.

    range_px: least and most diameter on all of the thing that the samples are a part of.
    """
    least, most = range_px
    if most - least <= max(_STEP_PX, least * (_STEP_RATIO - 1.0)):
        return disc_blurred(samples, _steady((least + most) / 2.0))
    places = np.interp(np.clip(disc_px, least, most), _LADDER_PX, np.arange(_RUNGS))
    result = np.zeros_like(samples)
    for rung in range(int(places.min()), int(np.ceil(places.max())) + 1):
        share = np.clip(1.0 - np.abs(places - rung), 0.0, 1.0).astype(np.float32)
        if share.any():
            result += disc_blurred(samples, float(_LADDER_PX[rung])) * share[..., np.newaxis]
    return result


def _steady(diameter_px: float) -> float:
    """To a sixteenth of a px, so that equal discs are drawn once."""
    return round(diameter_px * 16.0) / 16.0
