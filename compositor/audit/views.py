"""Rules about where the camera stood: seen from another height, from another side, horizons apart, roll left over."""

from collections.abc import Iterator
from math import atan2, ceil, degrees, hypot, radians, tan

import numpy as np

from compositor.audit.findings import Case, Finding, Remedy, Severity, lowered, ranked
from compositor.audit.hiding import hiding_place, is_seen
from compositor.audit.sight import (
    azimuth_deg,
    azimuth_off_deg,
    change_of,
    depression_deg,
    elevation_off_deg,
    inside_frame,
    moved,
    own_azimuth_deg,
)
from compositor.audit.wording import ground_setting, place, plain, setting, sideways
from compositor.geometry.camera import Camera
from compositor.plan.model import Alternative, PlacedElement, Plan, Point

_WORST_CHANGE = 9.0
_ANOTHER_PICTURE = 0.6  # by eye: another photograph changes the picture more than a move by half its size


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
            [*_nearer_or_farther(plan, element, off), *_others(plan, element), _hide(case, element), _again(element)]
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


def _nearer_or_farther(plan: Plan, element: PlacedElement, off: float) -> Iterator[Remedy]:
    """To the distance where its photograph fits, by itself or with the plate moved under it, or on the way there."""
    limit_deg = plan.tolerances.view_elevation_deg
    enough_deg = 0.95 * limit_deg if off > 0.0 else -0.95 * limit_deg
    for spare_deg in (enough_deg, 0.0):
        ground_m = fitting_ground(plan, element, spare_deg)
        after = None if ground_m is None else moved(plan, element, ground_m)
        rest = None if after is None else elevation_off_deg(plan, after)
        if ground_m is None or after is None or rest is None or abs(rest) > limit_deg:
            continue
        change, inside = change_of(plan, element, after), _stays_in_frame(plan, element, after)
        size = after.enlargement_ratio / max(element.enlargement_ratio, 1e-9)
        fits = "fits" if spare_deg == 0.0 else f"nearly fits ({plain(abs(rest))}° are left)"
        yield Remedy(
            f"Move it to {place(ground_m)}, where this photograph {fits}; it is then drawn at {size:.0%} of its "
            f"present size{'' if inside else ', and its foot leaves the frame'}.",
            (ground_setting(element, ground_m),),
            True,
            change + (0.0 if inside else 0.5),
        )
        if spare_deg == 0.0:
            yield _plate_moved(plan, element, after, change)


def _stays_in_frame(plan: Plan, before: PlacedElement, after: PlacedElement) -> bool:
    return inside_frame(plan, after.contact_px) or not inside_frame(plan, before.contact_px)


def _plate_moved(plan: Plan, element: PlacedElement, after: PlacedElement, change: float) -> Remedy:
    """The same with its foot kept in its row: the plate goes up or down under it, and a strip is left to fill."""
    rows = after.contact_px[1] - element.contact_px[1]
    edge, extension = ("bottom", plan.plate.extension.bottom) if rows > 0 else ("top", plan.plate.extension.top)
    strip = ceil(abs(rows))
    where = place((after.offset_m, after.distance_m))
    return Remedy(
        f"{'Raise' if rows > 0 else 'Lower'} the plate by {abs(rows):.0f} px under it, so that its foot keeps its row "
        f"and stands {where}; this leaves a strip of {strip} px to fill at the {edge}.",
        (
            ground_setting(element, (after.offset_m, after.distance_m)),
            (f"plate.extend.{edge}", str(extension + strip)),
        ),
        True,
        change + 0.1 + strip / plan.plate.size_px[1],
    )


def _others(plan: Plan, element: PlacedElement) -> Iterator[Remedy]:
    """Other photographs of it that were given, the best first."""
    camera, limits = plan.plate.camera, plan.tolerances
    plate_deg, plate_aside_deg = depression_deg(camera, element.contact_px), azimuth_deg(camera, element.contact_px)

    def fit(other: Alternative) -> tuple[float, float]:
        return abs(plate_deg - other.depression_deg), abs(plate_aside_deg - other.azimuth_deg)

    for rank, other in enumerate(sorted(element.alternatives, key=fit)):
        off, aside = fit(other)
        good = off <= limits.view_elevation_deg and aside <= limits.view_azimuth_deg
        yield Remedy(
            f"Use {other.name} instead, which was seen {plain(off)}° off in height and {plain(aside)}° off sideways "
            f"({'it fits' if good else 'still not enough'}).",
            tuple(setting(element, key, value) for key, value in other.settings),
            good,
            _ANOTHER_PICTURE + 0.01 * rank,
        )


