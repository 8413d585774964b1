"""Rules about where the camera stood: seen from another height, from another side."""

from collections.abc import Iterator
from math import ceil, hypot, radians, tan

import numpy as np

from compositor.audit.consequences import brought_about, move
from compositor.audit.findings import Case, Finding, Remedy, Severity, lowered, ranked
from compositor.audit.hiding import is_seen
from compositor.audit.sight import (
    azimuth_deg,
    azimuth_off_deg,
    change_of,
    depression_deg,
    elevation_off_deg,
    is_flipped,
    moved,
    own_azimuth_deg,
)
from compositor.audit.unseen import foot_unseen
from compositor.audit.ways import other_photographs
from compositor.audit.wording import ground_goes_on, ground_setting, place, plain, setting, sideways
from compositor.plan.model import PlacedElement, Plan, Point

_MOST_RESIZED = 5.0  # by eye: what a move makes larger or smaller than that is in another picture
_MOST_FILLED = 0.75  # of the picture's height, by eye: a strip beyond it is a picture of its own
_MOST_CROPPED = 0.15  # of the picture's height, by eye: so much of the sky can go


def elevation(case: Case, element: PlacedElement) -> Iterator[Finding]:
    """How much more or less from above the plate's camera looks down on it than its own camera did."""
    plan, own, limits = case.plan, element.own_camera, case.plan.tolerances
    off = elevation_off_deg(plan, element)
    if own is None or off is None or abs(off) <= limits.view_elevation_deg:
        return
    severity: Severity = "error" if abs(off) > limits.view_elevation_error_deg else "warning"
    seen = is_seen(case, element)
    way = "little" if off > 0 else "much"
    plate_deg = depression_deg(plan.plate.camera, element.contact_px)
    own_deg = depression_deg(own, element.own_contact_px)
    yield Finding(
        "seen-from-another-height",
        severity if seen else lowered(severity),
        element.name,
        f"The plate looks down on {element.name} at {plain(plate_deg)}°, its own photograph at {plain(own_deg)}°: it "
        f"is seen {plain(abs(off))}° too {way} from above, which no scaling can mend"
        f"{'' if seen else '; since its foot is not seen, this shows less'}.",
        ranked(
            [
                *_nearer_or_farther(plan, element, off),
                *other_photographs(plan, element),
                *foot_unseen(case, element),
            ]
        ),
        f"seen {plain(abs(off))}° too {way} from above",
    )


def fitting_ground(plan: Plan, element: PlacedElement, spare_deg: float = 0.0) -> Point | None:
    """The ground point on the same line of sight where the plate looks down on it as its own camera did, or by that
    much more steeply."""
    own, above_m = element.own_camera, plan.plate.camera.height_m - element.raise_m
    if own is None:
        return None
    wanted_deg = depression_deg(own, element.own_contact_px) + spare_deg
    if above_m <= 0.0 or not 0.0 < wanted_deg < 90.0:
        return None
    share = above_m / tan(radians(wanted_deg)) / hypot(element.offset_m, element.distance_m)
    return element.offset_m * share, element.distance_m * share


def _nearer_or_farther(plan: Plan, element: PlacedElement, off: float) -> Iterator[Remedy | None]:
    """To the distance where its photograph fits, by itself or with the plate moved under it, or on the way there."""
    limit_deg = plan.tolerances.view_elevation_deg
    enough_deg = 0.95 * limit_deg if off > 0.0 else -0.95 * limit_deg
    for spare_deg in (enough_deg, 0.0):
        ground_m = fitting_ground(plan, element, spare_deg)
        after = None if ground_m is None else moved(plan, element, ground_m)
        rest = None if after is None else elevation_off_deg(plan, after)
        if ground_m is None or after is None or rest is None or abs(rest) > limit_deg:
            continue
        size = after.enlargement_ratio / max(element.enlargement_ratio, 1e-9)
        if not 1.0 / _MOST_RESIZED <= size <= _MOST_RESIZED:
            continue
        fits = "fits" if spare_deg == 0.0 else f"nearly fits ({plain(abs(rest))}° are left)"
        yield move(
            plan,
            element,
            after,
            f"Move it to {place(ground_m)}, where this photograph {fits}; it is then drawn at {size:.0%} of its "
            "present size",
        )
        if spare_deg == 0.0:
            yield _plate_moved(plan, element, after)


