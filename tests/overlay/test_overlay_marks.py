"""Height bars, horizons carried into the plate, and vanishing points: each against Camera.project or a hand figure."""

from dataclasses import replace
from math import hypot

import numpy as np
import pytest
from overlay_plans import PLATE_1, PLATE_2, edges, placed, plan_of

from compositor.base.arrays import apply_homography
from compositor.geometry.camera import Camera
from compositor.overlay.bars import height_bar, tick_heights_m, tick_steps_m
from compositor.overlay.boxes import Box
from compositor.overlay.horizons import own_horizon, own_horizon_marks, plate_horizon
from compositor.overlay.marks import Band, Stroke
from compositor.overlay.perspective import edge_marks, vanishing
from compositor.overlay.style import Scale
from compositor.plan.model import EdgeGroup

SCALE = Scale.of((3000, 2000))
FRAME = Box(0.0, 0.0, 3000.0, 2000.0)


@pytest.mark.parametrize("camera", [PLATE_1, PLATE_2, replace(PLATE_1, roll_deg=7.0, pitch_deg=-20.0)])
@pytest.mark.parametrize("raise_m", [0.0, 0.4])
def test_ticks_stand_where_the_camera_sees_their_heights(camera: Camera, raise_m: float) -> None:
    element = placed(camera, "person", (0.8, 6.0), "a", raise_m=raise_m)
    bar = height_bar(element, camera, SCALE)
    assert len(bar.ticks) == 17
    for index, tick in enumerate(bar.ticks, 1):
        assert tick.height_m == pytest.approx(index / 10)
        seen = camera.project([[0.8, 6.0, raise_m + index / 10]])[0]
        assert np.allclose(tick.at_px, seen, atol=1e-6)
    assert [round(tick.height_m, 1) for tick in bar.ticks if tick.step_m == 0.5] == [0.5, 1.5]
    assert [tick.height_m for tick in bar.ticks if tick.step_m == 1.0] == [1.0]
    assert np.allclose(bar.head_px, camera.project([[0.8, 6.0, raise_m + 1.719]])[0], atol=1e-3)


def test_ticks_of_what_lies_flat_run_along_the_ground() -> None:
    element = placed(PLATE_1, "side table", (0.0, 5.0), "rug", stance="flat")
    bar = height_bar(replace(element, top_px=tuple(PLATE_1.project([[0.0, 6.25, 0.0]])[0])), PLATE_1, SCALE)
    for tick in bar.ticks:
        assert np.allclose(tick.at_px, PLATE_1.project([[0.0, 5.0 + tick.height_m, 0.0]])[0], atol=1e-6)
    assert bar.ticks[-1].height_m == pytest.approx(1.2)


def test_the_finest_step_that_leaves_room_is_taken() -> None:
    assert tick_steps_m(2.0, 400.0, 9.0) == (0.1, 0.5, 1.0)
    assert tick_steps_m(2.0, 100.0, 9.0) == (0.5, 1.0, 5.0)
    assert tick_steps_m(30.0, 300.0, 9.0) == (1.0, 5.0, 10.0)
    assert list(tick_heights_m(-0.25, (0.1, 0.5, 1.0))) == [(-0.2, 0.1), (-0.1, 0.1)]
    assert list(tick_heights_m(0.0, (0.1, 0.5, 1.0))) == []


@pytest.mark.parametrize("camera", [PLATE_1, PLATE_2])
@pytest.mark.parametrize("kind", ["lounge chair", "parasol", "person"])
def test_own_horizon_is_the_image_of_the_photographs_horizon(camera: Camera, kind: str) -> None:
    """Two routes: the line at the camera's own height in the plane, and the own horizon through the homography."""
    element = placed(camera, kind, (-0.9, 6.5), "a")
    piece = own_horizon(element, camera, SCALE)
    assert piece is not None and element.own_camera is not None
    row = element.own_camera.horizon_row(0.0)
    ends = apply_homography(element.homography_matrix, [(0.0, row), (float(element.own_size_px[0]), row)])
    (a, b), (c, d) = ends
    for u, v in piece:
        off = abs((u - a) * (d - b) - (v - b) * (c - a)) / hypot(c - a, d - b)
        assert off < 1e-6
    middle = (np.array(piece[0]) + piece[1]) / 2
    assert middle[1] - camera.horizon_row(float(middle[0])) == pytest.approx(element.horizon_gap_px, abs=1e-6)


