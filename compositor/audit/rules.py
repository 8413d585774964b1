"""From a plan to findings. Angles and heights are found again from pixels and rays, not taken from the solver, so
that a slip in placing shows up here as a finding."""

from collections.abc import Iterator, Sequence
from math import asin, atan2, degrees, sqrt

import numpy as np

from compositor.audit.findings import Finding, Severity
from compositor.base.tolerances import HOUSE
from compositor.geometry.camera import Camera
from compositor.geometry.heights import upright_height
from compositor.plan.model import PlacedElement, Plan

SEVERITIES: tuple[Severity, ...] = ("info", "warning", "error")


def audit(plan: Plan) -> tuple[Finding, ...]:
    """All findings of a plan: the plate's first, then each element's in draw order."""
    found = [_assumed(None, text) for text in plan.plate.assumed]
    for element in plan.elements:
        found.extend(_assumed(element.name, text) for text in element.assumed)
        for rule in (_heights, _elevation, _azimuth, _enlargement, _frame, _stretch):
            found.extend(rule(plan, element))
    return tuple(found)


def at_or_above(findings: Sequence[Finding], severity: str) -> bool:
    """Whether any finding is at least that severe."""
    least = SEVERITIES.index(severity)
    return any(SEVERITIES.index(finding.severity) >= least for finding in findings)


def _assumed(element: str | None, text: str) -> Finding:
    return Finding("assumed", "info", element, f"{element or 'The plate'}: {text}.", None)


def _heights(plan: Plan, element: PlacedElement) -> Iterator[Finding]:
    """A stated real height against a stated camera height: both cannot be right if they imply other sizes."""
    stated, stated_camera, own = element.stated_height_m, element.stated_camera_height_m, element.own_camera
    if stated is None or stated_camera is None or own is None or element.stance == "flat":
        return
    implied_m = upright_height(own.at_height(stated_camera), element.own_contact_px, element.own_top_px)
    off = implied_m / stated - 1.0
    if abs(off) <= HOUSE.height_fraction:
        return
    yield Finding(
        "heights-disagree",
        "warning",
        element.name,
        f"{element.name} is stated to be {stated:.2f} m high, but a camera at {stated_camera:.2f} m saw something "
        f"{implied_m:.2f} m high ({off:+.1%}). The stated height was used, so its camera stood at "
        f"{stated_camera / (1.0 + off):.2f} m.",
        f"If the camera height is right, set elements.{element.name}.height={implied_m:.2f}; if the height is right, "
        f"set elements.{element.name}.camera.height={stated_camera / (1.0 + off):.2f}.",
    )


def _depression_deg(camera: Camera, pixel: tuple[float, float]) -> float:
    ray = camera.rays(pixel)[0]
    return degrees(-asin(float(ray[2] / np.linalg.norm(ray))))


def _azimuth_deg(camera: Camera, pixel: tuple[float, float]) -> float:
    ray = camera.rays(pixel)[0]
    return degrees(atan2(float(ray[0]), float(ray[1])))


def _elevation(plan: Plan, element: PlacedElement) -> Iterator[Finding]:
    """How much more or less from above the plate's camera looks down on it than its own camera did."""
    own = element.own_camera
    if own is None:
        return
    plate_deg = _depression_deg(plan.plate.camera, element.contact_px)
    own_deg = _depression_deg(own, element.own_contact_px)
    off = plate_deg - own_deg
    if abs(off) <= HOUSE.view_elevation_deg:
        return
    way = "more" if off > 0 else "less"
    remedy = None
    if element.own_distance_m is not None and element.own_distance_m > abs(element.offset_m):
        # The distance that fits is along the line of sight; a scene's is straight ahead.
        ahead_m = sqrt(element.own_distance_m**2 - element.offset_m**2)
        remedy = f"It fits {ahead_m:.1f} m away (set elements.{element.name}.ground.distance={ahead_m:.2f})."
    yield Finding(
        "seen-from-another-height",
        "error" if abs(off) > HOUSE.view_elevation_error_deg else "warning",
        element.name,
        f"The plate looks down on {element.name} at {plate_deg:.1f}°, its own photograph at {own_deg:.1f}°: it is seen "
        f"{abs(off):.1f}° {way} from above than the place asks for, which no scaling can mend.",
        remedy,
    )


def _azimuth(plan: Plan, element: PlacedElement) -> Iterator[Finding]:
    """The same around the vertical: how far to the side it stands here and stood there."""
    own = element.own_camera
    if own is None or element.stance == "wall":
        return
    own_deg = _azimuth_deg(own, element.own_contact_px)
    plate_deg = _azimuth_deg(plan.plate.camera, element.contact_px)
    off = plate_deg - own_deg
    if abs(off) > HOUSE.view_azimuth_deg:
        yield Finding(
            "seen-from-another-side",
            "warning",
            element.name,
            f"{element.name} stands {plate_deg:+.1f}° off the plate's axis and stood {own_deg:+.1f}° off its own: it "
            f"shows {abs(off):.1f}° of another side. It looks turned by as much.",
            f"Move it sideways (elements.{element.name}.ground.offset) or take a photograph that is turned to match.",
        )


def _enlargement(plan: Plan, element: PlacedElement) -> Iterator[Finding]:
    if element.enlargement_ratio > HOUSE.enlargement_ratio:
        yield Finding(
            "enlarged",
            "warning",
            element.name,
            f"{element.name} is enlarged to {element.enlargement_ratio:.0%} of its own pixels and will look soft.",
            "Use a larger file of it, place it farther away, or deliver a smaller picture.",
        )


def _frame(plan: Plan, element: PlacedElement) -> Iterator[Finding]:
    (u, v), (width, height) = element.contact_px, plan.plate.size_px
    if not (0.0 <= u <= width and 0.0 <= v <= height):
        over = max(-u, u - width, -v, v - height)
        yield Finding(
            "contact-outside-frame",
            "warning",
            element.name,
            f"{element.name} touches the ground {over:.0f} px outside the frame, so nobody sees it stand.",
            "Place it farther away or nearer to the middle, or extend the plate on that side.",
        )


def _stretch(plan: Plan, element: PlacedElement) -> Iterator[Finding]:
    if element.own_camera is not None or element.artwork_m is None:
        return
    (width, height), (width_m, height_m) = element.own_size_px, element.artwork_m
    off = (width / height) / (width_m / height_m) - 1.0
    if abs(off) > HOUSE.stretch_fraction:
        yield Finding(
            "artwork-stretched",
            "warning",
            element.name,
            f"{element.name} is {width} × {height} px but shall measure {width_m:g} × {height_m:g} m: it is stretched "
            f"by {abs(off):.1%}.",
            f"Set elements.{element.name}.size=[{width_m:g}, {width_m * height / width:.4g}].",
        )
