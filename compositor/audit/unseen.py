"""Ways out by hiding the place where an element touches the ground: behind a holdout, or by cropping it away.

What nobody sees stand may stand higher or lower than the ground, as its photograph needs it.
"""

from collections.abc import Iterator
from math import ceil, hypot, radians, tan

import numpy as np

from compositor.audit.findings import Case, Remedy
from compositor.audit.hiding import hiding, hiding_place, is_seen
from compositor.audit.sight import change_of, depression_deg, fits_into, horizons_meet, moved, seen_hull, share_within
from compositor.audit.wording import ground_setting, place, plain, setting
from compositor.plan.model import Delivery, PlacedElement, Plan, Point

_MOST_RAISED = 0.5  # of its height, by eye: what is lifted or sunk farther no longer looks as large as it is
_LEAST_CROPPED = 0.1  # of its height, by eye: so much above its foot has to go for its foot not to be missed
_MOST_CROPPED = 0.4  # of the picture's height, by eye: what is left then is another picture
_LEAST_LEFT = 0.5  # of every other element, by eye


def foot_unseen(case: Case, element: PlacedElement) -> Iterator[Remedy]:
    """Ways out for an element seen from another height."""
    if not is_seen(case, element):
        yield from _as_high_as_it_fits(case.plan, element)
        return
    behind, cropped = list(_behind_a_holdout(case, element)), _cropped(case.plan, element)
    yield from behind
    if cropped.settings or not behind:
        yield cropped


def _as_high_as_it_fits(plan: Plan, element: PlacedElement) -> Iterator[Remedy]:
    after = _fitting(plan, element)
    if after is not None:
        yield Remedy(
            f"Let it stand {_by(element, after)}: nobody sees its foot, and so this photograph fits.",
            (_raise(after),),
            True,
            change_of(plan, element, after),
        )


def _behind_a_holdout(case: Case, element: PlacedElement) -> Iterator[Remedy]:
    plan, found = case.plan, hiding_place(case, element)
    aside = None if found is None else moved(plan, element, found[1])
    if found is None or aside is None:
        return
    holdout, ground_m = found
    after = _fitting(plan, aside)
    if after is not None and hiding(case, after) is not None:
        yield Remedy(
            f"Move it sideways, to {place(ground_m)}, behind {holdout.name}, and let it stand {_by(element, after)}: "
            "nobody sees its foot there, and so this photograph fits.",
            (ground_setting(element, ground_m), _raise(after)),
            True,
            change_of(plan, element, after),
        )
        return
    yield Remedy(
        f"Move it sideways, to {place(ground_m)}, behind {holdout.name}: with its foot hidden the difference shows "
        "less.",
        (ground_setting(element, ground_m),),
        change=change_of(plan, element, aside),
    )


def _cropped(plan: Plan, element: PlacedElement) -> Remedy:
    """The picture ended above its foot, in every delivery that shows it."""
    for after in (_fitting(plan, element), element):
        rows = 0 if after is None else _rows_to_crop(plan, after)
        settings = None if after is None else _crops(plan, (element, after), rows)
        if after is None or settings is None:
            continue
        text = f"Crop {rows} px off the bottom of the picture, so that nobody sees its foot"
        change = 0.1 + rows / plan.plate.size_px[1]
        if after is element:
            return Remedy(f"{text}: the difference then shows less.", settings, change=change)
        return Remedy(
            f"{text}, and let it stand {_by(element, after)}: so this photograph fits.",
            (*settings, _raise(after)),
            True,
            change + change_of(plan, element, after),
        )
    return Remedy(
        "Let something stand in front of its foot: with its foot hidden the difference shows less.", change=1.0
    )


def _fitting(plan: Plan, element: PlacedElement) -> PlacedElement | None:
    """The element where it is, as high over the ground as its photograph fits; None where that is far or its top then
    does not."""
    if element.own_camera is None:
        return None
    reach_m = hypot(element.offset_m, element.distance_m)
    own_deg = depression_deg(element.own_camera, element.own_contact_px)
    if not -80.0 < own_deg < 80.0:
        return None
    raise_m = plan.plate.camera.height_m - reach_m * tan(radians(own_deg))
    if abs(raise_m - element.raise_m) > _MOST_RAISED * element.height_m:
        return None
    after = moved(plan, element, (element.offset_m, element.distance_m), raise_m=round(raise_m, 4))
    return after if after is not None and horizons_meet(plan, after) else None


def _by(before: PlacedElement, after: PlacedElement) -> str:
    by_m = after.raise_m - before.raise_m
    return f"{abs(by_m):.2f} m {'higher' if by_m > 0.0 else 'lower'}"


def _raise(after: PlacedElement) -> tuple[str, str]:
    return setting(after, "raise", plain(after.raise_m, 4))


def _rows_to_crop(plan: Plan, element: PlacedElement) -> int:
    (_, foot), (_, top) = element.contact_px, element.top_px
    return ceil(plan.plate.size_px[1] - foot + _LEAST_CROPPED * abs(foot - top))


def _crops(plan: Plan, change: tuple[PlacedElement, PlacedElement], rows: int) -> tuple[tuple[str, str], ...] | None:
    """Settings that crop rows off every delivery that shows the foot before or after a change; None where one of them
    then lacks too much."""
    element = change[0]
    width, height = plan.plate.size_px
    others = (other for other in plan.elements if other.name != element.name)
    left = (0.0, 0.0, float(width), float(height - rows))
    if rows > _MOST_CROPPED * height or any(_lost(other, left, (width, height)) for other in others):
        return None
    if not plan.deliveries_listed:
        return (("deliveries", f"[{{name: {plan.deliveries[0].name}, crop: {{bottom: {rows}}}}}]"),)
    showing = [
        delivery
        for delivery in plan.deliveries
        if element.name in delivery.kept or any(_shows(delivery, one.contact_px) for one in change)
    ]
    if not all(_has_room(plan, delivery, rows) for delivery in showing):
        return None
    return tuple((f"deliveries.{delivery.name}.crop.bottom", str(rows)) for delivery in showing)


def _lost(element: PlacedElement, box: tuple[float, float, float, float], frame_px: tuple[int, int]) -> bool:
    """Whether less than a fair part of what is seen of an element lies in a box."""
    seen = share_within(element, (0.0, 0.0, float(frame_px[0]), float(frame_px[1])))
    return seen > 0.0 and share_within(element, box) < _LEAST_LEFT * seen


def _shows(delivery: Delivery, pixel: Point) -> bool:
    x, y, wide, high = delivery.window_px
    return x <= pixel[0] <= x + wide and y <= pixel[1] <= y + high


def _has_room(plan: Plan, delivery: Delivery, rows: int) -> bool:
    """Whether what a delivery is laid around still fits into its shape."""
    left, top, right, _ = delivery.cropped_px
    frame = (left, top, plan.plate.size_px[0] - right, plan.plate.size_px[1] - rows)
    boxes = [np.clip(seen_hull(plan.element(name)), frame[:2], frame[2:]) for name in delivery.kept]
    return not boxes or fits_into(np.vstack(boxes), delivery, (frame[2] - frame[0], frame[3] - frame[1]))
