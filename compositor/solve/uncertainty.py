"""First-order propagation of what was measured into what is computed.

Every independent uncertain quantity is a Nudge of one standard deviation; results are computed with a tenth of it put
on and taken off, and contributions add in squares (Joint Committee for Guides in Metrology, JCGM 100:2008, section
5.1.2, with a numeric Jacobian).
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from math import sqrt

# A small share of the deviation, so that the slope is taken where the solution is and a contact near its horizon
# does not leave the ground.
STEP_FRACTION = 0.1


@dataclass(frozen=True)
class Nudge:
    """A small change of one camera: its horizon moved down (px, at the principal point's column) and turned
    (degrees), its focal length and height changed by a fraction."""

    horizon_px: float = 0.0
    roll_deg: float = 0.0
    focal_fraction: float = 0.0
    height_fraction: float = 0.0

    def times(self, factor: float) -> "Nudge":
        """The same change, larger or smaller or the other way."""
        return Nudge(
            self.horizon_px * factor,
            self.roll_deg * factor,
            self.focal_fraction * factor,
            self.height_fraction * factor,
        )

    @cached_property
    def steps(self) -> tuple["Nudge", "Nudge"]:
        """A small share of it put on, and taken off."""
        return self.times(STEP_FRACTION), self.times(-STEP_FRACTION)


NONE = Nudge()


def variances(results: Callable[[Nudge], Mapping[str, float]], uncertain: Iterable[Nudge]) -> dict[str, float]:
    """Variance of each result from the uncertain quantities of one camera, all others held. Empty when certain."""
    return variances_of_steps((results(more), results(less)) for more, less in (nudge.steps for nudge in uncertain))


def variances_of_steps(steps: Iterable[tuple[Mapping[str, float], Mapping[str, float]]]) -> dict[str, float]:
    """The same from results with a share of each uncertain quantity put on and taken off."""
    total: dict[str, float] = {}
    for more, less in steps:
        for key, value in more.items():
            if key in less:  # what one side of the step cannot tell has no slope
                slope = (value - less[key]) / (2.0 * STEP_FRACTION)
                total[key] = total.get(key, 0.0) + slope**2
    return total


def standard_deviations(*parts: Mapping[str, float]) -> dict[str, float]:
    """Standard deviations of results whose variances come from several cameras."""
    total: dict[str, float] = {}
    for part in parts:
        for key, value in part.items():
            total[key] = total.get(key, 0.0) + value
    return {key: sqrt(value) for key, value in total.items()}
