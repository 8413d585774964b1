"""Blur of what lies before or behind the plate's focus."""

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.pixels.blur import disc_blurred

_STEP_PX = 0.75
"""Discs whose diameters differ by less cannot be told apart (by eye)."""
_MOST_DISCS = 8


def defocused(samples: Pixels, disc_px: Floats) -> Pixels:
    """Premultiplied samples (h, w, 4) float32 blurred by discs of a diameter (h, w) that may change over the picture,
    as over a floor that runs into the distance: between a few discs, each pixel takes its own mixture of two."""
    covered = samples[..., 3] > 0.0
    if not covered.any():
        return samples
    least, most = float(disc_px[covered].min()), float(disc_px[covered].max())
    if most - least <= _STEP_PX:
        return disc_blurred(samples, _steady((least + most) / 2.0))
    diameters = np.linspace(least, most, min(_MOST_DISCS, int(np.ceil((most - least) / _STEP_PX)) + 1))
    result = np.zeros_like(samples)
    for index, diameter_px in enumerate(diameters):
        place = (np.clip(disc_px, least, most) - least) / (diameters[1] - diameters[0])
        share = np.clip(1.0 - np.abs(place - index), 0.0, 1.0).astype(np.float32)
        result += disc_blurred(samples, _steady(float(diameter_px))) * share[..., np.newaxis]
    return result


def _steady(diameter_px: float) -> float:
    """To a sixteenth of a px, so that equal discs are drawn once."""
    return round(diameter_px * 16.0) / 16.0
