"""A picture cut out anew: a flat backdrop keyed out, the old background's colour taken from half-covered pixels."""

from dataclasses import dataclass

import numpy as np

from compositor.base.arrays import Pixels
from compositor.colour.coding import decode_float
from compositor.colour.space import Space
from compositor.pixels.foreground import foreground
from compositor.pixels.keying import keyed, without_spill


@dataclass(frozen=True)
class Cut:
    """backdrop: R G B 0..1 as the picture codes them; None = none. tolerance_fraction: how far it strays.
    spill_fraction: how much of its light on the foreground goes."""

    backdrop: tuple[float, float, float] | None = None
    tolerance_fraction: float = 0.0
    spill_fraction: float = 0.0


def cut_clean(encoded: Pixels, coverage: Pixels | None, space: Space, cut: Cut) -> Pixels:
    """Straight linear samples (h, w, 4) float32 in the picture's own primaries.

    encoded: (h, w, 3 or 4) uint8 or uint16 in `space`. coverage: (h, w) 0..1 from a matte, None = full.
    """
    linear = decode_float(np.ascontiguousarray(encoded[..., :3]), space)
    full = np.float32(np.iinfo(encoded.dtype).max)
    has_alpha = encoded.shape[2] == 4
    alpha = encoded[..., 3].astype(np.float32) / full if has_alpha else np.ones(linear.shape[:2], np.float32)
    if coverage is not None:
        alpha = alpha * coverage
    background = None
    if cut.backdrop is not None:
        coded = encoded[..., :3].astype(np.float32) / full
        colour = np.array(cut.backdrop, np.float32)
        codes = np.rint(colour * 65535.0).astype(np.uint16).reshape(1, 1, 3)
        background = decode_float(codes, space)[0, 0]
        alpha = alpha * keyed(coded, linear, (colour, background), cut.tolerance_fraction)
    alpha = alpha.astype(np.float32)
    fore = foreground(linear, alpha, background)
    if background is not None:
        fore = without_spill(fore, background, cut.spill_fraction)
    return np.concatenate([fore, alpha[..., np.newaxis]], axis=2)
