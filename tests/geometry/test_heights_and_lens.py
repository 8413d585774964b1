"""Single-view heights and lens statements against published and worked values."""

import csv
from math import atan, degrees, hypot
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compositor.base.errors import GeometryError
from compositor.base.opencv import cv2
from compositor.geometry.camera import Camera
from compositor.geometry.distortion import Distortion, distort, undistort
from compositor.geometry.heights import HeightReference, camera_height, camera_height_deviation, upright_height
from compositor.geometry.lens import focal_from_equivalent, focal_from_sensor, focal_from_view

REFERENCE = Path(__file__).parent.parent / "reference"
# h = 1.6 m, f = 1200 px, centre (960, 540), 10° down, 3° clockwise: worked numbers of Criminisi, Reid & Zisserman's
# single-view metrology (IJCV 40(2), 2000) recomputed with OpenCV's projectPoints.
ROLLED = Camera(1200.0, (960.0, 540.0), (1920, 1080), -10.0, 3.0, 1.6)


def seen(camera: Camera, x: float, y: float, z: float) -> tuple[float, float]:
    u, v = camera.project([[x, y, z]])[0]
    return float(u), float(v)


@pytest.mark.parametrize(("x", "y", "height_m"), [(-3, 15, 1.8), (1, 6, 2.2), (0, 5, 0.9), (4, 25, 3.5)])
def test_single_view_heights(x: float, y: float, height_m: float) -> None:
    found = upright_height(ROLLED, seen(ROLLED, x, y, 0), seen(ROLLED, x, y, height_m))
    assert found == pytest.approx(height_m, abs=1e-9)


def test_published_pixels_give_published_height() -> None:
    # (1,0,6) images at 1159.1180,633.2459 and its 2.2 m top at 1148.7815,192.0990; same worked example.
    assert upright_height(ROLLED, (1159.1180, 633.2459), (1148.7815, 192.0990)) == pytest.approx(2.2, abs=1e-5)


def test_simple_form_is_biased_once_the_camera_is_tilted() -> None:
    # (vb − vt)/(vb − v0)·h (Hoiem, Efros & Hebert, IJCV 80, 2008) misses 1.75 m at 5 m by +0.532 % at 10° down.
    camera = Camera(1200.0, (960.0, 540.0), (1920, 1080), -10.0, 0.0, 1.6)
    base, top = seen(camera, 0, 5, 0), seen(camera, 0, 5, 1.75)
    simple = (base[1] - top[1]) / (base[1] - camera.horizon_row(960.0)) * 1.6
    assert simple / 1.75 - 1 == pytest.approx(0.00532, abs=1e-5)
    assert upright_height(camera, base, top) == pytest.approx(1.75, abs=1e-9)


@given(st.floats(-25, 15), st.floats(-10, 10), st.floats(0.5, 8), st.lists(st.floats(0.3, 3), min_size=1, max_size=5))
def test_camera_height_from_references(pitch: float, roll: float, height_m: float, sizes: list[float]) -> None:
    camera = Camera(2000.0, (1000.0, 700.0), (2000, 1400), pitch, roll, height_m)
    references = [
        HeightReference(seen(camera, i - 2.0, 15 + 5.0 * i, 0), seen(camera, i - 2.0, 15 + 5.0 * i, size), size)
        for i, size in enumerate(sizes)
    ]
    assert camera_height(camera.at_height(1.0), references) == pytest.approx(height_m, rel=1e-9)


def test_more_references_make_the_height_surer() -> None:
    reference = HeightReference(seen(ROLLED, 0, 6, 0), seen(ROLLED, 0, 6, 1.8), 1.8)
    one = camera_height_deviation(ROLLED, [reference], 1.0)
    four = camera_height_deviation(ROLLED, [reference] * 4, 1.0)
    assert four == pytest.approx(one / 2, rel=0.02)


def test_contradicting_references_average_by_their_pixels() -> None:
    near = HeightReference(seen(ROLLED, 0, 4, 0), seen(ROLLED, 0, 4, 1.8), 1.8)
    far_and_wrong = HeightReference(seen(ROLLED, 0, 40, 0), seen(ROLLED, 0, 40, 1.8), 2.0)
    assert abs(camera_height(ROLLED, [near, far_and_wrong]) - 1.6) < 0.01


def test_top_below_contact_is_refused() -> None:
    with pytest.raises(GeometryError, match="above the contact"):
        upright_height(ROLLED, (960.0, 700.0), (960.0, 800.0))


def test_field_of_view_table() -> None:
    with (REFERENCE / "fields_of_view.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 19
    for row in rows:
        focal_mm = float(row["focal_mm"])
        focal_px = focal_from_sensor(focal_mm, (36.0, 24.0), (6000.0, 4000.0))
        assert focal_from_equivalent(focal_mm, (6000.0, 4000.0)) == pytest.approx(focal_px, rel=1e-12)
        for key, side in (("hfov_deg_36", 6000.0), ("vfov_deg_24", 4000.0), ("dfov_deg", hypot(6000, 4000))):
            assert degrees(2 * atan(side / 2 / focal_px)) == pytest.approx(float(row[key]), abs=1e-3)
        assert focal_from_view(float(row["hfov_deg_36"]), 6000.0) == pytest.approx(focal_px, rel=2e-4)


def test_equivalent_focal_length_goes_by_the_diagonal() -> None:
    # CIPA DCG-001 (equal diagonal angle of view): 26 mm on 4032 × 3024 is 3028.6631 px; by width it would be 2912.
    assert focal_from_equivalent(26.0, (4032.0, 3024.0)) == pytest.approx(3028.6631, abs=1e-4)
    assert focal_from_equivalent(28.0, (6000.0, 4000.0)) == pytest.approx(4666.6667, abs=1e-4)


def test_sensor_sides_in_either_order_and_upright_pictures() -> None:
    assert focal_from_sensor(24.0, (15.6, 23.5), (4000.0, 6000.0)) == pytest.approx(24.0 * 6000 / 23.5)


@given(st.floats(-0.2, 0.2), st.floats(-0.05, 0.05), st.floats(-0.005, 0.005), st.floats(-0.005, 0.005))
def test_distortion_and_its_inverse(k1: float, k2: float, p1: float, p2: float) -> None:
    lens = Distortion(k1, k2, p1, p2)
    points = [[100.0, 80.0], [1900.0, 1300.0], [1000.0, 700.0], [1500.0, 60.0]]
    there = distort(undistort(points, lens, 2000.0, (1000.0, 700.0)), lens, 2000.0, (1000.0, 700.0))
    assert there == pytest.approx(np.array(points), abs=1e-6)


def test_distortion_equals_opencv() -> None:
    lens, camera = Distortion(-0.21, 0.06, 0.001, -0.002, 0.01), ROLLED
    world = np.array([[1.0, 6.0, 0.5], [-2.0, 9.0, 1.9], [0.2, 5.0, 0.0]])
    vector, _ = cv2.Rodrigues(camera.rotation)
    shift = -camera.rotation @ camera.position_m
    coefficients = np.array([lens.k1, lens.k2, lens.p1, lens.p2, lens.k3])
    theirs, _ = cv2.projectPoints(world, vector, shift, camera.intrinsics, coefficients)
    ours = distort(camera.project(world), lens, camera.focal_px, camera.principal_px)
    assert ours == pytest.approx(theirs.reshape(-1, 2), abs=1e-8)


def test_folding_distortion_is_refused() -> None:
    with pytest.raises(GeometryError, match="distortion"):
        undistort([[1900.0, 1300.0]], Distortion(k1=-3.0), 1000.0, (1000.0, 700.0))