def test_an_element_of_a_camera_as_high_as_the_plates_meets_its_horizon() -> None:
    element = placed(PLATE_1, "person", (1.0, 8.0), "a")  # its camera stood 1.55 m high, as the plate's
    piece = own_horizon(element, PLATE_1, SCALE)
    assert piece is not None
    assert all(v == pytest.approx(PLATE_1.horizon_row(u), abs=1e-6) for u, v in piece)
    assert len(own_horizon_marks(element, PLATE_1, SCALE)) == 1
    assert len(own_horizon_marks(placed(PLATE_1, "lantern", (1.0, 8.0), "b"), PLATE_1, SCALE)) == 2
    assert own_horizon(replace(element, own_camera=None), PLATE_1, SCALE) is None
    assert own_horizon(replace(element, stance="flat"), PLATE_1, SCALE) is None


def test_the_horizons_band_is_one_standard_deviation_on_either_side() -> None:
    plan = plan_of(PLATE_2, (), plus_minus={"horizon_left_px": 12.0, "horizon_right_px": 4.0})
    (left, right) = plan.plate.horizon_px
    band = next(mark for mark in plate_horizon(plan.plate, SCALE) if isinstance(mark, Band))
    assert band.upper_px == (left[1] - 12.0, right[1] - 4.0)
    assert band.lower_px == (left[1] + 12.0, right[1] + 4.0)
    assert left[1] == pytest.approx(231.5975365529523)  # the terrace's own record of its horizon
    assert right[1] == pytest.approx(206.46316194442534)
    bare = plate_horizon(plan_of(PLATE_2, (), plus_minus={}).plate, SCALE)
    assert [type(mark) for mark in bare] == [Stroke]


def test_a_horizon_outside_the_frame_draws_no_line() -> None:
    camera = replace(PLATE_1, pitch_deg=-40.0)
    assert plate_horizon(plan_of(camera, (), plus_minus={}).plate, SCALE) == ()


def test_a_vanishing_point_in_the_frame_is_met_by_its_edges() -> None:
    group = edges(PLATE_1, [((-1.0, 4.0, 0.0), (-1.0, 6.0, 0.0)), ((1.0, 4.0, 0.0), (1.0, 7.0, 0.0))])
    seen = vanishing(group, FRAME)
    assert seen.outside_px == 0.0
    assert seen.at_px == pytest.approx((1500.0, 803.2457329384539))  # straight ahead, on the recorded horizon
    dashed = [m for m in edge_marks(group, seen, FRAME) if isinstance(m, Stroke) and m.dashed]
    assert len(dashed) == 2
    assert all(mark.end_px == pytest.approx(seen.at_px) for mark in dashed)
    assert dashed[0].start_px == pytest.approx(tuple(PLATE_1.project([[-1.0, 6.0, 0.0]])[0]))


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_vanishing_point_outside_gets_its_way_and_distance(sign: float) -> None:
    """Edges along row 1000 meet at (4200, 1000): 1200 px right of a frame 3000 px wide; homogeneous sign is free."""
    group = EdgeGroup((((500.0, 1000.0), (900.0, 1000.0)),), (4200.0 * sign, 1000.0 * sign, sign))
    seen = vanishing(group, FRAME)
    assert seen.outside_px == pytest.approx(1200.0)
    assert seen.at_px == pytest.approx((3000.0, 1000.0))
    assert seen.direction == pytest.approx((1.0, 0.0))


def test_a_vanishing_point_at_infinity_has_a_way_but_no_distance() -> None:
    seen = vanishing(EdgeGroup((((500.0, 900.0), (900.0, 900.0)),), (-1.0, 0.0, 0.0)), FRAME)
    assert seen.outside_px is None
    assert seen.at_px == pytest.approx((0.0, 900.0))
