"""Rules about size: heights that contradict each other or the kind, pixels enlarged, artwork stretched."""

from collections.abc import Iterator
from math import floor

import numpy as np

from compositor.audit.consequences import move
from compositor.audit.findings import Case, Finding, Remedy, ranked
from compositor.audit.sight import delivery_scale, enlargement_ratio, enlargement_under, moved, scale_of
from compositor.audit.wording import place, setting
from compositor.base.known_sizes import known_size
from compositor.geometry.heights import upright_height
from compositor.plan.model import PlacedElement, Plan

_TALL_M = 30.0  # by eye: what is placed in a picture is rarely as high
_LEAST_SHARE = 0.2  # by eye: a picture or a thing made smaller than that is another one
_SOFTEST = 1.001  # what rounding to whole pixels may leave


def heights(case: Case, element: PlacedElement) -> Iterator[Finding]:
    """A stated real height against a stated camera height: both cannot be right if they imply other sizes."""
    stated, stated_camera, own = element.stated_height_m, element.stated_camera_height_m, element.own_camera
    if stated is None or stated_camera is None or own is None or element.stance == "flat":
        return
    implied_m = upright_height(own.at_height(stated_camera), element.own_contact_px, element.own_top_px)
    off = implied_m / stated - 1.0
    if abs(off) <= case.plan.tolerances.height_fraction:
        return
    camera_m = stated_camera / (1.0 + off)
    yield Finding(
        "heights-disagree",
        "warning",
        element.name,
        f"{element.name} is stated to be {stated:.2f} m high, but a camera {stated_camera:.2f} m above the ground saw "
        f"something {implied_m:.2f} m high, {abs(off):.0%} {'more' if off > 0 else 'less'}. The stated height was "
        f"used, so its camera stood {camera_m:.2f} m high.",
        ranked(
            [
                Remedy(
                    f"If its height is right, state that its camera stood {camera_m:.2f} m high; nothing moves.",
                    (setting(element, "camera.height", f"{camera_m:.4f}"),),
                    True,
                    0.0,
                ),
                Remedy(
                    f"If its camera's height is right, state that it is {implied_m:.2f} m high; it is then drawn at "
                    f"{1.0 + off:.0%} of its present size.",
                    (setting(element, "height", f"{implied_m:.4f}"),),
                    True,
                    abs(off),
                ),
            ]
        ),
        f"stated {stated:.2f} m high, its camera says {implied_m:.2f} m",
    )


def kind(case: Case, element: PlacedElement) -> Iterator[Finding]:
    """Its height against published heights of what it claims to be."""
    if element.kind is None or element.stance == "flat":
        return
    known, allowed = known_size(element.kind), case.plan.tolerances.height_fraction
    low_m, high_m = known.low_m * (1.0 - allowed), known.high_m * (1.0 + allowed)
    if low_m <= element.height_m <= high_m:
        return
    share = known.typical_m / element.height_m
    typical = Remedy(
        f"State a height of {known.typical_m:.2f} m, which is usual; it is then drawn at {share:.0%} of its present "
        "size.",
        _typical(case.plan, element, known.typical_m, share),
        True,
        abs(1.0 - share),
    )
    meant = Remedy(
        "If it really is that size, leave out what kind it is.", (setting(element, "kind", "null"),), True, 9.0
    )
    yield Finding(
        "height-implausible",
        "warning",
        element.name,
        f"{element.name} would be {element.height_m:.2f} m high here; the usual height ({element.kind}) is "
        f"{known.usual} ({known.source}).",
        ranked([typical, meant]),
        f"{element.height_m:.2f} m is {'high' if element.height_m > high_m else 'low'} for kind {element.kind}",
    )


def _typical(plan: Plan, element: PlacedElement, typical_m: float, share: float) -> tuple[tuple[str, str], ...]:
    if element.artwork_m is not None:
        width_m, height_m = element.artwork_m
        return (setting(element, "size", f"[{width_m * share:.4f}, {height_m * share:.4f}]"),)
    if element.source.outline_px is not None:
        return (setting(element, "height", f"{typical_m:.4f}"),)
    return (setting(element, "height", f"{typical_m:.4f}"), setting(element, "camera.height", "null"))


def enlarged(case: Case, element: PlacedElement) -> Iterator[Finding]:
    """More pixels delivered than its picture has."""
    plan, limit = case.plan, case.plan.tolerances.enlargement_ratio
    delivered = enlargement_ratio(element) * delivery_scale(plan)
    if delivered <= limit * _SOFTEST:
        return
    yield Finding(
        "enlarged",
        "warning",
        element.name,
        f"{element.name} has too few pixels: it is delivered at {delivered:.0%} of its own size and will look soft.",
        ranked(
            [
                _centimetres(plan, element, limit),
                _away(plan, element),
                _smaller(plan, limit / delivered),
                _larger_file(delivered),
            ]
        ),
        f"enlarged to {delivered:.0%}",
    )


