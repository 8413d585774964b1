"""What hides the place where an element touches the ground."""

import numpy as np

from compositor.audit.findings import Case
from compositor.audit.ground import footprint
from compositor.audit.sight import inside_frame
from compositor.base.arrays import Floats
from compositor.base.errors import GeometryError
from compositor.plan.model import Holdout, PlacedElement, Plan, Point

_STEPS = 400
_ACROSS = 9  # points looked at across a foot


def hiding(case: Case, element: PlacedElement) -> str | None:
    """The name of a holdout in front of the foot; None where the foot is seen."""
    for holdout in _in_front(case, element):
        if _covered(case, holdout, element):
            return holdout.name
    return None


def is_seen(case: Case, element: PlacedElement) -> bool:
    """Whether one sees where it touches the ground: in the frame, in a delivery, and in front of every holdout."""
    return is_delivered(case.plan, element.contact_px) and hiding(case, element) is None


def is_delivered(plan: Plan, pixel: Point) -> bool:
    """Whether a pixel lies in the frame and any delivery shows it."""
    if not inside_frame(plan, pixel):
        return False
    windows = (delivery.window_px for delivery in plan.deliveries)
    return any(x <= pixel[0] <= x + wide and y <= pixel[1] <= y + high for x, y, wide, high in windows)


def hiding_place(case: Case, element: PlacedElement) -> tuple[Holdout, Point] | None:
    """The nearest place to the left or right, at the same distance, where a holdout hides the foot."""
    camera, found = case.plan.plate.camera, []
    half_m = 0.5 * case.plan.plate.size_px[0] / camera.focal_px * element.distance_m
    offsets = np.linspace(-half_m, half_m, _STEPS)
    foot = _foot_m(element) - [element.offset_m, 0.0, 0.0]
    points = (foot[np.newaxis] + np.column_stack([offsets, np.zeros((_STEPS, 2))])[:, np.newaxis]).reshape(-1, 3)
    ahead = points @ camera.rotation[2] - camera.rotation[2, 2] * camera.height_m > 1e-6
    for holdout in _in_front(case, element):
        if case.covers is None or not ahead.all():
            continue
        coverage = case.covers(holdout.name, camera.project(points)).reshape(_STEPS, -1).mean(axis=1)
        covered = coverage > case.plan.tolerances.hidden_fraction
        found += [(abs(float(x) - element.offset_m), holdout, float(x)) for x in offsets[covered]]
    if not found:
        return None
    _, holdout, offset_m = min(found, key=lambda place: place[0])
    return holdout, (offset_m, element.distance_m)


def _foot_m(element: PlacedElement) -> Floats:
    """World points (n, 3) across what of an element stands on the ground; its contact alone where it does not stand."""
    x, y, z = element.plane.origin_m
    if element.stance != "upright" or len(element.own_hull_px) < 3:
        return np.array([[x, y, z]])
    first, last = footprint(element)[:2]
    across = np.linspace(first, last, _ACROSS)
    return np.column_stack([across, np.full(_ACROSS, z)])


def _in_front(case: Case, element: PlacedElement) -> list[Holdout]:
    return [holdout for holdout in case.plan.holdouts if holdout.distance_m < element.distance_m]


def _covered(case: Case, holdout: Holdout, element: PlacedElement) -> bool:
    """Whether a holdout covers a foot over its width, as far as that is in the frame."""
    if case.covers is None or not inside_frame(case.plan, element.contact_px):
        return False
    try:
        pixels = case.plan.plate.camera.project(_foot_m(element))
    except GeometryError:
        pixels = np.array([element.contact_px])
    seen = pixels[[inside_frame(case.plan, (float(u), float(v))) for u, v in pixels]]
    shown = seen if len(seen) else np.array([element.contact_px])
    return float(case.covers(holdout.name, shown).mean()) > case.plan.tolerances.hidden_fraction
