"""Marks of the scene to marks of the plan: where each thing stands and how high it is drawn."""

from collections.abc import Sequence

import numpy as np

from compositor.base.known_sizes import known_size
from compositor.geometry.ground import ground_point
from compositor.geometry.heights import upright_height
from compositor.plan.model import Mark
from compositor.scene.critique import MarkWords
from compositor.solve.faults import about, within
from compositor.solve.plate import PlateGround


def placed_mark(words: MarkWords, ground: PlateGround) -> Mark:
    """Measure a mark. Raises FaultyScene with keys relative to it (contact, top)."""
    camera = ground.camera()
    contact_px, top_px = ground.moved((words.contact, words.top))
    with about(("contact",), words.contact, " of the plate"):
        ground_m = ground_point(camera, contact_px)
    with about(("top",), words.top):
        height_m = upright_height(camera, contact_px, top_px)
    claimed_m, claim = None, ""
    if words.height is not None:
        claimed_m, claim = (words.height, words.height, words.height), f"{words.height:.2f} m high"
    elif words.kind is not None:
        known = known_size(words.kind)
        claimed_m = (known.low_m, known.typical_m, known.high_m)
        claim = f"a {words.kind}, {known.usual} high ({known.source})"
    row_px = None if words.horizon is None else ground.moved(((words.contact[0], words.horizon),))[0][1]
    return Mark(
        name=words.name,
        contact_px=contact_px,
        top_px=top_px,
        ground_m=ground_m,
        height_m=height_m,
        claimed_m=claimed_m,
        claim=claim,
        own_horizon_row_px=row_px,
        free=not ground.model.height_known,
    )


_SURE_FRACTION = 0.01
"""By eye: how well a height is known that somebody states."""


def agreed_height(words: Sequence[MarkWords], ground: PlateGround) -> float | None:
    """The camera's height that most of the marks agree on, None where none claims a height.

    A weighted median, so that one thing out of scale does not spoil the rest; those of known height count most.
    Raises FaultyScene with keys from the top of the scene.
    """
    told = []
    for index, one in enumerate(words):
        with within(("marks", index)):
            mark = placed_mark(one, ground)
        if mark.claimed_m is not None:
            low_m, likely_m, high_m = mark.claimed_m
            weight = 1.0 / max(_SURE_FRACTION, (high_m - low_m) / (2.0 * likely_m))
            told.append((likely_m / mark.height_m, weight))
    if not told:
        return None
    ratios, weights = np.array(sorted(told)).T
    middle = int(np.searchsorted(np.cumsum(weights), weights.sum() / 2.0))
    return float(ratios[middle]) * ground.camera().height_m
