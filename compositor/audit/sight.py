"""How a camera sees an element, found again from pixels and rays, not taken from the solver, so that a slip in placing
shows up here; and how it would see it elsewhere."""

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from math import atan2, degrees, hypot

import numpy as np

from compositor.base.arrays import Floats, fixed, with_ones
from compositor.base.errors import GeometryError
from compositor.base.sameness import MOST_KEPT, Itself, SameParts, once_for_each
from compositor.geometry.camera import Camera
from compositor.geometry.homography import carried, inverse, largest_stretch, product
from compositor.geometry.planes import Plane, facing, frontal
from compositor.geometry.polygons import polygon_area, within_box
from compositor.plan.model import Delivery, PlacedElement, Plan, Point, positive_in_front
from compositor.plan.outline import Box, outline_of

_STEP_PX = 0.01  # by which a scale is looked at


def depression_deg(camera: Camera, pixel: Point) -> float:
    """Degrees below the horizontal at which a camera sees a pixel."""
    x, y, z = camera.ray(pixel)
    return degrees(atan2(-z, hypot(x, y)))


def azimuth_deg(camera: Camera, pixel: Point) -> float:
    """Degrees to the right of a camera's forward direction at which it sees a pixel."""
    x, y, _ = camera.ray(pixel)
    return degrees(atan2(x, y))


def is_flipped(element: PlacedElement) -> bool:
    """Whether the picture is mirrored left to right."""
    x, y, _ = element.plane.origin_m
    right = facing((x, y)).right
    return sum(a * b for a, b in zip(right, element.plane.right, strict=True)) < 0.0


def own_azimuth_deg(element: PlacedElement, own: Camera) -> float:
    """The azimuth in its own photograph, mirrored where the picture is."""
    found = azimuth_deg(own, element.own_contact_px)
    return -found if is_flipped(element) else found


def elevation_off_deg(plan: Plan, element: PlacedElement) -> float | None:
    """How much more from above the plate sees it than its own camera did; None for what no view can contradict.

    What lies flat is carried over exactly whatever the view; artwork has no view of its own.
    """
    own = element.own_camera
    if own is None or element.stance == "flat":
        return None
    return depression_deg(plan.plate.camera, element.contact_px) - depression_deg(own, element.own_contact_px)


def azimuth_off_deg(plan: Plan, element: PlacedElement) -> float | None:
    """How much farther to the right of the camera's axis it stands here than it stood; None as above, and on walls."""
    own = element.own_camera
    if own is None or element.stance != "upright":
        return None
    return azimuth_deg(plan.plate.camera, element.contact_px) - own_azimuth_deg(element, own)


def horizons_meet(plan: Plan, element: PlacedElement) -> bool:
    """Whether its own horizon lies near the plate's, or its top is seen as it was, or it has no view of its own."""
    own = element.own_camera
    if own is None or element.horizon_gap_px is None or element.stance == "flat":
        return True
    return _gap_is_small(plan, horizon_gap_px(plan, element, own)) or _top_fits(plan, top_off_deg(plan, element, own))


def horizons_would_meet(plan: Plan, element: PlacedElement, own: Camera, ground_m: Point) -> bool:
    """The same of what stands upright, with its contact on another ground point, without moving it there."""
    camera, plane = plan.plate.camera, standing(element, ground_m)
    if _gap_is_small(plan, _gap_px(camera, plane, own)):
        return True
    x, y, z = plane.point_m(*carried(inverse(element.plane.to_pixels(camera)), element.top_px))
    there_deg = degrees(atan2(camera.height_m - z, hypot(x, y)))
    return _top_fits(plan, there_deg - depression_deg(own, element.own_top_px))


def _gap_is_small(plan: Plan, gap_px: float | None) -> bool:
    return gap_px is None or abs(gap_px) <= plan.tolerances.horizon_gap_fraction * plan.plate.size_px[1]


def _top_fits(plan: Plan, off_deg: float) -> bool:
    return abs(off_deg) <= plan.tolerances.view_elevation_deg


def top_off_deg(plan: Plan, element: PlacedElement, own: Camera) -> float:
    """How much more from above the plate sees its top than its own camera did."""
    return depression_deg(plan.plate.camera, element.top_px) - depression_deg(own, element.own_top_px)


def horizon_gap_px(plan: Plan, element: PlacedElement, own: Camera) -> float | None:
    """Rows from the plate's horizon down to the point of the element at its own camera's height; None where that lies
    behind a camera that looks down steeply."""
    return _gap_px(plan.plate.camera, element.plane, own)


def _gap_px(camera: Camera, plane: Plane, own: Camera) -> float | None:
    x, y, z = plane.origin_m
    try:
        u, v = camera.pixel((x, y, z + own.height_m))
    except GeometryError:
        return None
    return v - camera.horizon_row(u)


@once_for_each
def enlargement_ratio(element: PlacedElement) -> float:
    """The largest linear enlargement of its pixels anywhere at its outline."""
    return enlargement_under(element.homography_matrix, element)


def enlargement_under(matrix: Floats, element: PlacedElement) -> float:
    """The same where another homography carries its pixels."""
    points, around = _own_steps(SameParts(element, (element.own_hull_px, element.own_contact_px), ()))
    return _largest_scale(matrix, points, around)


def largest_scale(matrix: Floats, pixels: Sequence[Point]) -> float:
    """The largest linear scale of a homography at pixels in front of the camera, by small steps in every direction."""
    return _largest_scale(matrix, *_steps(pixels))


