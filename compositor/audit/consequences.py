"""Ways out that move or mirror an element, with what they bring about elsewhere."""

from collections.abc import Iterator

from compositor.audit.findings import Remedy
from compositor.audit.sight import (
    azimuth_off_deg,
    change_of,
    delivery_scale,
    elevation_off_deg,
    horizons_meet,
    inside_frame,
    top_off_deg,
)
from compositor.audit.sunside import light_off_deg
from compositor.audit.wording import ground_setting, plain
from compositor.plan.model import PlacedElement, Plan

_WEIGHT = 0.5
"""By eye: a way out that brings another finding is as much of a change as one that draws the element 1.6 times as
large."""


def move(plan: Plan, before: PlacedElement, after: PlacedElement, text: str) -> Remedy:
    """A move that mends, its sentence (without the full stop) ended by what it brings about."""
    told, weight = brought_about(plan, before, after)
    settings = (ground_setting(after, (after.offset_m, after.distance_m)),)
    return Remedy(f"{text}{told}.", settings, True, change_of(plan, before, after) + weight)


def brought_about(plan: Plan, before: PlacedElement, after: PlacedElement, in_frame: bool = False) -> tuple[str, float]:
    """What is wrong after a change and was not before it, as the end of a sentence, and its weight as a change.

    in_frame: the frame follows the element, so that its foot stays inside.
    """
    old = {kind for kind, _ in _troubles(plan, before)} | ({"frame"} if in_frame else set())
    new = [text for kind, text in _troubles(plan, after) if kind not in old]
    return (f"; but then {' and '.join(new)}", _WEIGHT * len(new)) if new else ("", 0.0)


def _troubles(plan: Plan, element: PlacedElement) -> Iterator[tuple[str, str]]:
    """(kind, words) of what the rules about place and view would find."""
    limits = plan.tolerances
    if not inside_frame(plan, element.contact_px):
        yield "frame", "its foot lies outside the frame"
    off_deg = elevation_off_deg(plan, element)
    if off_deg is not None and abs(off_deg) > limits.view_elevation_deg:
        yield "elevation", f"it is seen {_from_above(off_deg)}"
    if element.own_camera is not None and not horizons_meet(plan, element):
        yield "horizon", f"its top is seen {_from_above(top_off_deg(plan, element, element.own_camera))}"
    aside_deg = azimuth_off_deg(plan, element)
    if aside_deg is not None and abs(aside_deg) > limits.view_azimuth_deg:
        yield "azimuth", f"it shows {plain(abs(aside_deg))}° of another side"
    light = light_off_deg(plan, element)
    if light is not None and (abs(light[0]) > limits.light_azimuth_deg or abs(light[1]) > limits.light_elevation_deg):
        yield "light", "the light falls on it from another side"
    delivered = element.enlargement_ratio * delivery_scale(plan)
    if delivered > limits.enlargement_ratio * 1.001:
        yield "pixels", f"it is enlarged to {delivered:.0%} of its own size"


def _from_above(off_deg: float) -> str:
    return f"{plain(abs(off_deg))}° too {'little' if off_deg > 0.0 else 'much'} from above"
