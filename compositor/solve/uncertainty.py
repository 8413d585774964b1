"""First-order propagation of what was measured into what is computed.

Every independent uncertain quantity is a Nudge of one standard deviation; results are computed with the nudge put
on and taken off, half their difference is what it contributes, and contributions add in squares
(Joint Committee for Guides in Metrology, JCGM 100:2008, section 5.1.2, with a numeric Jacobian).
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from math import sqrt


@dataclass(frozen=True)
class Nudge:
    """A small change of one camera: its horizon moved down (px, at the principal point) and turned (degrees), its
    focal length and height as ratios."""

    horizon_px: float = 0.0
    roll_deg: float = 0.0
    focal_ratio: float = 1.0
    height_ratio: float = 1.0

    def opposite(self) -> "Nudge":
        """The same change the other way."""
        return Nudge(-self.horizon_px, -self.roll_deg, 2.0 - self.focal_ratio, 2.0 - self.height_ratio)


NONE = Nudge()


def variances(results: Callable[[Nudge], Mapping[str, float]], uncertain: Iterable[Nudge]) -> dict[str, float]:
    """Variance of each result from the uncertain quantities of one camera, all others held. Empty when certain."""
    total: dict[str, float] = {}
    for nudge in uncertain:
        more, less = results(nudge), results(nudge.opposite())
        for key in more:
            total[key] = total.get(key, 0.0) + ((more[key] - less[key]) / 2.0) ** 2
    return total


def standard_deviations(*parts: Mapping[str, float]) -> dict[str, float]:
    """Standard deviations of results whose variances come from several cameras."""
    total: dict[str, float] = {}
    for part in parts:
        for key, value in part.items():
            total[key] = total.get(key, 0.0) + value
    return {key: sqrt(value) for key, value in total.items()}
