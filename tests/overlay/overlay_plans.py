"""Plans made by hand from the cameras of an invented seaside terrace, at any size, for the overlay's tests."""

from dataclasses import replace
from math import atan2, degrees, hypot

import numpy as np

from compositor.base.arrays import apply_homography
from compositor.geometry.camera import Camera
from compositor.geometry.planes import facing, lying
from compositor.plan.model import EdgeGroup, Extension, Holdout, PlacedElement, Plan, PlatePlan, Source, StackItem

PLATE_1 = Camera(2500.0, (1500.0, 1000.0), (3000, 2000), -4.5, 0.0, 1.55)
PLATE_2 = Camera(1650.0, (900.0, 600.0), (1800, 1200), -13.0, 0.8, 2.75)

# focal px, principal point, size, pitch, camera height, contact ground distance, contact px, height
CUT_OUTS = {
    "lounge chair": (4616.948, (989.0, 499.0), (1927, 1126), -10.754621, 1.45, 4.535424, 1062.18, 0.925),
    "parasol": (4412.022, (990.0, 969.0), (2034, 1971), -2.475399, 1.60, 6.212247, 1904.19, 2.638),
    "side table": (5402.709, (521.0, 760.0), (1044, 1606), -16.425859, 1.20, 2.587713, 1552.91, 0.749),
    "olive pot": (4430.434, (513.0, 951.0), (1032, 1927), -4.660546, 1.30, 4.445, 1863.80, 1.85),
    "lantern": (6411.988, (418.0, 661.0), (855, 1392), -14.866588, 0.95, 2.479254, 1346.16, 0.52),
    "person": (7028.935, (413.0, 1009.0), (724, 2034), -6.159961, 1.55, 6.250925, 1966.86, 1.719),
}
TERRACE = (
    ("lounge chair", -0.75, 5.2),
    ("parasol", -1.75, 7.01),
    ("side table", 0.62, 5.13),
    ("olive pot", 2.45, 8.15),
    ("lantern", -1.55, 4.42),
    ("person", 0.1, 9.5),
)


def resized(camera: Camera, width: int) -> Camera:
    """The same view in a picture of another width."""
    ratio = width / camera.size_px[0]
    cx, cy = camera.principal_px
    size = (width, round(camera.size_px[1] * ratio))
    return replace(camera, focal_px=camera.focal_px * ratio, principal_px=(cx * ratio, cy * ratio), size_px=size)


def hull(size: tuple[int, int]) -> tuple[tuple[float, float], ...]:
    """An octagon inside a cut-out's picture: the rim left round every matte is 62 px wide."""
    width, height = size
    a, b = 62.0, 250.0
    return (
        *((b, a), (width - b, a), (width - a, b), (width - a, height - b)),
        *((width - b, height - a), (b, height - a), (a, height - b), (a, b)),
    )


def placed(plate: Camera, kind: str, ground_m: tuple[float, float], name: str, **changes: object) -> PlacedElement:
    """A cut-out standing on the plate's ground: W = P_plate · P_element⁻¹."""
    focal, principal, size, pitch, height_m, own_distance, _, tall_m = CUT_OUTS[kind]
    own = Camera(focal, principal, size, pitch, 0.0, height_m)
    stance = changes.pop("stance", "upright")
    make = lying if stance == "flat" else facing
    own_plane, plane = make((0.0, own_distance)), make(ground_m, changes.get("raise_m", 0.0))
    own_contact, own_top = own.project([own_plane.point_m(0, 0), own_plane.point_m(0, tall_m)])
    matrix = plane.homography(plate) @ np.linalg.inv(own_plane.homography(own))
    matrix = matrix / matrix[2, 2]
    contact, top = apply_homography(matrix, [own_contact, own_top])
    on_own_horizon = plate.project([plane.point_m(0.0, height_m)])[0]
    lift = degrees(atan2(plate.height_m, hypot(*ground_m)) - atan2(height_m, own_distance))
    element = PlacedElement(
        name=name,
        source=Source(f"{kind}.png"),
        stance=stance,
        homography=tuple(tuple(float(x) for x in row) for row in matrix),
        plane=plane,
        distance_m=ground_m[1],
        offset_m=ground_m[0],
        raise_m=0.0,
        contact_px=tuple(map(float, contact)),
        top_px=tuple(map(float, top)),
        own_size_px=size,
        own_hull_px=hull(size),
        own_contact_px=tuple(map(float, own_contact)),
        own_top_px=tuple(map(float, own_top)),
        own_camera=own,
        scale_ratio=float(hypot(*(contact - top)) / hypot(*(own_contact - own_top))),
        enlargement_ratio=float(hypot(*(contact - top)) / hypot(*(own_contact - own_top))),
        height_m=tall_m,
        camera_height_m=height_m,
        horizon_gap_px=float(on_own_horizon[1] - plate.horizon_row(float(on_own_horizon[0]))),
        view_elevation_mismatch_deg=lift,
        view_azimuth_mismatch_deg=degrees(atan2(*ground_m)),
        own_distance_m=own_distance * plate.height_m / height_m,
        stated_height_m=tall_m,
        stated_camera_height_m=None,
        artwork_m=None,
        plus_minus={},
        assumed=(),
    )
    return replace(element, **changes)


