"""How an element's light has to change to be the plate's: a gain per channel, from what can be seen of both.

A single picture tells light from paint only in part: a dark red thing under white light and a light one under dim red
light look alike. So the mean colours of plate and element are NOT made equal, which would repaint the product; only
what a physical account of the light supports is changed, and by as much as it can be trusted.

1. Bounced light. An upright thing gets part of its light from the ground before it, whose colour and brightness the
   plate shows where the element will stand. It was photographed over other ground; nothing is known of that, so it is
   taken for neutral and of middling brightness. Gain = (1 + k·G) / (1 + k·R), with G the linear colour of the plate's
   ground, R the neutral one and k the ground's share against the light from above and in front. All three channels get
   a gain of their own: the warm ground of the plate warms the element. Bounded by construction: no ground can change a
   channel by more than (1 + k) / (1 + k·R).
2. Exposure. No paint sends back more light than falls on it (albedo <= 1): brightness is bounded above, not below. An
   element whose lightest parts outshine the lightest parts of the plate at its place is probably exposed too
   generously, a dark one may just be dark. Stops above the plate's are taken back by a small share, as long as paint
   can explain them: the lightest parts of a place are seldom darker than dry concrete, and nothing is much lighter than
   white paint. What is beyond that is light, and taken back wholly. Stops below say nothing.

Plate and element are compared without the air between (the caller takes haze off the plate's values). The sky never
counts: both values come from the ground. The two shares are small against what they weigh (tests/studies/match.py
chooses them with each case left out in turn and prints what each change would do to all of them).
"""

from dataclasses import dataclass

import numpy as np

from compositor.base.arrays import Floats

BOUNCE_RATIO = 0.25
"""k: light from the ground against light from above and in front, as it reaches an upright thing."""
NEUTRAL_GROUND_FRACTION = 0.4
"""R: linear value of the ground that an element was photographed over, when nothing is known of it."""
RESTRAINT_FRACTION = 0.125
"""The share of excess stops that is taken back where they may be paint."""
PAINT_STOPS = 1.6
"""White paint, 0.9, over dry concrete, 0.3 (reflectances in the handbooks of lighting, values from memory)."""


@dataclass(frozen=True)
class Evidence:
    """What is seen, in linear light. ground: R G B of the plate's ground at the contact. plate_highlight,
    element_highlight: luminance of the lightest parts of the plate around the contact and of the element."""

    ground: tuple[float, float, float]
    plate_highlight: float
    element_highlight: float


def matching_gain(evidence: Evidence, match_fraction: float) -> Floats:
    """Gains (3,) on linear R G B that bring an element to the plate's light; match_fraction 0 = ones, 1 = wholly."""
    ground = np.clip(np.array(evidence.ground), 0.0, 1.0)
    bounce_stops = np.log2((1.0 + BOUNCE_RATIO * ground) / (1.0 + BOUNCE_RATIO * NEUTRAL_GROUND_FRACTION))
    seen = min(evidence.plate_highlight, evidence.element_highlight) > 0.0
    excess_stops = max(0.0, float(np.log2(evidence.element_highlight / evidence.plate_highlight))) if seen else 0.0
    light_stops = max(0.0, excess_stops - PAINT_STOPS)
    stops = bounce_stops - RESTRAINT_FRACTION * (excess_stops - light_stops) - light_stops
    result: Floats = np.exp2(match_fraction * stops)
    return result
