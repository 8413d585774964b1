"""The camera against worked numbers, OpenCV's own projection, a published table and its own inverse."""

import csv
from dataclasses import replace
from math import atan2, cos, degrees, radians, sin, tan
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from compositor.base.errors import GeometryError
from compositor.base.opencv import cv2
from compositor.geometry.camera import Camera, line_through, pitch_from_horizon
from compositor.geometry.ground import ground_pixel, ground_point

REFERENCE = Path(__file__).parent.parent / "reference"
PLATE = Camera(2400.0, (1500.0, 1000.0), (3000, 2000), -4.0, 0.0, 1.6)
ROLLED = Camera(2400.0, (1500.0, 1000.0), (3000, 2000), -4.0, 2.0, 1.6)

cameras = st.builds(
    Camera,
    focal_px=st.floats(500, 8000),
    principal_px=st.tuples(st.floats(-500, 3500), st.floats(-500, 2500)),
    size_px=st.just((3000, 2000)),
    pitch_deg=st.floats(-35, 20),
    roll_deg=st.floats(-20, 20),
    height_m=st.floats(0.2, 30),
)
grounds = st.tuples(st.floats(-8, 8), st.floats(8, 60))


def in_front(camera: Camera, ground: tuple[float, float], z: float = 0.0) -> bool:
    """Whether a point is far enough in front of the camera for its pixel to mean anything."""
    return float((camera.matrix @ np.array([*ground, z, 1.0]))[2]) > 0.5


@pytest.mark.parametrize(
    ("camera", "world", "pixel"),
    [
        (PLATE, (0, 6, 0), (1500, 1463.532099)),
        (PLATE, (0, 6, 1.8), (1500, 751.596650)),
        (PLATE, (-1.2, 6, 0), (1027.636129, 1463.532099)),
        (PLATE, (2, 20, 0), (1739.247669, 1024.041162)),
        (PLATE, (2, 20, 1.75), (1740.712298, 814.078145)),
        (ROLLED, (0, 6, 0), (1516.177037, 1463.249728)),
        (ROLLED, (0, 6, 1.8), (1491.330848, 751.747970)),
    ],
)
def test_worked_points(camera: Camera, world: tuple[float, ...], pixel: tuple[float, float]) -> None:
    # Worked numbers of a bare pinhole model in float64, six decimals given.
    assert camera.project([world])[0] == pytest.approx(pixel, abs=1e-6)


def test_worked_horizons() -> None:
    assert PLATE.horizon_row(1500.0) == pytest.approx(832.175651, abs=1e-6)
    assert ROLLED.horizon_row(0.0) == pytest.approx(884.454509, abs=1e-6)
    assert ROLLED.horizon_row(3000.0) == pytest.approx(779.692200, abs=1e-6)


@given(cameras, grounds, st.floats(0, 3))
def test_projection_equals_opencv(camera: Camera, ground: tuple[float, float], z: float) -> None:
    assume(in_front(camera, ground, z))
    # OpenCV's projectPoints, an independent implementation of the same model.
    point = np.array([*ground, z])
    vector, _ = cv2.Rodrigues(camera.rotation)
    shift = -camera.rotation @ camera.position_m
    theirs, _ = cv2.projectPoints(point[np.newaxis], vector, shift, camera.intrinsics, None)
    assert camera.project([point])[0] == pytest.approx(theirs.ravel(), rel=1e-9, abs=1e-6)


