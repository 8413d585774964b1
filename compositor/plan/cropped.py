"""A plan as one of its deliveries shows it: every pixel position moved into the delivery's own pixels.

The camera is the plate's with its principal point moved (and all of it scaled with the picture); nothing is solved
again, so overlay and report of a delivery say what those of the full frame say.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from compositor.base.arrays import Floats, apply_homography, with_ones
from compositor.geometry.camera import Camera
from compositor.plan.model import Delivery, EdgeGroup, Matrix, PlacedElement, Plan, PlatePlan, Point


def cropped_plan(plan: Plan, delivery: Delivery) -> Plan:
    """The plan in the delivery's pixels. Elements of which nothing is inside are left out."""
    matrix = delivery_matrix(delivery)
    scale_ratio = float(matrix[0, 0])
    elements = tuple(_element(e, matrix, scale_ratio) for e in plan.elements if _inside(e, matrix, delivery.size_px))
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
    matrix = delivery_matrix(delivery)
    return Camera(
        focal_px=camera.focal_px * float(matrix[0, 0]),
        principal_px=_moved(camera.principal_px, matrix),
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
        edge_groups=tuple(_group(group, matrix) for group in plate.edge_groups),
    )


def _element(element: PlacedElement, matrix: Floats, scale_ratio: float) -> PlacedElement:
    homography: Matrix = tuple(map(tuple, (matrix @ element.homography_matrix).tolist()))  # type: ignore[assignment]
    return replace(
        element,
        homography=homography,
        contact_px=_moved(element.contact_px, matrix),
        top_px=_moved(element.top_px, matrix),
        scale_ratio=element.scale_ratio * scale_ratio,
        enlargement_ratio=element.enlargement_ratio * scale_ratio,
        horizon_gap_px=None if element.horizon_gap_px is None else element.horizon_gap_px * scale_ratio,
        plus_minus=_scaled(element.plus_minus, scale_ratio),
    )


def _group(group: EdgeGroup, matrix: Floats) -> EdgeGroup:
    u, v, w = (matrix @ np.array(group.vanishing_px)).tolist()
    return EdgeGroup(tuple((_moved(a, matrix), _moved(b, matrix)) for a, b in group.edges_px), (u, v, w))


def _inside(element: PlacedElement, matrix: Floats, size_px: tuple[int, int]) -> bool:
    """Whether anything of the box about an element is inside."""
    whole = matrix @ element.homography_matrix
    hull = with_ones(np.array(element.own_hull_px)) @ whole.T
    seen = hull[hull[:, 2] > 0]
    if len(seen) == 0:
        return False
    points = seen[:, :2] / seen[:, 2:]
    return bool(np.all(points.max(axis=0) > 0) and np.all(points.min(axis=0) < size_px))


def _moved(point: Point, matrix: Floats) -> Point:
    u, v = apply_homography(matrix, [point])[0]
    return float(u), float(v)


def _scaled(deviations: Mapping[str, float], scale_ratio: float) -> dict[str, float]:
    """Standard deviations: those in pixels grow with the picture."""
    return {key: value * scale_ratio if key.endswith("_px") else value for key, value in deviations.items()}
