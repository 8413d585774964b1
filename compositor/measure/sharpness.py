"""How wide the sharpest edges of a picture are.

An edge blurred by a bell of standard deviation s has, once blurred again by a known s₀, its gradient lowered by
R = √(s² + s₀²) / s, so s = s₀ / √(R² − 1). Source: S. Zhuo & T. Sim, Defocus map estimation from a single image,
Pattern Recognition 44(9), 2011, section 3.
"""

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2

_AGAIN_PX = 1.0  # s₀
_SHARPEST_FRACTION = 0.2  # the sharpest fifth tells what the lens can do; the rest are soft things
_FEWEST_EDGES = 30
_LEAST_STEP = 0.04  # gradient of an edge worth the name, in coded values per px (by eye: above grain)
_LEAST_SIGMA_PX, _MOST_SIGMA_PX = 0.2, 8.0


def edge_sigma_px(tones: Pixels, usable: Pixels) -> float | None:
    """Standard deviation in px of the blur of a picture's sharpest edges; None where there are too few.

    tones (h, w) float32 0..1, coded for the eye rather than linear, so that dark edges count; usable (h, w) bool: what
    may be looked at (three px beside the rim of what is unknown are left out).
    """
    inner = cv2.erode(usable.astype(np.uint8), np.ones((7, 7), np.uint8), borderValue=(0.0,)) > 0
    first = _gradient(tones)
    again = _gradient(cv2.GaussianBlur(tones, (0, 0), _AGAIN_PX))
    crest = first >= cv2.dilate(first, np.ones((3, 3), np.uint8)) - 1e-7  # the edge itself, not its flanks
    edges = inner & crest & (first > _LEAST_STEP) & (first > again)
    if int(edges.sum()) < _FEWEST_EDGES:
        return None
    ratio = first[edges] / np.maximum(again[edges], 1e-6)
    sigma_px = _AGAIN_PX / np.sqrt(np.maximum(ratio**2 - 1.0, 1e-3))
    return float(np.clip(np.quantile(sigma_px, _SHARPEST_FRACTION), _LEAST_SIGMA_PX, _MOST_SIGMA_PX))


def _gradient(tones: Pixels) -> Pixels:
    """Length of the gradient, per px."""
    across = cv2.filter2D(tones, -1, np.array([[-0.5, 0.0, 0.5]], np.float32))
    down = cv2.filter2D(tones, -1, np.array([[-0.5], [0.0], [0.5]], np.float32))
    length: Pixels = cv2.magnitude(across, down)
    return length