def _hide(case: Case, element: PlacedElement) -> Remedy | None:
    """Out of sight with its foot, where the difference shows most."""
    if not is_seen(case, element):
        return None
    found = hiding_place(case, element)
    if found is not None:
        holdout, ground_m = found
        after = moved(case.plan, element, ground_m)
        if after is not None:
            return Remedy(
                f"Move it sideways to {place(ground_m)}, behind {holdout.name}: with its foot hidden the difference "
                "shows less.",
                (ground_setting(element, ground_m),),
                False,
                change_of(case.plan, element, after),
            )
    return Remedy(
        f"Crop the picture above row {element.contact_px[1]:.0f}, or let something stand in front of its foot: with "
        "its foot hidden the difference shows less.",
        change=1.0,
    )


def _again(element: PlacedElement) -> Remedy:
    return Remedy(
        f"Photograph it again to fit this place: `compositor brief SCENE {element.name}` says from where.",
        change=_WORST_CHANGE,
    )


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
        ranked([_sideways(plan, element, own_deg), _flipped(plan, element), *_others(plan, element), _again(element)]),
        f"seen {plain(abs(off))}° from another side",
    )


def _sideways(plan: Plan, element: PlacedElement, own_deg: float) -> Remedy | None:
    """To where it stands as far off the axis as it stood, at the same distance from the camera."""
    reach_m = hypot(element.offset_m, element.distance_m)
    ground_m = (reach_m * float(np.sin(radians(own_deg))), reach_m * float(np.cos(radians(own_deg))))
    after = moved(plan, element, ground_m)
    off = None if after is None else azimuth_off_deg(plan, after)
    if after is None or off is None or abs(off) > plan.tolerances.view_azimuth_deg:
        return None
    gone = "" if inside_frame(plan, after.contact_px) else "; that is outside the frame"
    return Remedy(
        f"Move it to {place(ground_m)}, where it is seen from the side that its photograph shows{gone}.",
        (ground_setting(element, ground_m),),
        True,
        change_of(plan, element, after) + (0.5 if gone else 0.0),
    )


def _flipped(plan: Plan, element: PlacedElement) -> Remedy | None:
    after = moved(plan, element, (element.offset_m, element.distance_m), flip=True)
    off = None if after is None else azimuth_off_deg(plan, after)
    if after is None or off is None or abs(off) > plan.tolerances.view_azimuth_deg:
        return None
    flip = "true" if after.plane.right[0] < 0.0 else "false"
    return Remedy(
        f"Mirror it left to right, which leaves {plain(abs(off))}°; mind lettering and buttons.",
        (setting(element, "flip", flip),),
        True,
        0.15,
    )


def horizon_gap(case: Case, element: PlacedElement) -> Iterator[Finding]:
    """Its own horizon, carried into the plate, against the plate's, where that shows at its top.

    A foot may fit and the top not: a low thing hides horizons that are far apart, a tall one does not.
    """
    plan, own, limits = case.plan, element.own_camera, case.plan.tolerances
    if own is None or element.horizon_gap_px is None or element.stance == "flat":
        return
    gap_px, top_deg = _gap_px(plan, element, own), _top_off_deg(plan, element, own)
    allowed_px = limits.horizon_gap_fraction * plan.plate.size_px[1]
    if abs(gap_px) <= allowed_px or abs(top_deg) <= limits.view_elevation_deg:
        return
    way, stood = ("below", "lower") if gap_px > 0 else ("above", "higher")
    yield Finding(
        "horizons-apart",
        "warning",
        element.name,
        f"The horizon of {element.name}'s photograph, the eye level of its camera at {own.height_m:.2f} m, comes to "
        f"lie {abs(gap_px):.0f} px {way} the plate's at {plan.plate.camera.height_m:.2f} m: its camera stood {stood}, "
        f"and its top is seen {plain(abs(top_deg))}° too {'little' if top_deg > 0 else 'much'} from above.",
        ranked([_plate_height(plan, own), _farther(plan, element, own), *_others(plan, element), _again(element)]),
        f"horizon {abs(gap_px):.0f} px {way} the plate's",
    )


