"""Rules about light: it falls on an element from another side; a shadow reaches what it cannot fall on."""

from collections.abc import Iterator
from math import hypot

import numpy as np

from compositor.audit.consequences import brought_about, move
from compositor.audit.findings import Case, Finding, Remedy, ranked
from compositor.audit.sight import is_flipped, moved, seen_hull
from compositor.audit.sunside import light_off_deg, plate_sun
from compositor.audit.wording import place, plain, setting
from compositor.base.arrays import Floats, apply_homography
from compositor.base.errors import GeometryError
from compositor.geometry.sun import Sun, shadow_tip
from compositor.plan.model import Holdout, PlacedElement, Plan, Point

_COVERED = 0.5  # by eye: a holdout is where its matte covers more than half
_ABOVE_GROUND_M = 0.1  # how high over the ground a holdout is looked for
_SAMPLES = 41
_TRIES = 40


def light_side(case: Case, element: PlacedElement) -> Iterator[Finding]:
    """The light that an element says it was photographed in, against the plate's where it stands."""
    plan, limits = case.plan, case.plan.tolerances
    found = light_off_deg(plan, element)
    if found is None or (abs(found[0]) <= limits.light_azimuth_deg and abs(found[1]) <= limits.light_elevation_deg):
        return
    aside, above = found
    told = []
    if abs(aside) > limits.light_azimuth_deg:
        told.append(f"{plain(abs(aside))}° too far from the {'left' if aside > 0 else 'right'}")
    if abs(above) > limits.light_elevation_deg:
        told.append(f"{plain(abs(above))}° too {'low' if above > 0 else 'high'}")
    yield Finding(
        "light-from-another-side",
        "warning",
        element.name,
        f"The light in {element.name}'s photograph comes {' and '.join(told)} for this place in the plate.",
        ranked(
            [
                _mirrored(plan, element),
                Remedy(
                    f"Photograph it again in the plate's light: `compositor brief SCENE {element.name}` says where the "
                    "sun has to stand.",
                    change=9.0,
                ),
            ]
        ),
        f"light {' and '.join(told)}",
    )


def _mirrored(plan: Plan, element: PlacedElement) -> Remedy | None:
    after, limits = moved(plan, element, (element.offset_m, element.distance_m), flip=True), plan.tolerances
    found = None if after is None else light_off_deg(plan, after)
    if after is None or found is None:
        return None
    if abs(found[0]) > limits.light_azimuth_deg or abs(found[1]) > limits.light_elevation_deg:
        return None
    told, weight = brought_about(plan, element, after)
    return Remedy(
        f"Mirror it left to right, which leaves {plain(abs(found[0]), 0)}°; mind lettering and buttons{told}.",
        (setting(element, "flip", "true" if is_flipped(after) else "false"),),
        True,
        0.15 + weight,
    )


def shadow_on_holdout(case: Case, element: PlacedElement) -> Iterator[Finding]:
    """A shadow that reaches the foot of a holdout, which it would climb and does not."""
    for holdout in case.plan.holdouts:
        if not _meets(case, element, holdout):
            continue
        yield Finding(
            "shadow-on-holdout",
            "warning",
            element.name,
            f"The shadow of {element.name} reaches the foot of {holdout.name}, {holdout.distance_m:.2f} m away, and "
            "would have to climb it; shadows are drawn on the ground only.",
            ranked(
                [
                    _clear(case, element, holdout),
                    Remedy(
                        "Leave its shadow out.",
                        (setting(element, "shadow", "{cast: false, contact: true}"),),
                        True,
                        0.6,
                    ),
                ]
            ),
            f"shadow reaches {holdout.name}",
        )


def shadow_outline(plan: Plan, element: PlacedElement, sun: Sun) -> Floats | None:
    """The ground points (n, 2) that bound an upright element's shadow, not in order."""
    hull = seen_hull(element)
    if len(hull) == 0 or element.stance != "upright":
        return None
    in_plane = apply_homography(np.linalg.inv(element.plane.homography(plan.plate.camera)), hull)
    points = []
    for s_m, z_m in in_plane:
        x, y, z = element.plane.point_m(float(s_m), max(float(z_m), 0.0))
        points.append(shadow_tip((float(x), float(y), float(z)), sun))
    return np.array(points)


def _throws(plan: Plan, element: PlacedElement) -> bool:
    return plan.light is not None and any(s.element == element.name and s.cast for s in plan.light.shadows)


def _meets(case: Case, element: PlacedElement, holdout: Holdout) -> bool:
    """Whether the shadow crosses the holdout's distance where the holdout stands, and by more than a rim."""
    plan, sun = case.plan, plate_sun(case.plan)
    if sun is None or case.covers is None or not _throws(plan, element):
        return False
    outline = shadow_outline(plan, element, sun)
    rim_m = plan.tolerances.shadow_m if element.distance_m < holdout.distance_m else -plan.tolerances.shadow_m
    span = None if outline is None else _span_at(outline, holdout.distance_m + rim_m)
    if span is None:
        return False
    offsets = np.linspace(span[0], span[1], _SAMPLES)
    foot = np.column_stack([offsets, np.full(_SAMPLES, holdout.distance_m), np.full(_SAMPLES, _ABOVE_GROUND_M)])
    try:
        pixels = plan.plate.camera.project(foot)
    except GeometryError:
        return False
    return bool(np.any(case.covers(holdout.name, pixels) > _COVERED))


def _span_at(points: Floats, distance_m: float) -> tuple[float, float] | None:
    """From where to where the convex hull of ground points runs at a distance; None where it does not reach."""
    found: list[float] = []
    for first in points:
        for second in points:
            low, high = first[1] - distance_m, second[1] - distance_m
            if low <= 0.0 <= high and low != high:
                found.append(float(first[0] + low / (low - high) * (second[0] - first[0])))
    return (min(found), max(found)) if found else None


def _clear(case: Case, element: PlacedElement, holdout: Holdout) -> Remedy | None:
    """The smallest step to the side or in depth after which its shadow stays clear."""
    for step in range(1, _TRIES):
        way_m = 0.05 * step * max(1.0, element.height_m)
        for dx, dy in ((way_m, 0.0), (-way_m, 0.0), (0.0, way_m), (0.0, -way_m)):
            ground_m: Point = (element.offset_m + dx, element.distance_m + dy)
            after = moved(case.plan, element, ground_m)
            if after is not None and not _meets(case, after, holdout):
                return move(case.plan, element, after, f"Move it by {hypot(dx, dy):.2f} m, to {place(ground_m)}")
    return None