def _centimetres(plan: Plan, element: PlacedElement, limit: float) -> Remedy | None:
    """A height written in centimetres, where it makes the element many times larger than its pixels."""
    height_m, camera_m = element.stated_height_m, element.stated_camera_height_m
    if height_m is None or height_m < _TALL_M or enlargement_ratio(element) * delivery_scale(plan) < 10.0 * limit:
        return None
    settings = [setting(element, "height", f"{height_m / 100.0:.6g}")]
    if camera_m is not None and camera_m >= _TALL_M:
        settings.append(setting(element, "camera.height", f"{camera_m / 100.0:.6g}"))
    in_plane = element.plane.homography(plan.plate.camera)
    matrix = in_plane @ np.diag([0.01, 0.01, 1.0]) @ np.linalg.inv(in_plane) @ element.homography_matrix
    after = enlargement_under(matrix, element) * delivery_scale(plan)
    text = f"If its height was meant in centimetres, state {height_m / 100.0:.2f} m: lengths in a scene are metres."
    return Remedy(text, tuple(settings), after <= limit, 0.0)


def _away(plan: Plan, element: PlacedElement) -> Remedy | None:
    """To the distance where its pixels are enough."""
    limit = plan.tolerances.enlargement_ratio / delivery_scale(plan)
    share = element.enlargement_ratio / limit
    if share * _LEAST_SHARE > 1.0:
        return None
    for _ in range(20):
        ground_m = (element.offset_m * share, element.distance_m * share)
        after = moved(plan, element, ground_m)
        if after is None:
            return None
        if after.enlargement_ratio <= limit:
            return move(plan, element, after, f"Move it to {place(ground_m)}, where its pixels are enough")
        share *= 1.01 * after.enlargement_ratio / limit
    return None


def _smaller(plan: Plan, share: float) -> Remedy | None:
    """Every delivery that is too large, at a size for which the pixels are enough."""
    if share < _LEAST_SHARE:
        return None
    largest = delivery_scale(plan) * share
    settings: list[tuple[str, str]] = []
    told = []
    for delivery in plan.deliveries:
        if scale_of(delivery) <= largest:
            continue
        width = max(1, floor(delivery.window_px[2] * largest))
        height = max(1, floor(delivery.window_px[3] * largest))
        told.append(f"{delivery.name} at {width} × {height} px")
        if not plan.deliveries_listed:
            settings.append(("deliveries", f"[{{name: {delivery.name}, size: [{width}, {height}]}}]"))
        else:
            settings += [
                (f"deliveries.{delivery.name}.aspect", "null"),
                (f"deliveries.{delivery.name}.size", f"[{width}, {height}]"),
            ]
    return Remedy(f"Deliver a smaller picture: {', '.join(told)}.", tuple(settings), True, 1.0 - share)


def _larger_file(delivered: float) -> Remedy:
    return Remedy(f"Use a file of it with {delivered:.1f} times as many pixels per side.", change=0.8)


def stretch(case: Case, element: PlacedElement) -> Iterator[Finding]:
    """Artwork whose metres have another shape than its pixels."""
    if element.own_camera is not None or element.artwork_m is None:
        return
    (width, height), (width_m, height_m) = element.own_size_px, element.artwork_m
    off = (width / height) / (width_m / height_m) - 1.0
    if abs(off) <= case.plan.tolerances.stretch_fraction:
        return
    as_wide, as_high = (
        (f"{width_m:g}", f"{width_m * height / width:.4g}"),
        (f"{height_m * width / height:.4g}", f"{height_m:g}"),
    )
    yield Finding(
        "artwork-stretched",
        "warning",
        element.name,
        f"{element.name} is {width} × {height} px but is to measure {width_m:g} × {height_m:g} m: it is stretched by "
        f"{abs(off):.1%}.",
        (
            _reshaped(element, "width", as_wide, abs(off)),
            _reshaped(element, "height", as_high, abs(off)),
        ),
        f"stretched by {abs(off):.1%}",
    )


def _reshaped(element: PlacedElement, kept: str, size: tuple[str, str], change: float) -> Remedy:
    told, words = " × ".join(size), ", ".join(size)
    return Remedy(f"Keep its {kept} and make it {told} m.", (setting(element, "size", f"[{words}]"),), True, change)