def _top_off_deg(plan: Plan, element: PlacedElement, own: Camera) -> float:
    return depression_deg(plan.plate.camera, element.top_px) - depression_deg(own, element.own_top_px)


def _gap_px(plan: Plan, element: PlacedElement, own: Camera) -> float:
    """Rows from the plate's horizon down to the point of the element at its own camera's height."""
    point = np.array(element.plane.origin_m) + [0.0, 0.0, own.height_m]
    u, v = plan.plate.camera.project([point])[0]
    return float(v) - plan.plate.camera.horizon_row(float(u))


def _plate_height(plan: Plan, own: Camera) -> Remedy | None:
    """Where the plate's camera height was only assumed, the element's may be as good."""
    if not any(text.startswith("height") for text in plan.plate.assumed):
        return None
    return Remedy(
        f"The plate's camera height was assumed; if its camera stood at {own.height_m:.2f} m, say so.",
        (("plate.camera.height", f"{own.height_m:.4f}"),),
        True,
        0.3,
    )


def _farther(plan: Plan, element: PlacedElement, own: Camera) -> Remedy | None:
    """Farther away the same difference is fewer pixels."""
    allowed_px = plan.tolerances.horizon_gap_fraction * plan.plate.size_px[1]
    share = abs(_gap_px(plan, element, own)) / allowed_px
    for _ in range(20):
        ground_m = (element.offset_m * share, element.distance_m * share)
        after = moved(plan, element, ground_m)
        if after is None:
            return None
        gap_px = abs(_gap_px(plan, after, own))
        if gap_px <= allowed_px * 0.999:
            return Remedy(
                f"Move it to {place(ground_m)}, where the same difference is {gap_px:.0f} px.",
                (ground_setting(element, ground_m),),
                True,
                change_of(plan, element, after),
            )
        share *= 1.02 * gap_px / allowed_px
    return None


def roll(case: Case, element: PlacedElement) -> Iterator[Finding]:
    """An edge that is upright in the world, in its own picture, against the upright of its own camera."""
    own, edge = element.own_camera, element.plumb_px
    if own is None or edge is None or element.stance == "flat":
        return
    lean_deg = _lean_deg(own, edge)
    if abs(lean_deg) <= case.plan.tolerances.roll_deg:
        return
    way = "right" if lean_deg > 0 else "left"
    roll_deg = own.roll_deg
    for _ in range(20):  # the upright's own direction turns with the camera, nearly by as much
        roll_deg -= _lean_deg(_rolled(own, roll_deg), edge)
    yield Finding(
        "roll-left-over",
        "warning",
        element.name,
        f"An edge of {element.name} that is upright in the world leans {plain(abs(lean_deg))}° to the {way}: its "
        "camera was held at another slant than stated.",
        ranked([_rotated(element, own, roll_deg), _again(element)]),
        f"leans {plain(abs(lean_deg))}° to the {way}",
    )


def _lean_deg(own: Camera, edge: tuple[Point, Point]) -> float:
    """How far an edge leans clockwise from the direction in which uprights run through its middle."""
    (u1, v1), (u2, v2) = sorted(edge, key=lambda end: -end[1])  # from its lower to its upper end
    middle = np.array([(u1 + u2) / 2.0, (v1 + v2) / 2.0])
    below = own.direction_px([0.0, 0.0, -1.0])  # where uprights meet
    up = -(below[:2] - below[2] * middle)
    found = degrees(atan2(u2 - u1, v1 - v2) - atan2(float(up[0]), -float(up[1])))
    return (found + 90.0) % 180.0 - 90.0


def _rolled(own: Camera, roll_deg: float) -> Camera:
    return Camera(own.focal_px, own.principal_px, own.size_px, own.pitch_deg, roll_deg, own.height_m)


def _rotated(element: PlacedElement, own: Camera, roll_deg: float) -> Remedy | None:
    if element.source.outline_px is not None or abs(roll_deg) > 45.0:
        return None
    turn = roll_deg - own.roll_deg
    return Remedy(
        f"State a roll of {plain(roll_deg, 2)}° for its camera, which turns it by {plain(abs(turn))}° "
        f"{'clockwise' if turn > 0 else 'anticlockwise'}.",
        (
            setting(element, "camera.horizon", f"{{pitch: {plain(own.pitch_deg, 4)}}}"),
            setting(element, "camera.roll", plain(roll_deg, 4)),
        ),
        True,
        0.05,
    )
