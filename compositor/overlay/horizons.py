"""The plate's horizon with its uncertainty, and the horizons of the elements' photographs carried into the plate."""

import numpy as np

from compositor.base.arrays import Floats, apply_homography
from compositor.geometry.camera import Camera
from compositor.overlay.boxes import Box, Point, clip
from compositor.overlay.marks import Band, Mark, Stroke
from compositor.overlay.style import Kind, Scale
from compositor.plan.model import PlacedElement, PlatePlan

AGREES_PX = 1.0
"""A horizon this near to the plate's agrees with it."""

_FADE = 45.0  # thousandths of the diagonal after which the way to a far horizon is given up, by eye


def plate_horizon(plate: PlatePlan, scale: Scale) -> tuple[Mark, ...]:
    """The horizon across the frame over a band of one standard deviation; empty outside the frame."""
    (left, right), (off_left, off_right) = plate.horizon_px, horizon_deviation_px(plate)
    marks: list[Mark] = []
    if max(off_left, off_right) > 0:
        upper, lower = (left[1] - off_left, right[1] - off_right), (left[1] + off_left, right[1] + off_right)
        marks.append(Band(Kind.HORIZON, upper, lower))
        if max(off_left, off_right) > scale.px(6.0):
            rims = [((left[0], rows[0]), (right[0], rows[1])) for rows in (upper, lower)]
            marks += [Stroke(Kind.HORIZON, *rim, dashed=True, width_ratio=0.45, fade=(0.7, 0.7)) for rim in rims]
    marks.append(Stroke(Kind.HORIZON, left, right))
    frame = Box(0.0, 0.0, *plate.size_px)
    return tuple(mark for mark in marks if not isinstance(mark, Stroke) or clip(mark.start_px, mark.end_px, frame))


def horizon_deviation_px(plate: PlatePlan) -> tuple[float, float]:
    """One standard deviation of the horizon at the left and right edge; 0 where the plan gives none."""
    return plate.plus_minus.get("horizon_left_px", 0.0), plate.plus_minus.get("horizon_right_px", 0.0)


def own_horizon(element: PlacedElement, camera: Camera, scale: Scale) -> tuple[Point, Point] | None:
    """A short piece of an element's own horizon in the plate, centred on the element.

    It is the line at its own camera's height in its plane. None for what has no horizon of its own that could
    differ: artwork and what lies flat (the ground's vanishing line is the horizon in either picture).
    """
    if element.own_camera is None or element.stance == "flat":
        return None
    matrix = element.plane.homography(camera)
    s_m = _width_m(element, matrix) / 2
    centre, side = _seen(matrix, [[0.0, element.own_camera.height_m], [s_m, element.own_camera.height_m]])
    if centre is None or side is None:
        return None
    along = side - centre
    length = float(np.hypot(*along))
    half = float(np.clip(length, scale.px(14.0), scale.px(40.0))) / length
    return _pair(centre - half * along), _pair(centre + half * along)


def own_horizon_marks(element: PlacedElement, camera: Camera, scale: Scale) -> tuple[Mark, ...]:
    """The piece of horizon and, where it is off, the way from it towards the plate's horizon, fading with length."""
    piece = own_horizon(element, camera, scale)
    if piece is None or element.horizon_gap_px is None:
        return ()
    marks: list[Mark] = [Stroke(Kind.OWN_HORIZON, *piece, dashed=True)]
    if abs(element.horizon_gap_px) > AGREES_PX:
        column, row = (piece[0][0] + piece[1][0]) / 2, (piece[0][1] + piece[1][1]) / 2
        away = camera.horizon_row(column) - row
        share = min(1.0, scale.px(_FADE) / abs(away))
        towards = (column, row + share * away)
        marks.append(Stroke(Kind.OWN_HORIZON, (column, row), towards, width_ratio=0.5, fade=(1.0, 1.0 - share**2)))
    return tuple(marks)


def _width_m(element: PlacedElement, matrix: Floats) -> float:
    """Width of the element's whole picture in its plane, at the contact's row."""
    row = element.own_contact_px[1]
    ends = apply_homography(element.homography_matrix, [(0.0, row), (float(element.own_size_px[0]), row)])
    in_plane = apply_homography(np.linalg.inv(matrix), ends)
    return float(abs(in_plane[1, 0] - in_plane[0, 0]))


def _seen(matrix: Floats, points: list[list[float]]) -> list[Floats | None]:
    """Pixels of plane points, None for those not in front of the camera."""
    mapped = np.column_stack([np.array(points), np.ones(len(points))]) @ matrix.T
    return [row[:2] / row[2] if row[2] > 1e-9 else None for row in mapped]


def _pair(values: Floats) -> Point:
    return float(values[0]), float(values[1])
