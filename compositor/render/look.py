"""Light and colour of an element: the match, then the corrections by hand, in linear light."""

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.base.opencv import cv2
from compositor.colour.adaptation import balance
from compositor.colour.grading import contrasted, saturation_matrix
from compositor.colour.space import Space
from compositor.plan.effects import Look

_LEAST_ALPHA = 1e-4


def coloured(samples: Pixels, look: Look, gain: Floats, space: Space) -> Pixels:
    """Premultiplied samples (h, w, 4) float32 with an element's corrections. gain: (3,), what the match asks for.

    Exposure and both balances are one matrix, on premultiplied samples as they are; contrast works on straight ones.
    What grows brighter than white is cut off there.
    """
    light = balance(space, look.temperature_mired, look.tint_cc) @ np.diag(gain) * 2.0**look.exposure_stops
    saturation = saturation_matrix(space.luminance, look.saturation_fraction)
    alpha = samples[..., 3:]
    if look.contrast_fraction == 0.0:
        changed = _through(samples, saturation @ light)
    else:
        changed = _through(samples, light)
        straight = np.maximum(changed[..., :3] / np.maximum(alpha, _LEAST_ALPHA), 0.0)
        changed[..., :3] = contrasted(straight, look.contrast_fraction) * alpha
        changed = _through(changed, saturation)
    result: Pixels = np.minimum(np.maximum(changed, np.float32(0.0), out=changed), alpha, out=changed)
    return result


def changes_colour(look: Look) -> bool:
    """Whether anything of light and colour is asked for."""
    plain = Look(
        grain=look.grain,
        sharpness=look.sharpness,
        choke_px=look.choke_px,
        soften_px=look.soften_px,
        protects_chroma=look.protects_chroma,
    )
    return look != plain


def _through(samples: Pixels, matrix: Floats) -> Pixels:
    """Samples (h, w, 4) with a 3×3 on their colours."""
    whole = np.eye(4, dtype=np.float32)
    whole[:3, :3] = matrix
    return cv2.transform(samples, whole)
