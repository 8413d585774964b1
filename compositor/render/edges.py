"""An element's outline moved inwards and softened, once it is in its place."""

import numpy as np

from compositor.base.arrays import Pixels
from compositor.pixels.blur import bell_blurred, choked

_LEAST_ALPHA = 1e-4


def outlined(samples: Pixels, choke_px: float, soften_px: float) -> Pixels:
    """Premultiplied samples (h, w, 4) float32 with their coverage choked by choke_px and its edge softened over
    soften_px (from one tenth to nine tenths of coverage); inside, colours stay as they are.

    The outline never grows: softening takes from the inside what it would give to the outside.
    """
    alpha = samples[..., 3]
    # A bell's edge takes 2.56 deviations from .1 to .9; its middle is moved in by half of that, so that the
    # softened coverage stays under the sharp one.
    sigma_px = soften_px / 2.56
    smaller = choked(alpha, choke_px + (soften_px / 2.0))
    softer = np.minimum(bell_blurred(smaller, sigma_px), alpha)
    result: Pixels = samples * (softer / np.maximum(alpha, _LEAST_ALPHA))[..., np.newaxis]
    return result
