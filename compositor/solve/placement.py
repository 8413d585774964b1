"""Where one element goes: its planes in both worlds and the homography between them.

What fixes the scale, in this order: the element's real height with its top (the height of its camera follows); the
height of its camera; else its camera is taken to stand as high as the plate's.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import atan2, degrees, hypot

import numpy as np

from compositor.base.arrays import Floats
from compositor.base.errors import GeometryError
from compositor.geometry.camera import Camera
from compositor.geometry.ground import ground_point
from compositor.geometry.heights import upright_height
from compositor.geometry.homography import Matrix, carried, inverse, largest_scales, product, scale_at
from compositor.geometry.planes import Plane, along_wall, facing, frontal, lying
from compositor.plan.model import Point
from compositor.solve.faults import about
from compositor.solve.subject import GroundPlace, Subject

# By eye: a level thing this near to the camera's own height (a share of it) is a line in the picture.
EDGE_ON_RATIO = 1e-6


@dataclass(frozen=True)
class Placement:
    """The solved place of an element: see plan.model.PlacedElement for the meaning of every number."""

    matrix: Matrix  # element pixels to plate pixels
    plane: Plane
    own_camera: Camera | None
    ground_m: tuple[float, float]
    contact_px: Point
    top_px: Point
    scale_ratio: float
    enlargement_ratio: float
    height_m: float
    camera_height_m: float
    horizon_gap_px: float | None
    view_elevation_mismatch_deg: float
    view_azimuth_mismatch_deg: float
    own_distance_m: float | None
    implied_height_m: float | None  # from the stated camera height, where height and camera height are both given

    @property
    def homography(self) -> Floats:
        """`matrix` as an array."""
        return np.array(self.matrix)

    def numbers(self) -> Mapping[str, float]:
        """The numbers that carry an uncertainty, under their names in the report."""
        found = {
            "distance_m": self.ground_m[1],
            "offset_m": self.ground_m[0],
            "contact_u_px": self.contact_px[0],
            "contact_v_px": self.contact_px[1],
            "top_u_px": self.top_px[0],
            "top_v_px": self.top_px[1],
            "scale_ratio": self.scale_ratio,
            "enlargement_ratio": self.enlargement_ratio,
            "height_m": self.height_m,
            "camera_height_m": self.camera_height_m,
            "view_elevation_mismatch_deg": self.view_elevation_mismatch_deg,
            "view_azimuth_mismatch_deg": self.view_azimuth_mismatch_deg,
        }
        telling = {"horizon_gap_px": self.horizon_gap_px, "own_distance_m": self.own_distance_m}
        return found | {key: value for key, value in telling.items() if value is not None}


@dataclass(frozen=True)
class OwnView:
    """What a subject's own camera (None: artwork) saw: its plane in that world, and own pixels to metres in it."""

    camera: Camera | None
    plane: Plane
    to_plane: Matrix
    height_m: float
    implied_height_m: float | None


def own_view(subject: Subject, own: Camera | None, plate_height_m: float) -> OwnView:
    """A subject as its own camera saw it. `own` is that camera at any height, None for artwork.

    Raises FaultyScene with keys relative to the element (contact, top).
    """
    own = _own_camera(subject, plate_height_m, own)
    plane, homography = _own_plane(subject, own)
    to_plane = inverse(homography)
    height_m = carried(to_plane, subject.top_px)[1]
    return OwnView(own, plane, to_plane, height_m, _implied_height(subject, own))


def place(subject: Subject, plate: Camera, own: Camera | None) -> Placement:
    """Place a subject in the plate's world. `own` is its camera at any height, None for artwork.

    Raises FaultyScene with keys relative to the element (contact, top, ground, wall).
    """
    return place_views(subject, [(plate, own_view(subject, own, plate.height_m))])[0]


