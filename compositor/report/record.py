"""The record of a render or a check: what report.json holds, as plain data.

Every pixel position is in the full plate frame after extension.
"""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from compositor.audit.findings import Finding
from compositor.audit.marks import right_top_px
from compositor.base.json_text import json_text
from compositor.plan.cropped import delivered_px, delivery_camera, is_inside
from compositor.plan.model import Delivery, Mark, PlacedElement, PlacedGraphic, Plan, PlatePlan
from compositor.plan.outline import Box, box_around, outline_of


def record(
    plan: Plan,
    findings: Sequence[Finding],
    inputs: Sequence[Mapping[str, str]],
    versions: Mapping[str, str],
    timings_s: Mapping[str, float],
) -> dict[str, Any]:
    """One variant's record. inputs: path and content hash of every file read, paths as the scene writes them."""
    return {
        "title": plan.title,
        "plate": _plate(plan.plate),
        "elements": [_element(element, findings) for element in plan.elements],
        "marks": [_mark(plan, mark, findings) for mark in plan.marks],
        "holdouts": [{"name": h.name, "distance_m": h.distance_m} for h in plan.holdouts],
        "deliveries": [_delivery(plan, delivery) for delivery in plan.deliveries],
        "findings": [_finding(finding) for finding in findings],
        "timings_s": {key: round(value, 4) for key, value in timings_s.items()},
        "inputs": [dict(entry) for entry in inputs],
        "versions": dict(versions),
    }


def as_json(value: Mapping[str, Any]) -> str:
    """JSON text of a record: the same bytes for the same record."""
    return json_text(value) + "\n"


def _delivery(plan: Plan, delivery: Delivery) -> dict[str, Any]:
    """What a delivery shows. crop is in the full frame; camera, horizon and elements in the delivery's own pixels."""
    camera, width = delivery_camera(plan.plate.camera, delivery), float(delivery.size_px[0])
    return {
        "name": delivery.name,
        "format": delivery.format,
        "size": list(delivery.size_px),
        "crop": dict(zip(("left", "top", "width", "height"), delivery.window_px, strict=True)),
        "margin_short_px": delivery.margin_short_px,
        "rule_short_px": delivery.rule_short_px,
        "focal_px": camera.focal_px,
        "principal_px": list(camera.principal_px),
        "horizon": [[column, camera.horizon_row(column)] for column in (0.0, width)],
        "elements": [_delivered(element, delivery) for element in plan.elements if is_inside(element, delivery)],
        "graphics": [_graphic(graphic) for graphic in delivery.graphics],
    }


def _delivered(element: PlacedElement, delivery: Delivery) -> dict[str, Any]:
    contact, top = (delivered_px(point, delivery) for point in (element.contact_px, element.top_px))
    return {"name": element.name, "contact": list(contact), "top": list(top)}


def _graphic(graphic: PlacedGraphic) -> dict[str, Any]:
    return {
        "name": graphic.name,
        "box": list(graphic.box_px),
        "lines": [line.text for line in graphic.lines],
        "type_px": graphic.type_px,
    }


def _plate(plate: PlatePlan) -> dict[str, Any]:
    camera = plate.camera
    return {
        "size": list(plate.size_px),
        "focal_px": camera.focal_px,
        "principal_px": list(camera.principal_px),
        "pitch_deg": camera.pitch_deg,
        "roll_deg": camera.roll_deg,
        "camera_height_m": camera.height_m,
        "horizon": [list(point) for point in plate.horizon_px],
        "plus_minus": dict(plate.plus_minus),
        "assumed": list(plate.assumed),
    }


def _element(element: PlacedElement, findings: Sequence[Finding]) -> dict[str, Any]:
    return {
        "name": element.name,
        "stance": element.stance,
        "distance_m": element.distance_m,
        "offset_m": element.offset_m,
        "contact": list(element.contact_px),
        "top": list(element.top_px),
        "box": list(_box(element)),
        "homography": [list(row) for row in element.homography],
        "scale_ratio": element.scale_ratio,
        "height_m": element.height_m,
        "camera_height_m": element.camera_height_m,
        "horizon_gap_px": element.horizon_gap_px,
        "view_elevation_mismatch_deg": element.view_elevation_mismatch_deg,
        "view_azimuth_mismatch_deg": element.view_azimuth_mismatch_deg,
        "own_distance_m": element.own_distance_m,
        "enlargement_ratio": element.enlargement_ratio,
        "plus_minus": _plus_minus(element.plus_minus),
        "assumed": list(element.assumed),
        "findings": [_finding(finding) for finding in findings if finding.element == element.name],
    }


def _box(element: PlacedElement) -> Box:
    """Left, top, right, bottom of its outline; it may reach out of the frame."""
    outline = outline_of(element)
    if outline.is_whole and outline.box is not None:
        return outline.box
    with np.errstate(divide="ignore", invalid="ignore"):  # infinite on the level of the camera
        return box_around(outline.hull[:, :2] / outline.hull[:, 2:])


def _mark(plan: Plan, mark: Mark, findings: Sequence[Finding]) -> dict[str, Any]:
    top = right_top_px(plan, mark)
    return {
        "name": mark.name,
        "distance_m": mark.ground_m[1],
        "offset_m": mark.ground_m[0],
        "contact": list(mark.contact_px),
        "top": list(mark.top_px),
        "height_m": mark.height_m,
        "right_top": None if top is None else list(top),
        "findings": [_finding(finding) for finding in findings if finding.element == mark.name],
    }


def _plus_minus(deviations: Mapping[str, float]) -> dict[str, Any]:
    """Standard deviations under the names of what they belong to; a point's two in one list."""
    found: dict[str, Any] = {}
    for key, value in deviations.items():
        for point in ("contact", "top"):
            if key == f"{point}_u_px":
                found[point] = [value, deviations[f"{point}_v_px"]]
        if not key.startswith(("contact_", "top_")):
            found[key] = value
    return found


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "code": finding.code,
        "severity": finding.severity,
        "element": finding.element,
        "message": finding.message,
        "remedy": finding.remedy,
        "brief": finding.brief,
        "remedies": [
            {"text": remedy.text, "set": [f"{key}={value}" for key, value in remedy.settings], "mends": remedy.mends}
            for remedy in finding.remedies
        ],
    }
