"""Light and colour of an element: the match, then the corrections by hand, in linear light."""

import numpy as np

from compositor.base.arrays import Floats, Pixels
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
    luminance = np.array(space.to_xyz)[1] / np.sum(space.to_xyz[1])
    light = balance(space, look.temperature_mired, look.tint_cc) @ np.diag(gain) * 2.0**look.exposure_stops
    colour, alpha = samples[..., :3], samples[..., 3:]
    if look.contrast_fraction == 0.0:
        matrix = saturation_matrix(luminance, look.saturation_fraction) @ light
        changed = _through(colour, matrix)
    else:
        straight = np.maximum(_through(colour, light) / np.maximum(alpha, _LEAST_ALPHA), 0.0)
        toned = contrasted(straight, look.contrast_fraction)
        changed = _through(toned, saturation_matrix(luminance, look.saturation_fraction)) * alpha
    return np.concatenate([np.clip(changed, 0.0, alpha), alpha], axis=2)


def changes_colour(look: Look) -> bool:
    """Whether anything of light and colour is asked for."""
    plain = Look(grain=look.grain, sharpness=look.sharpness, choke_px=look.choke_px, soften_px=look.soften_px)
    return look != plain


def _through(colour: Pixels, matrix: Floats) -> Pixels:
    result: Pixels = colour @ matrix.T.astype(np.float32)
    return result