def _largest_scale(matrix: Floats, points: Floats, around: Floats) -> float:
    """The same at homogeneous pixels (n, 3, 1), by steps from them (n, 4, 3): right, left, down and up."""
    ahead = np.matmul(matrix[2:], points)[:, 0, 0] > 0.0
    mapped = (around if ahead.all() else around[ahead]).reshape(-1, 3) @ matrix.T
    with np.errstate(divide="ignore", invalid="ignore"):
        carried_px = mapped[:, :2] / mapped[:, 2:]
    right, left, down, up = carried_px.reshape(-1, 4, 2).transpose(1, 2, 0)
    return float(largest_stretch(*(right - left), *(down - up)).max(initial=0.0)) / (2.0 * _STEP_PX)


@lru_cache(MOST_KEPT)
def _own_steps(element: SameParts[PlacedElement]) -> tuple[Floats, Floats]:
    return _steps((*element.value.own_hull_px, element.value.own_contact_px))


def _steps(pixels: Sequence[Point]) -> tuple[Floats, Floats]:
    """Pixels (n, 3, 1) and small steps from each (n, 4, 3), homogeneous."""
    points = np.array(pixels)
    ways = [[_STEP_PX, 0.0], [-_STEP_PX, 0.0], [0.0, _STEP_PX], [0.0, -_STEP_PX]]
    around = with_ones((points[:, np.newaxis] + ways).reshape(-1, 2)).reshape(-1, 4, 3)
    return fixed(with_ones(points)[:, :, np.newaxis]), fixed(around)


def seen_hull(element: PlacedElement) -> Floats:
    """The convex outline (n, 2) of what it covers in the frame; empty where that is not in front of the camera."""
    outline = outline_of(element)
    return outline.seen if outline.is_whole and len(outline.seen) >= 3 else outline.seen[:0]


def share_within(element: PlacedElement, box_px: Box) -> float:
    """The share of an element's outline that lies in a box; 0 where it has none."""
    return _share_within(Itself(element), box_px)


@lru_cache(MOST_KEPT)
def _share_within(seen: Itself[PlacedElement], box_px: Box) -> float:
    element, (x0, y0, x1, y1) = seen.value, box_px
    box, whole = outline_of(element).box, _area(element)
    if box is None or whole <= 0.0:
        return 0.0
    left, top, right, bottom = box
    if right < x0 or left > x1 or bottom < y0 or top > y1:
        return 0.0
    if x0 <= left and y0 <= top and right <= x1 and bottom <= y1:
        return 1.0
    return polygon_area(within_box(seen_hull(element), box_px)) / whole


@once_for_each
def _area(element: PlacedElement) -> float:
    return polygon_area(seen_hull(element))


def fits_into(points_px: Floats, delivery: Delivery, frame_px: tuple[int, int]) -> bool:
    """Whether the largest window of a delivery's shape in a frame is large enough for points (n, 2)."""
    shape = delivery.size_px[0] / delivery.size_px[1]
    largest = min(float(frame_px[0]), frame_px[1] * shape)
    need = points_px.max(axis=0) - points_px.min(axis=0)
    return largest >= max(float(need[0]), float(need[1]) * shape) * 1.001


def delivery_scale(plan: Plan) -> float:
    """The largest scale of any delivery against the full frame."""
    return max((scale_of(delivery) for delivery in plan.deliveries), default=1.0)


def scale_of(delivery: Delivery) -> float:
    """The scale of a delivery against the full frame."""
    return delivery.size_px[0] / delivery.window_px[2]


def standing(element: PlacedElement, ground_m: Point, flip: bool = False, raise_m: float | None = None) -> Plane:
    """The plane of what stands upright, with its contact on another ground point, mirrored or raised there."""
    make = frontal if element.source.outline_px is not None else facing
    plane: Plane = make(ground_m, element.plane.origin_m[2] if raise_m is None else raise_m)
    return plane.mirrored() if is_flipped(element) != flip else plane


def moved(
    plan: Plan, element: PlacedElement, ground_m: Point, flip: bool = False, raise_m: float | None = None
) -> PlacedElement | None:
    """The element with its contact on another ground point, mirrored or raised there; None where that cannot be.

    Only for what stands upright: what lies or hangs on a wall is bound to its plane.
    """
    if element.stance != "upright" or element.artwork_m is not None or ground_m[1] <= 0.0:
        return None
    camera, old = plan.plate.camera, element.plane
    plane = standing(element, ground_m, flip, raise_m)
    try:
        contact = camera.pixel(plane.origin_m)
        matrix = product(plane.to_pixels(camera), product(inverse(old.to_pixels(camera)), element.homography))
    except GeometryError:
        return None
    by = matrix[2][2]
    one, two, three = ((a / by, b / by, c / by) for a, b, c in matrix)
    return replace(
        element,
        homography=(one, two, three),
        plane=plane,
        distance_m=ground_m[1],
        offset_m=ground_m[0],
        raise_m=plane.origin_m[2],
        contact_px=contact,
        top_px=carried(matrix, element.own_top_px),
        enlargement_ratio=enlargement_under(positive_in_front(np.array(matrix), element.own_contact_px), element),
    )


def change_of(plan: Plan, element: PlacedElement, after: PlacedElement) -> float:
    """How much a move changes the picture: the way of the contact as a share of the frame, and that of its size."""
    way = hypot(after.contact_px[0] - element.contact_px[0], after.contact_px[1] - element.contact_px[1])
    size = hypot(element.contact_px[0] - element.top_px[0], element.contact_px[1] - element.top_px[1])
    new = hypot(after.contact_px[0] - after.top_px[0], after.contact_px[1] - after.top_px[1])
    return way / hypot(*plan.plate.size_px) + abs(float(np.log(max(new, 1e-9) / max(size, 1e-9))))


def inside_frame(plan: Plan, pixel: Point) -> bool:
    """Whether a pixel lies in the full frame."""
    return 0.0 <= pixel[0] <= plan.plate.size_px[0] and 0.0 <= pixel[1] <= plan.plate.size_px[1]