def place_views(subject: Subject, seen: Iterable[tuple[Camera, OwnView]]) -> list[Placement]:
    """Place a subject in the world of a plate's camera, as its own camera saw it: once for each pair of the two.

    Raises FaultyScene with keys relative to the element (ground, wall).
    """
    found, matrices = [], []
    for plate, view in seen:
        plane = _plate_plane(subject, plate, _ground(subject, plate))
        matrices.append(product(plane.to_pixels(plate), view.to_plane))
        found.append((plate, view, plane))
    scales = largest_scales(matrices, subject.edge_px)
    return [_placement(subject, *maps) for maps in zip(found, matrices, scales, strict=True)]


def _placement(
    subject: Subject, found: tuple[Camera, OwnView, Plane], matrix: Matrix, enlargement_ratio: float
) -> Placement:
    """All numbers of a place: of a plate's camera, of what an own camera saw, of the plane that this stands in."""
    plate, view, plane = found
    own, own_ground = view.camera, (view.plane.origin_m[0], view.plane.origin_m[1])
    ground = (plane.origin_m[0], plane.origin_m[1])
    elevation_deg, azimuth_deg, own_distance_m = _mismatch(subject, plate, own, ground, own_ground)
    return Placement(
        matrix=_normal(matrix),
        plane=plane,
        own_camera=own,
        ground_m=ground,
        contact_px=carried(matrix, subject.contact_px),
        top_px=carried(matrix, subject.top_px),
        scale_ratio=scale_at(matrix, subject.contact_px),
        enlargement_ratio=enlargement_ratio,
        height_m=view.height_m,
        camera_height_m=plate.height_m if own is None else own.height_m,
        horizon_gap_px=_horizon_gap(subject, plate, own, plane),
        view_elevation_mismatch_deg=elevation_deg,
        view_azimuth_mismatch_deg=azimuth_deg,
        own_distance_m=own_distance_m,
        implied_height_m=view.implied_height_m,
    )


def _own_camera(subject: Subject, plate_height_m: float, own: Camera | None) -> Camera | None:
    """The element's camera at the height that the rules above fix."""
    if subject.artwork_m is not None or own is None:
        return None
    if subject.height_m is not None and subject.stance != "flat":
        unit_m = _height_above_contact(subject, own.at_height(1.0))
        return own.at_height(subject.height_m / unit_m)
    if subject.camera_height_m is not None:
        return own.at_height(subject.camera_height_m)
    return own.at_height(plate_height_m)


def _implied_height(subject: Subject, own: Camera | None) -> float | None:
    if own is None or subject.camera_height_m is None or subject.height_m is None:
        return None
    return _height_above_contact(subject, own.at_height(subject.camera_height_m))


def _height_above_contact(subject: Subject, own: Camera) -> float:
    _own_ground(subject, own)  # a contact without ground is a fault of the contact, not of the top
    with about(("top",), subject.top_px):
        return upright_height(own, subject.contact_px, subject.top_px)


def _own_plane(subject: Subject, own: Camera | None) -> tuple[Plane, Matrix]:
    """The plane of the element in its own world, and that plane's homography to the element's pixels."""
    if own is None:
        if subject.artwork_m is None:
            raise GeometryError("an element without a camera must be artwork")
        (width_m, height_m), (width, height) = subject.artwork_m, subject.size_px
        (u, v), px_across, px_up = subject.contact_px, width / width_m, height / height_m
        return facing((0.0, 1.0)), ((px_across, 0.0, u), (0.0, -px_up, v), (0.0, 0.0, 1.0))
    ground_m = _own_ground(subject, own)
    if subject.stance == "flat":
        plane = lying(ground_m)
    else:
        plane = frontal(ground_m) if subject.from_plate else facing(ground_m)
        _height_above_contact(subject, own)
    return plane, plane.to_pixels(own)


def _own_ground(subject: Subject, own: Camera) -> tuple[float, float]:
    with about(("contact",), subject.contact_px, " of its own camera"):
        return ground_point(own, subject.contact_px)