def edges(camera: Camera, lines_m: list[tuple[tuple[float, float, float], tuple[float, float, float]]]) -> EdgeGroup:
    """World segments of one direction as marked edges, with their exact vanishing point."""
    pairs = [camera.project(np.array(line)) for line in lines_m]
    direction = np.array(lines_m[0][1]) - np.array(lines_m[0][0])
    x, y, w = camera.direction_px(direction / np.linalg.norm(direction))
    marked = tuple((tuple(map(float, a)), tuple(map(float, b))) for a, b in pairs)
    return EdgeGroup(marked, (float(x), float(y), float(w)))


def paving(camera: Camera) -> tuple[EdgeGroup, ...]:
    """Two groups of edges: in depth (vanishing point in the frame) and across (far outside it)."""
    depth, across = np.array([0.157, 0.9876]), np.array([0.9876, -0.157])

    def line(start: tuple[float, float], run: np.ndarray, length: float) -> tuple[tuple[float, float, float], ...]:
        end = np.array(start) + run * length
        return ((*start, 0.0), (float(end[0]), float(end[1]), 0.0))

    return (
        edges(camera, [line((-2.1, 5.0), depth, 4.0), line((0.4, 4.2), depth, 3.0), line((1.9, 6.0), depth, 4.0)]),
        edges(camera, [line((-2.0, 6.2), across, 2.4), line((-1.0, 10.5), across, 3.5)]),
    )


def plan_of(camera: Camera, elements: tuple[PlacedElement, ...], **plate_changes: object) -> Plan:
    """A plan with everything the overlay shows."""
    width = camera.size_px[0]
    deviation = width * 0.004
    plate = PlatePlan(
        source=Source("terrace.jpg"),
        extension=Extension(),
        camera=camera,
        horizon_px=((0.0, camera.horizon_row(0.0)), (float(width), camera.horizon_row(float(width)))),
        plus_minus={"horizon_left_px": deviation, "horizon_right_px": deviation * 0.5, "pitch_deg": 0.3},
        assumed=("lens 50 mm equivalent (normal lens)",),
        edge_groups=(),
    )
    return Plan(
        title="Terrace, late afternoon",
        plate=replace(plate, **plate_changes),
        elements=elements,
        holdouts=(Holdout("lamp-post", "lamp.png", 4.25),),
        stack=tuple(StackItem("element", element.name) for element in elements),
        deliveries=(),
    )


def terrace(camera: Camera, count: int = 6, **plate_changes: object) -> Plan:
    """The terrace with 1, 6 or more elements; past the sixth they stand in rows behind."""
    elements = []
    for index in range(count):
        kind, x, y = TERRACE[index % len(TERRACE)]
        lap = index // len(TERRACE)
        name = kind if lap == 0 else f"{kind} {lap + 1}"
        elements.append(placed(camera, kind, (x * (1 - 1.7 * (lap % 2)) + 0.4 * lap, y + 1.9 * lap), name))
    return plan_of(camera, tuple(elements), **{"edge_groups": paving(camera), **plate_changes})
