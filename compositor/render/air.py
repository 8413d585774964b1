"""Haze over an element: each of its points by its own distance, toward the colour of the air, in linear light."""

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.base.opencv import cv2
from compositor.geometry.air import transmission


def hazed(samples: Pixels, attenuation_per_m: float, distance_m: Floats, air: Floats) -> Pixels:
    """Premultiplied samples (h, w, 4) float32 seen through air of a colour (3,), at distances (h, w) along the ray."""
    left = transmission(attenuation_per_m, distance_m).astype(np.float32)
    veil = (np.float32(1.0) - left) * samples[..., 3]
    result: Pixels = samples * cv2.merge([left, left, left, np.ones_like(left)])
    result[..., :3] += veil[..., np.newaxis] * air.astype(np.float32)
    return result
