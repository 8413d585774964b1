"""What hides the place where an element touches the ground."""

import numpy as np

from compositor.audit.findings import Case
from compositor.audit.sight import inside_frame
from compositor.plan.model import Holdout, PlacedElement, Plan, Point

_STEPS = 400


def hiding(case: Case, element: PlacedElement) -> str | None:
    """The name of a holdout in front of the contact; None where the contact is seen."""
    for holdout in _in_front(case, element):
        if _covered(case, holdout, element.contact_px):
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
    """The nearest place to the left or right, at the same distance, where a holdout hides the contact."""
    camera, found = case.plan.plate.camera, []
    half_m = 0.5 * case.plan.plate.size_px[0] / camera.focal_px * element.distance_m
    offsets = np.linspace(-half_m, half_m, _STEPS)
    points = np.column_stack([offsets, np.full(_STEPS, element.distance_m), np.full(_STEPS, element.raise_m)])
    ahead = points @ camera.rotation[2] - camera.rotation[2, 2] * camera.height_m > 1e-6
    for holdout in _in_front(case, element):
        if case.covers is None or not ahead.all():
            continue
        covered = case.covers(holdout.name, camera.project(points)) > case.plan.tolerances.hidden_fraction
        found += [(abs(float(x) - element.offset_m), holdout, float(x)) for x in offsets[covered]]
    if not found:
        return None
    _, holdout, offset_m = min(found, key=lambda place: place[0])
    return holdout, (offset_m, element.distance_m)


def _in_front(case: Case, element: PlacedElement) -> list[Holdout]:
    return [holdout for holdout in case.plan.holdouts if holdout.distance_m < element.distance_m]


def _covered(case: Case, holdout: Holdout, pixel: Point) -> bool:
    if case.covers is None or not inside_frame(case.plan, pixel):
        return False
    return float(case.covers(holdout.name, np.array([pixel]))[0]) > case.plan.tolerances.hidden_fraction
