"""Rules about the frame: a foot that is not seen, an element that a delivery cuts, one that hangs in the air."""

from collections.abc import Iterator
from math import ceil

import numpy as np

from compositor.audit.consequences import move
from compositor.audit.findings import Case, Finding, Remedy, ranked
from compositor.audit.hiding import hiding, is_seen
from compositor.audit.sight import fits_into, inside_frame, moved, seen_hull, share_within
from compositor.audit.wording import ground_goes_on, place, setting
from compositor.base.errors import GeometryError
from compositor.geometry.ground import ground_point
from compositor.geometry.polygons import within_box
from compositor.plan.model import Delivery, PlacedElement, Plan

_Box = tuple[float, float, float, float]


def contact(case: Case, element: PlacedElement) -> Iterator[Finding]:
    """Whether one sees it stand."""
    plan = case.plan
    (u, v), (width, height) = element.contact_px, plan.plate.size_px
    over_px = max(-u, u - width, -v, v - height)
    if over_px > plan.tolerances.outside_fraction * height:
        yield Finding(
            "contact-outside-frame",
            "warning",
            element.name,
            f"{element.name} touches the ground {over_px:.0f} px outside the frame, so nobody sees it stand.",
            ranked([_into_frame(plan, element), _frame_to_it(plan, element)]),
            "foot outside the frame",
        )
        return
    behind = hiding(case, element)
    if behind is not None:
        yield Finding(
            "contact-hidden",
            "info",
            element.name,
            f"The place where {element.name} touches the ground is hidden by {behind}, so nobody sees it stand.",
            brief=f"foot hidden by {behind}",
        )


def _into_frame(plan: Plan, element: PlacedElement) -> Remedy | None:
    """The nearest ground point that is seen just inside the frame."""
    width, height = plan.plate.size_px
    inset = min(1.0, width / 4.0, height / 4.0)
    pixel = (
        float(np.clip(element.contact_px[0], inset, width - inset)),
        float(np.clip(element.contact_px[1], inset, height - inset)),
    )
    camera = plan.plate.camera
    try:
        x, y = ground_point(camera.at_height(camera.height_m - element.raise_m), pixel)
    except (GeometryError, ZeroDivisionError):
        return None
    after = moved(plan, element, (x, y))
    if after is None or not inside_frame(plan, after.contact_px):
        return None
    return move(plan, element, after, f"Move it to {place((x, y))}, just inside the frame")


def _frame_to_it(plan: Plan, element: PlacedElement) -> Remedy | None:
    """More plate on the sides where its foot is missing."""
    (u, v), (width, height), old = element.contact_px, plan.plate.size_px, plan.plate.extension
    lacking = {"left": -u, "top": -v, "right": u - width, "bottom": v - height}
    strips = {side: ceil(px) + 1 for side, px in lacking.items() if px > 0.0}
    if not all(old_px + strips.get(side, 0) <= 65_500 for side, old_px in vars(old).items() if side != "fill"):
        return None
    told = " and ".join(f"{px} px at the {side}" for side, px in strips.items())
    settings = [(f"plate.extend.{side}", str(getattr(old, side) + px)) for side, px in strips.items()]
    settings += ground_goes_on(plan) if "bottom" in strips else []
    return Remedy(
        f"Extend the plate by {told}, a strip to fill.",
        tuple(settings),
        True,
        0.1 + 2.0 * sum(strips.values()) / height,
    )


def cut(case: Case, element: PlacedElement) -> Iterator[Finding]:
    """A delivery whose edge runs through it."""
    plan = case.plan
    seen = share_within(element, (0.0, 0.0, float(plan.plate.size_px[0]), float(plan.plate.size_px[1])))
    for delivery in plan.deliveries if seen > 0.0 else ():
        kept = share_within(element, _window(delivery)) / seen
        allowed = plan.tolerances.cut_fraction
        if not allowed < 1.0 - kept or kept <= allowed:
            continue
        meant = 1.0 - share_within(element, _uncropped(plan, delivery)) / seen <= allowed
        how = "As its crop says, the" if meant else "The"
        yield Finding(
            "cut-by-delivery",
            "info" if meant else "warning",
            element.name,
            f"{how} edge of delivery {delivery.name} runs through {element.name} and cuts off {1.0 - kept:.1%} of it.",
            ranked([_around(plan, element, delivery), _out_of_the_way(delivery)]),
            f"{1.0 - kept:.0%} cut off in {delivery.name}",
        )


def _window(delivery: Delivery) -> _Box:
    left, top, wide, high = delivery.window_px
    return left, top, left + wide, top + high


def _uncropped(plan: Plan, delivery: Delivery) -> _Box:
    """The window without those of its edges that lie where the delivery's crop puts them."""
    (left, top, right, bottom), (width, height) = delivery.cropped_px, plan.plate.size_px
    x0, y0, x1, y1 = _window(delivery)
    return (
        0.0 if abs(x0 - left) < 0.5 else x0,
        0.0 if abs(y0 - top) < 0.5 else y0,
        float(width) if abs(x1 - (width - right)) < 0.5 else x1,
        float(height) if abs(y1 - (height - bottom)) < 0.5 else y1,
    )


def _around(plan: Plan, element: PlacedElement, delivery: Delivery) -> Remedy | None:
    """The delivery laid around it and all else that it shows; None where that does not fit its shape."""
    frame = (0.0, 0.0, float(plan.plate.size_px[0]), float(plan.plate.size_px[1]))
    shown = []
    for other in plan.elements:
        seen = share_within(other, frame)
        whole = seen > 0.0 and share_within(other, _window(delivery)) > 0.99 * seen
        if other.name == element.name or whole:
            shown.append(other)
    boxes = np.vstack([within_box(seen_hull(other), frame) for other in shown])
    if not plan.deliveries_listed or not fits_into(boxes, delivery, plan.plate.size_px):
        return None
    names = ", ".join(other.name for other in shown)
    settings = [
        (f"deliveries.{delivery.name}.around", f"[{names}]"),
        (f"deliveries.{delivery.name}.composition", "centre"),
    ]
    if any(delivery.cropped_px):
        settings.append((f"deliveries.{delivery.name}.crop", "null"))
    return Remedy(f"Lay delivery {delivery.name} around {names}.", tuple(settings), True, 0.3)


def _out_of_the_way(delivery: Delivery) -> Remedy:
    return Remedy(f"Move it, or leave it out of {delivery.name} in a variant of its own.", change=0.9)


def floating(case: Case, element: PlacedElement) -> Iterator[Finding]:
    """Raised without a word on what it stands on, where one sees it stand."""
    limit_m = case.plan.tolerances.raise_m
    if element.stance != "upright" or element.stands_on is not None or abs(element.raise_m) <= limit_m:
        return
    if not is_seen(case, element):
        return
    above = element.raise_m > 0.0
    after = moved(case.plan, element, (element.offset_m, element.distance_m))
    yield Finding(
        "floating",
        "warning",
        element.name,
        f"{element.name} stands {abs(element.raise_m):.2f} m {'above' if above else 'below'} the ground and nothing "
        "says on what.",
        ranked(
            [
                Remedy(
                    "Put it on the ground.",
                    (setting(element, "raise", "0"),),
                    True,
                    0.2 if after is None else abs(element.raise_m) / max(element.height_m, 1e-9),
                ),
                Remedy(
                    "If that is meant, say what it stands on or hangs from, such as a kerb.",
                    (setting(element, "stands_on", '"something the picture shows"'),),
                    True,
                    9.0,
                ),
            ]
        ),
        f"{abs(element.raise_m):.2f} m {'above' if above else 'below'} the ground",
    )