def test_published_camera_table() -> None:
    with (REFERENCE / "camera.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert len(rows) > 50
    for row in rows:
        value = {key: float(text) for key, text in row.items() if key != "case"}
        # The table counts pitch positive downward and turns its Y up.
        principal, down = (value["cx"], value["cy"]), value["pitch_down_deg"]
        camera = Camera(value["f_px"], principal, (1, 1), -down, 0.0, value["cam_height_m"])
        pixel = camera.project([[value["X_right_m"], value["Z_forward_m"], value["Y_up_m"]]])[0]
        assert pixel == pytest.approx((value["u_px"], value["v_px"]), abs=1e-4)
        assert camera.horizon_row(value["cx"]) == pytest.approx(value["horizon_row_px"], abs=1e-4)


@given(cameras, st.floats(1, 300))
def test_ground_row_closed_form(camera: Camera, distance_m: float) -> None:
    # v_b − v_h = f·H / (cos p · (d·cos p − H·sin p)) without roll; Hartley & Zisserman 2004, ch. 8.
    level = Camera(camera.focal_px, camera.principal_px, camera.size_px, camera.pitch_deg, 0.0, camera.height_m)
    p = radians(level.pitch_deg)
    depth = distance_m * cos(p) - level.height_m * sin(p)
    if depth < 0.05:
        return
    row = ground_pixel(level, (0.0, distance_m))[1]
    expected = level.focal_px * level.height_m / (cos(p) * depth)
    assert row - level.horizon_row(level.principal_px[0]) == pytest.approx(expected, rel=1e-7, abs=1e-6)


@given(cameras, grounds)
def test_ground_and_pixel_are_inverses(camera: Camera, ground: tuple[float, float]) -> None:
    assume(in_front(camera, ground))
    pixel = ground_pixel(camera, ground)
    assert ground_point(camera, (pixel[0], pixel[1])) == pytest.approx(ground, rel=1e-6, abs=1e-6)


@given(cameras)
def test_horizon_and_angles_are_inverses(camera: Camera) -> None:
    pitch, roll = pitch_from_horizon(camera.horizon_line(), camera.focal_px, camera.principal_px)
    assert (pitch, roll) == pytest.approx((camera.pitch_deg, camera.roll_deg), abs=1e-9)


@given(cameras, grounds)
def test_object_of_camera_height_touches_the_horizon(camera: Camera, ground: tuple[float, float]) -> None:
    assume(in_front(camera, ground))
    # Perspective drawing, common practice, no source: what is as tall as the eye touches the eye level anywhere.
    u, v = camera.project([[*ground, camera.height_m]])[0]
    assert v == pytest.approx(camera.horizon_row(u), abs=1e-6)


@given(cameras, grounds, st.floats(-2000, 2000), st.floats(-2000, 2000))
def test_crop_moves_everything_alike(camera: Camera, ground: tuple[float, float], right: float, down: float) -> None:
    assume(in_front(camera, ground))
    moved = camera.shifted(right, down, (100, 100))
    assert ground_pixel(moved, ground) == pytest.approx(ground_pixel(camera, ground) + [right, down], abs=1e-6)
    pixel = ground_pixel(camera, ground)
    assert ground_point(moved, (pixel[0] + right, pixel[1] + down)) == pytest.approx(ground, rel=1e-6, abs=1e-6)


@pytest.mark.parametrize("row", [832.0, 832.175651, 0.0, -500.0])
def test_no_ground_on_or_above_the_horizon(row: float) -> None:
    with pytest.raises(GeometryError, match="horizon"):
        ground_point(PLATE, (1500.0, row))


def test_points_behind_the_camera_are_refused() -> None:
    with pytest.raises(GeometryError, match="behind"):
        PLATE.project([[0.0, -5.0, 0.0]])


@given(cameras, st.floats(0.1, 50.0))
def test_another_height_leaves_the_rest_as_worked_out_anew(camera: Camera, height_m: float) -> None:
    assert camera.horizon_line()[1] > 0.0  # worked out, and with it all that is kept
    raised, anew = camera.at_height(height_m), replace(camera, height_m=height_m)
    assert raised == anew
    for name in ("intrinsics", "rotation", "matrix"):
        assert getattr(raised, name).tolist() == getattr(anew, name).tolist()
    assert raised.horizon_line().tolist() == anew.horizon_line().tolist()


def test_what_a_camera_keeps_cannot_be_written_to() -> None:
    camera = Camera(1000.0, (500.0, 400.0), (1000, 800), -5.0, 1.0, 1.6)
    for kept in (camera.intrinsics, camera.rotation, camera.matrix, camera.horizon_line()):
        with pytest.raises(ValueError, match="read-only"):
            kept[0] = 0.0


def test_line_through_a_point() -> None:
    line = line_through((1500.0, PLATE.horizon_row(1500.0)), 2.0)
    pitch, roll = pitch_from_horizon(line, 2400.0, (1500.0, 1000.0))
    assert roll == pytest.approx(2.0)
    # distance of the principal point from the line = f·|tan pitch|
    assert -tan(radians(pitch)) * 2400.0 == pytest.approx((1000.0 - PLATE.horizon_row(1500.0)) * cos(radians(2.0)))
    assert degrees(atan2(line[0], line[1])) == pytest.approx(2.0)


def test_upright_horizon_is_refused() -> None:
    with pytest.raises(GeometryError, match="upright"):
        pitch_from_horizon(np.array([1.0, 0.0, -5.0]), 100.0, (0.0, 0.0))
