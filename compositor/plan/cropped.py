"""A plan as one of its deliveries shows it: every pixel position moved into the delivery's own pixels.

The camera is the plate's with its principal point moved (and all of it scaled with the picture); nothing is solved
again, so overlay and report of a delivery say what those of the full frame say.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from compositor.base.arrays import Floats
from compositor.geometry.camera import Camera
from compositor.plan.model import Delivery, EdgeGroup, Matrix, PlacedElement, Plan, PlatePlan, Point
from compositor.plan.outline import outline_of


def cropped_plan(plan: Plan, delivery: Delivery) -> Plan:
    """The plan in the delivery's pixels. Elements of which nothing is inside are left out."""
    matrix = delivery_matrix(delivery)
    elements = tuple(_element(e, delivery, matrix) for e in plan.elements if is_inside(e, delivery))
    names = {element.name for element in elements} | {holdout.name for holdout in plan.holdouts}
    width, height = delivery.size_px
    return replace(
        plan,
        plate=_plate(plan.plate, delivery, matrix),
        elements=elements,
        stack=tuple(item for item in plan.stack if item.name in names),
        deliveries=(replace(delivery, window_px=(0.0, 0.0, float(width), float(height))),),
    )


def delivery_matrix(delivery: Delivery) -> Floats:
    """3×3: full frame px to px of the delivery."""
    left, top, width, _ = delivery.window_px
    s = delivery.size_px[0] / width
    return np.array([[s, 0.0, -s * left], [0.0, s, -s * top], [0.0, 0.0, 1.0]])


def delivery_camera(camera: Camera, delivery: Delivery) -> Camera:
    """The plate's camera in the delivery's pixels."""
    return Camera(
        focal_px=camera.focal_px * delivery.size_px[0] / delivery.window_px[2],
        principal_px=delivered_px(camera.principal_px, delivery),
        size_px=delivery.size_px,
        pitch_deg=camera.pitch_deg,
        roll_deg=camera.roll_deg,
        height_m=camera.height_m,
    )


def _plate(plate: PlatePlan, delivery: Delivery, matrix: Floats) -> PlatePlan:
    camera = delivery_camera(plate.camera, delivery)
    width = float(delivery.size_px[0])
    return replace(
        plate,
        camera=camera,
        horizon_px=((0.0, camera.horizon_row(0.0)), (width, camera.horizon_row(width))),
        plus_minus=_scaled(plate.plus_minus, float(matrix[0, 0])),
        edge_groups=tuple(_group(group, delivery, matrix) for group in plate.edge_groups),
    )


def _element(element: PlacedElement, delivery: Delivery, matrix: Floats) -> PlacedElement:
    scale_ratio = float(matrix[0, 0])
    homography: Matrix = tuple(map(tuple, (matrix @ element.homography_matrix).tolist()))  # type: ignore[assignment]
    return replace(
        element,
        homography=homography,
        contact_px=delivered_px(element.contact_px, delivery),
        top_px=delivered_px(element.top_px, delivery),
        scale_ratio=element.scale_ratio * scale_ratio,
        enlargement_ratio=element.enlargement_ratio * scale_ratio,
        horizon_gap_px=None if element.horizon_gap_px is None else element.horizon_gap_px * scale_ratio,
        plus_minus=_scaled(element.plus_minus, scale_ratio),
    )


def _group(group: EdgeGroup, delivery: Delivery, matrix: Floats) -> EdgeGroup:
    u, v, w = (matrix @ np.array(group.vanishing_px)).tolist()
    return EdgeGroup(
        tuple((delivered_px(a, delivery), delivered_px(b, delivery)) for a, b in group.edges_px), (u, v, w)
    )


def is_inside(element: PlacedElement, delivery: Delivery) -> bool:
    """Whether a delivery shows anything of the box about an element."""
    box, (left, top, width, height) = outline_of(element).box, delivery.window_px
    return box is not None and box[0] < left + width and box[1] < top + height and box[2] > left and box[3] > top


def delivered_px(point: Point, delivery: Delivery) -> Point:
    """A pixel of the full frame in the delivery's."""
    left, top, width, _ = delivery.window_px
    scale_ratio = delivery.size_px[0] / width
    return scale_ratio * (point[0] - left), scale_ratio * (point[1] - top)


def _scaled(deviations: Mapping[str, float], scale_ratio: float) -> dict[str, float]:
    """Standard deviations: those in pixels grow with the picture."""
    return {key: value * scale_ratio if key.endswith("_px") else value for key, value in deviations.items()}