def _plate_moved(plan: Plan, element: PlacedElement, after: PlacedElement) -> Remedy | None:
    """The same with its foot kept in its row: the plate goes up or down under it, and a strip is left to fill; None
    where that strip would be most of the picture."""
    rows = after.contact_px[1] - element.contact_px[1]
    strip, where = ceil(abs(rows)), place((after.offset_m, after.distance_m))
    if strip > _MOST_FILLED * plan.plate.size_px[1]:
        return None
    filled, other = ("bottom", "top") if rows > 0 else ("top", "bottom")
    extension = plan.plate.extension
    settings = [
        ground_setting(element, (after.offset_m, after.distance_m)),
        (f"plate.extend.{filled}", str(getattr(extension, filled) + strip)),
    ]
    settings += ground_goes_on(plan) if rows > 0 else []
    cropped = _same_height(plan, other, strip)
    beside = 0.0 <= after.contact_px[0] <= plan.plate.size_px[0]
    told, weight = brought_about(plan, element, after, in_frame=beside)
    return Remedy(
        f"{'Raise' if rows > 0 else 'Lower'} the plate by {abs(rows):.0f} px under it, so that its foot keeps its row "
        f"and stands {where}; this leaves a strip of {strip} px to fill at the {filled}"
        f"{f' and crops as much off the {other}' if cropped else ''}{told}.",
        (*settings, *cropped),
        True,
        change_of(plan, element, after) + 0.1 + strip / plan.plate.size_px[1] + weight,
    )


def _same_height(plan: Plan, edge: str, strip: int) -> list[tuple[str, str]]:
    """Settings by which pictures of the whole frame keep their height: what comes in at one edge goes at the other."""
    if strip > _MOST_CROPPED * plan.plate.size_px[1]:
        return []
    whole = (0.0, 0.0, float(plan.plate.size_px[0]), float(plan.plate.size_px[1]))
    shown = [delivery for delivery in plan.deliveries if delivery.window_px == whole and not delivery.kept]
    if not plan.deliveries_listed:
        return [("deliveries", f"[{{name: {one.name}, crop: {{{edge}: {strip}}}}}]") for one in shown]
    return [(f"deliveries.{one.name}.crop.{edge}", str(strip)) for one in shown]


def azimuth(case: Case, element: PlacedElement) -> Iterator[Finding]:
    """The same around the vertical: how far to the side it stands here and stood there."""
    plan, own, limit_deg = case.plan, element.own_camera, case.plan.tolerances.view_azimuth_deg
    off = azimuth_off_deg(plan, element)
    if own is None or off is None or abs(off) <= limit_deg:
        return
    own_deg, plate_deg = own_azimuth_deg(element, own), azimuth_deg(plan.plate.camera, element.contact_px)
    yield Finding(
        "seen-from-another-side",
        "warning",
        element.name,
        f"From the plate's camera {element.name} stands {sideways(plate_deg)}, from its own it stood "
        f"{sideways(own_deg)}: it shows {plain(abs(off))}° of another side and looks turned by as much.",
        ranked(
            [
                *_sideways(plan, element, own_deg),
                _flipped(plan, element),
                *other_photographs(plan, element),
            ]
        ),
        f"seen {plain(abs(off))}° from another side",
    )


def _sideways(plan: Plan, element: PlacedElement, own_deg: float) -> Iterator[Remedy]:
    """To where it stands nearly or wholly as far off the axis as it stood, at the same distance from the camera."""
    reach_m, limit_deg = hypot(element.offset_m, element.distance_m), plan.tolerances.view_azimuth_deg
    here_deg = azimuth_deg(plan.plate.camera, element.contact_px)
    for spare_deg in (0.95 * limit_deg * (1.0 if here_deg > own_deg else -1.0), 0.0):
        angle = radians(own_deg + spare_deg)
        ground_m = (reach_m * float(np.sin(angle)), reach_m * float(np.cos(angle)))
        after = moved(plan, element, ground_m)
        off = None if after is None else azimuth_off_deg(plan, after)
        if after is None or off is None or abs(off) > limit_deg:
            continue
        side = (
            "it is seen from the side that its photograph shows"
            if spare_deg == 0.0
            else f"no more than {plain(abs(off))}° of another side is left"
        )
        yield move(plan, element, after, f"Move it to {place(ground_m)}, where {side}")


def _flipped(plan: Plan, element: PlacedElement) -> Remedy | None:
    after = moved(plan, element, (element.offset_m, element.distance_m), flip=True)
    off = None if after is None else azimuth_off_deg(plan, after)
    if after is None or off is None or abs(off) > plan.tolerances.view_azimuth_deg:
        return None
    told, weight = brought_about(plan, element, after)
    return Remedy(
        f"Mirror it left to right, which leaves {plain(abs(off))}°; mind lettering and buttons{told}.",
        (setting(element, "flip", "true" if is_flipped(after) else "false"),),
        True,
        0.15 + weight,
    )
