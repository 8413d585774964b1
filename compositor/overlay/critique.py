"""Things that are in the picture already, judged: drawn like elements, with a ring where the top belongs."""

from collections.abc import Sequence
from dataclasses import replace
from math import hypot

import numpy as np

from compositor.audit.findings import Finding
from compositor.audit.marks import right_top_px
from compositor.geometry.planes import facing
from compositor.overlay.boxes import Box
from compositor.overlay.layout import Subject
from compositor.overlay.marks import Mark as Drawn
from compositor.overlay.marks import Ring, Stroke
from compositor.overlay.style import Kind, Scale, TextSize
from compositor.overlay.wording import TextLine, finding_lines, metres, wrapped
from compositor.plan.model import Mark, PlacedElement, Plan, Source

_LABEL_WIDTH = 150.0  # thousandths of the diagonal, as of elements
_RING = 3.4
_HORIZON = 20.0  # half the length of a piece of its own horizon


def judged(plan: Plan, mark: Mark, findings: Sequence[Finding], scale: Scale) -> Subject:
    """A mark as the overlay sees an element, with words of its own."""
    subject = Subject.of(_as_element(mark), plan.plate.camera, [], scale)
    own = [finding for finding in findings if finding.element == mark.name]
    lines = [
        TextLine(mark.name, TextSize.TITLE),
        TextLine(f"{metres(mark.ground_m[1])} away, {metres(mark.height_m)} high"),
        *finding_lines(own),
    ]
    top, outline = right_top_px(plan, mark), subject.outline
    if top is not None:
        lines.append(TextLine("ring: where its top belongs", TextSize.SMALL))
        ring = Box.around(np.array([top]), scale.px(_RING))
        corners = np.vstack([outline.corners, ring.corners])
        outline = Box.around(corners)
    return replace(subject, lines=wrapped(lines, scale.px(_LABEL_WIDTH), scale), outline=outline)


def judged_marks(plan: Plan, mark: Mark, scale: Scale) -> tuple[Drawn, ...]:
    """Where the top belongs, and a piece of its own horizon."""
    found: list[Drawn] = []
    top = right_top_px(plan, mark)
    if top is not None:
        found += [Ring(Kind.ELEMENT, top, scale.px(_RING)), Stroke(Kind.ELEMENT, mark.top_px, top, width_ratio=0.5)]
    if mark.own_horizon_row_px is not None:
        (u, _), row, half = mark.contact_px, mark.own_horizon_row_px, scale.px(_HORIZON)
        found.append(Stroke(Kind.OWN_HORIZON, (u - half, row), (u + half, row), dashed=True))
    return tuple(found)


def _as_element(mark: Mark) -> PlacedElement:
    """An element that lies where the thing is already: its own pixels are the plate's."""
    (u, v), (top_u, top_v) = mark.contact_px, mark.top_px
    half = 0.15 * hypot(top_u - u, top_v - v)
    left, right = min(u, top_u) - half, max(u, top_u) + half
    return PlacedElement(
        name=mark.name,
        source=Source(""),
        stance="upright",
        homography=((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
        plane=facing(mark.ground_m),
        distance_m=mark.ground_m[1],
        offset_m=mark.ground_m[0],
        raise_m=0.0,
        contact_px=mark.contact_px,
        top_px=mark.top_px,
        own_size_px=(1, 1),
        own_hull_px=((left, top_v), (right, top_v), (right, v), (left, v)),
        own_contact_px=mark.contact_px,
        own_top_px=mark.top_px,
        own_camera=None,
        scale_ratio=1.0,
        enlargement_ratio=1.0,
        height_m=mark.height_m,
        camera_height_m=0.0,
        horizon_gap_px=0.0,
        view_elevation_mismatch_deg=0.0,
        view_azimuth_mismatch_deg=0.0,
        own_distance_m=None,
        stated_height_m=None,
        stated_camera_height_m=None,
        artwork_m=None,
        plus_minus={},
        assumed=(),
    )
