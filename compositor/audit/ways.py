"""Ways out that several rules share: another photograph that was given, or a new one."""

from collections.abc import Iterator

from compositor.audit.findings import Remedy
from compositor.audit.sight import azimuth_deg, depression_deg, is_flipped
from compositor.audit.wording import plain, setting
from compositor.plan.model import Alternative, PlacedElement, Plan

_WORST_CHANGE = 9.0
_ANOTHER_PICTURE = 0.6  # by eye: another photograph changes the picture more than a move by half its size


def other_photographs(plan: Plan, element: PlacedElement, proven: bool = True) -> Iterator[Remedy]:
    """Other photographs of it that were given, the best first, and last a new one.

    proven: whether a fitting angle of view mends what the rule is about.
    """
    camera, limits = plan.plate.camera, plan.tolerances
    plate_deg, plate_aside_deg = depression_deg(camera, element.contact_px), azimuth_deg(camera, element.contact_px)

    mirrored = -1.0 if is_flipped(element) else 1.0

    def fit(other: Alternative) -> tuple[float, float]:
        return abs(plate_deg - other.depression_deg), abs(plate_aside_deg - mirrored * other.azimuth_deg)

    for rank, other in enumerate(sorted(element.alternatives, key=fit)):
        off, aside = fit(other)
        good = off <= limits.view_elevation_deg and aside <= limits.view_azimuth_deg
        yield Remedy(
            f"Use {other.name} instead: seen from here its view is {plain(off)}° off from above and {plain(aside)}° "
            f"off from the side, {'so it fits' if good else 'which still is too much'}.",
            tuple(setting(element, key, value) for key, value in other.settings),
            good and proven,
            _ANOTHER_PICTURE + 0.01 * rank,
        )
    yield Remedy(
        f"Photograph it again to fit this place: `compositor brief SCENE {element.name}` says from where.",
        change=_WORST_CHANGE,
    )
