"""Rules about horizons: apart from the plate's, or rolled in another way than stated."""

from collections.abc import Iterator
from math import atan2, degrees, hypot, radians, tan

import numpy as np

from compositor.audit.consequences import move
from compositor.audit.findings import Case, Finding, Remedy, ranked
from compositor.audit.sight import (
    depression_deg,
    elevation_off_deg,
    horizon_gap_px,
    horizons_meet,
    horizons_would_meet,
    moved,
    top_off_deg,
)
from compositor.audit.ways import other_photographs
from compositor.audit.wording import place, plain, setting
from compositor.geometry.camera import Camera
from compositor.plan.model import PlacedElement, Plan, Point

_PLACES = 25  # looked at between the nearest and the farthest where its foot fits


def horizon_gap(case: Case, element: PlacedElement) -> Iterator[Finding]:
    """Its own horizon, carried into the plate, against the plate's, where that shows at its top.

    A foot may fit and the top not: a low thing hides horizons that are far apart, a tall one does not.
    """
    plan, own = case.plan, element.own_camera
    gap_px = None if own is None else horizon_gap_px(plan, element, own)
    if own is None or gap_px is None or horizons_meet(plan, element):
        return
    top_deg = top_off_deg(plan, element, own)
    way, stood = ("below", "lower") if gap_px > 0 else ("above", "higher")
    yield Finding(
        "horizons-apart",
        "warning",
        element.name,
        f"The horizon of {element.name}'s photograph, the eye level of its camera at {own.height_m:.2f} m, comes to "
        f"lie {abs(gap_px):.0f} px {way} the plate's at {plan.plate.camera.height_m:.2f} m: its camera stood {stood}, "
        f"and its top is seen {plain(abs(top_deg))}° too {'little' if top_deg > 0 else 'much'} from above.",
        ranked(
            [
                _plate_height(plan, own),
                _where_it_fits(plan, element, own),
                *other_photographs(plan, element, proven=False),
            ]
        ),
        f"horizon {abs(gap_px):.0f} px {way} the plate's",
    )


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


def _where_it_fits(plan: Plan, element: PlacedElement, own: Camera) -> Remedy | None:
    """The nearest place on the same line of sight where both its foot and its top are seen as they were."""
    above_m, reach_m = plan.plate.camera.height_m - element.raise_m, hypot(element.offset_m, element.distance_m)
    own_deg, limit_deg = depression_deg(own, element.own_contact_px), 0.99 * plan.tolerances.view_elevation_deg
    if above_m <= 0.0 or own_deg + limit_deg <= 0.1 or element.stance != "upright":
        return None
    shares = [above_m / tan(radians(deg)) / reach_m for deg in (own_deg + limit_deg, max(own_deg - limit_deg, 0.1))]
    for share in sorted(np.geomspace(shares[0], shares[1], _PLACES), key=lambda share: abs(float(np.log(share)))):
        ground_m = (element.offset_m * float(share), element.distance_m * float(share))
        if not horizons_would_meet(plan, element, own, ground_m):
            continue
        after = moved(plan, element, ground_m)
        off_deg = None if after is None else elevation_off_deg(plan, after)
        fits = off_deg is not None and abs(off_deg) <= plan.tolerances.view_elevation_deg
        if after is not None and fits and horizons_meet(plan, after):
            gap_px = horizon_gap_px(plan, after, own)
            apart = "" if gap_px is None else f" and the horizons are {abs(gap_px):.0f} px apart"
            return move(
                plan,
                element,
                after,
                f"Move it to {place(ground_m)}, where both its foot and its top fit{apart}",
            )
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
        f"An edge of {element.name} that is upright in the world leans {plain(abs(lean_deg), 2)}° to the {way}: its "
        "camera was held at another slant than stated.",
        ranked([_rotated(element, own, roll_deg), *other_photographs(case.plan, element, proven=False)]),
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
        f"State a roll of {plain(roll_deg, 2)}° for its camera, which turns it by {plain(abs(turn), 2)}° "
        f"{'clockwise' if turn > 0 else 'anticlockwise'}.",
        (
            setting(element, "camera.horizon", f"{{pitch: {plain(own.pitch_deg, 4)}}}"),
            setting(element, "camera.roll", plain(roll_deg, 4)),
        ),
        True,
        0.05,
    )
