"""Haze over an element: each of its points by its own distance, toward the colour of the air, in linear light."""

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.geometry.air import transmission


def hazed(samples: Pixels, attenuation_per_m: float, distance_m: Floats, air: Floats) -> Pixels:
    """Premultiplied samples (h, w, 4) float32 seen through air of a colour (3,), at distances (h, w) along the ray."""
    share = transmission(attenuation_per_m, distance_m).astype(np.float32)[..., np.newaxis]
    result = samples.copy()
    result[..., :3] = samples[..., :3] * share + samples[..., 3:] * (1.0 - share) * air.astype(np.float32)
    return result
