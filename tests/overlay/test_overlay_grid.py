"""The ground grid: where its lines lie, how its steps grow, what it leaves out."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from overlay_plans import PLATE_1, PLATE_2

from compositor.geometry.camera import Camera
from compositor.geometry.ground import ground_point
from compositor.overlay.grid import CLOSER_RATIO, apart_px, ground_grid, ground_window_m, ladder_m, zone_distances_m

CAMERAS = st.builds(
    lambda focal, cx, cy, pitch, roll, height: Camera(focal, (cx, cy), (1500, 1000), pitch, roll, height),
    st.floats(600, 6000),
    st.floats(-200, 1700),
    st.floats(-200, 1200),
    st.floats(-89, 20),
    st.floats(-25, 25),
    st.floats(0.2, 30),
)


def test_ladder_is_the_preferred_series_one_two_five() -> None:
    """The 1–2–5 series of preferred values (IEC 60063 predecessor; common practice on every scale and map)."""
    ladder = ladder_m(0.5)
    assert [next(ladder) for _ in range(8)] == [0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0]
    assert next(ladder_m(0.3875)) == 0.5
    assert next(ladder_m(2.0)) == 2.0


@pytest.mark.parametrize("camera", [PLATE_1, PLATE_2])
def test_rows_of_lines_across_follow_equation_of_the_ground(camera: Camera) -> None:
    """Distance from the horizon = f·H / (cos p · (d·cos p − H·sin p)), for any roll: the pinhole model on paper."""
    pitch = np.radians(camera.pitch_deg)
    horizon = camera.horizon_line()
    lines = [line for line in ground_grid(camera, 60.0) if line.distance_m is not None]
    assert len(lines) >= 5
    for line in lines:
        below = camera.focal_px * camera.height_m / np.cos(pitch)
        below /= line.distance_m * np.cos(pitch) - camera.height_m * np.sin(pitch)
        for u, v in (line.start_px, line.end_px):
            assert horizon @ [u, v, 1.0] == pytest.approx(below, abs=1e-6)


@given(CAMERAS)
@example(Camera(600.0, (0.0, 600.0), (1500, 1000), 0.0, 0.0, 0.201171875))  # a line that only touches a corner
@settings(max_examples=60, deadline=None)
def test_every_line_stays_in_the_frame_below_the_horizon_and_returns_to_its_distance(camera: Camera) -> None:
    gap = 45.0
    for line in ground_grid(camera, gap):
        for point in (line.start_px, line.end_px):
            assert -1e-6 <= point[0] <= 1500 + 1e-6
            assert -1e-6 <= point[1] <= 1000 + 1e-6
            a, b, c = camera.horizon_line()
            assert a * point[0] + b * point[1] + c >= gap * (1 - 1e-6)
            if line.distance_m is not None:
                assert ground_point(camera, point)[1] == pytest.approx(line.distance_m, rel=1e-6, abs=1e-6)
        if line.distance_m is None:
            x_start, y_start = ground_point(camera, line.start_px)
            x_end, y_end = ground_point(camera, line.end_px)
            assert x_start == pytest.approx(x_end, rel=1e-6, abs=1e-6)
            assert y_start != y_end


@given(CAMERAS)
@settings(max_examples=60, deadline=None)
def test_steps_never_shrink_and_lines_keep_apart(camera: Camera) -> None:
    gap, window = 45.0, ground_window_m(camera, 45.0)
    if len(window) < 3:
        return
    nearest, farthest = float(window[:, 1].min()), float(window[:, 1].max())
    found = list(zone_distances_m(camera, nearest, farthest, gap))
    steps = [step for _, step in found]
    assert steps == sorted(steps)
    assert all(distance / step == pytest.approx(round(distance / step), abs=1e-6) for distance, step in found)
    distances = [distance for distance, _ in found]
    assert all(nearest < distance <= farthest for distance in distances)
    for near, far in pairwise(distances):
        assert apart_px(camera, near, far) >= CLOSER_RATIO * gap * (1 - 1e-9)


def test_steps_grow_with_distance_and_each_zone_is_square() -> None:
    found = list(zone_distances_m(PLATE_1, 3.1, 60.0, 85.0))
    assert found[0][1] < found[-1][1]
    lines = ground_grid(PLATE_1, 85.0)
    offsets = sorted(ground_point(PLATE_1, line.start_px)[0] for line in lines if line.distance_m is None)
    assert offsets[0] < -1 < 1 < offsets[-1]
    first_step = found[0][1]
    assert all(offset / first_step == pytest.approx(round(offset / first_step), abs=1e-6) for offset in offsets)


def test_a_camera_that_sees_no_ground_has_no_grid() -> None:
    assert ground_grid(Camera(2500.0, (750.0, 500.0), (1500, 1000), 30.0, 0.0, 1.6), 30.0) == ()


def test_a_camera_that_looks_straight_down_has_a_grid_of_squares() -> None:
    """At pitch −90 the picture is a map at scale f/H, so cells are as wide as they are high."""
    lines = ground_grid(Camera(1000.0, (500.0, 500.0), (1000, 1000), -89.999999, 0.0, 4.0), 40.0)
    across = sorted(line.start_px[1] for line in lines if line.distance_m is not None)
    depth = sorted({round(line.start_px[0], 3) for line in lines if line.distance_m is None})
    assert np.diff(across) == pytest.approx(250.0, abs=0.01)
    assert np.diff(depth) == pytest.approx(250.0, abs=0.01)