def _ground(subject: Subject, plate: Camera) -> tuple[float, float]:
    if isinstance(subject.ground, GroundPlace):
        return subject.ground.offset_m, subject.ground.distance_m
    if subject.ground is None:
        raise ValueError("nothing says where the subject goes")
    with about(("ground", "pixel"), subject.ground, " of the plate"):
        return ground_point(plate, subject.ground)


def _plate_plane(subject: Subject, plate: Camera, ground_m: tuple[float, float]) -> Plane:
    if subject.wall_px is not None:
        plane = _wall_plane(subject.wall_px, plate, ground_m, subject.raise_m)
    elif subject.stance == "flat":
        with about(("raise",), subject.raise_m):
            plane = lying(ground_m, subject.raise_m)
            _not_edge_on(plane, plate)
    elif subject.from_plate:
        plane = frontal(ground_m, subject.raise_m)
    else:
        plane = facing(ground_m, subject.raise_m)
    plane = plane.turned(subject.turn_deg) if subject.turn_deg != 0.0 else plane
    with about(("ground",)):
        plate.pixel(plane.origin_m)
    return plane.mirrored() if subject.flip else plane


def _wall_plane(wall_px: tuple[Point, Point], plate: Camera, ground_m: tuple[float, float], raise_m: float) -> Plane:
    """The wall's plane with its origin at the foot that is nearest to the wanted ground point."""
    ends = []
    for index, pixel in enumerate(wall_px):
        with about(("wall", index), pixel, " of the plate"):
            ends.append(np.array(ground_point(plate, pixel)))
    with about(("wall",), wall_px):
        run = ends[1] - ends[0]
        along = float(np.dot(np.array(ground_m) - ends[0], run) / max(float(np.dot(run, run)), 1e-12))
        return along_wall(_point(ends[0] + along * run), ends[0], ends[1], raise_m)


def _not_edge_on(plane: Plane, plate: Camera) -> None:
    """Raises GeometryError for a level plane at the height of the camera, which sees a line of it."""
    if abs(plate.height_m - plane.origin_m[2]) < EDGE_ON_RATIO * plate.height_m:
        raise GeometryError("lies level with the plate's camera, which sees it edge on")


def _horizon_gap(subject: Subject, plate: Camera, own: Camera | None, plane: Plane) -> float | None:
    """How far, in plate rows, the element's own horizon lies under the plate's, on the element's upright; None where
    a plate's camera that looks down steeply has that height behind it."""
    if own is None or subject.stance == "flat":
        return 0.0  # what lies on the ground carries the ground's own vanishing line: they agree by construction
    try:
        u, v = plate.pixel(plane.point_m(0.0, own.height_m))
    except GeometryError:
        return None
    return v - plate.horizon_row(u)


def _mismatch(
    subject: Subject, plate: Camera, own: Camera | None, ground_m: Point, own_ground_m: Point
) -> tuple[float, float, float | None]:
    """View mismatch angles, elevation and azimuth, and the distance at which there is none (radial, along the line of
    sight)."""
    if own is None:
        return 0.0, 0.0, None
    above_m = plate.height_m - subject.raise_m
    reach_m, own_reach_m = hypot(*ground_m), hypot(*own_ground_m)
    elevation = degrees(atan2(above_m, reach_m) - atan2(own.height_m, own_reach_m))
    own_azimuth = degrees(atan2(*own_ground_m)) * (-1.0 if subject.flip else 1.0)
    azimuth = degrees(atan2(*ground_m)) - own_azimuth
    own_distance = own_reach_m * above_m / own.height_m if above_m > 0.0 else None
    return elevation, azimuth, own_distance


def _normal(matrix: Matrix) -> Matrix:
    """The same map with a 1 in its corner; where that would be far too large, with 1 as its largest number."""
    corner = matrix[2][2]
    by = max(abs(value) for row in matrix for value in row) if abs(corner) < 1e-12 else corner
    one, two, three = ((a / by, b / by, c / by) for a, b, c in matrix)
    return one, two, three


def _point(values: Floats) -> Point:
    return float(values[0]), float(values[1])
