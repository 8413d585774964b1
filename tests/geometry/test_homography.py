"""Homographies and single points in plain numbers, against OpenCV and LAPACK (through numpy)."""

import cv2
import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from compositor.base.errors import GeometryError
from compositor.geometry.camera import Camera
from compositor.geometry.homography import (
    Matrix,
    carried,
    inverse,
    largest_scale,
    largest_scales,
    largest_stretch,
    product,
    scale_at,
)
from compositor.geometry.planes import Plane, facing, lying

numbers = st.floats(-10.0, 10.0, allow_subnormal=False)
rows = st.tuples(numbers, numbers, numbers)
matrices = st.tuples(rows, rows, rows)
points = st.tuples(numbers, numbers)
cameras = st.builds(
    Camera,
    st.floats(300, 5000),
    st.tuples(st.floats(0, 3000), st.floats(0, 2000)),
    st.just((3000, 2000)),
    st.floats(-40, 20),
    st.floats(-15, 15),
    st.floats(0.3, 30),
)


@given(matrices, matrices)
def test_products_are_those_of_numpy(first: Matrix, second: Matrix) -> None:
    assert np.array(product(first, second)) == pytest.approx(np.array(first) @ np.array(second), rel=1e-12, abs=1e-12)


@given(matrices)
def test_an_inverse_leads_back(matrix: Matrix) -> None:
    assume(np.linalg.cond(np.array(matrix)) < 1e5)
    assert np.array(inverse(matrix)) == pytest.approx(np.linalg.inv(np.array(matrix)), rel=1e-9, abs=1e-9)


def test_what_is_seen_edge_on_has_no_inverse() -> None:
    with pytest.raises(GeometryError, match="edge on"):
        inverse(((1.0, 2.0, 3.0), (2.0, 4.0, 6.0), (0.0, 0.0, 1.0)))


@given(matrices, points)
def test_points_are_carried_as_by_opencv(matrix: Matrix, point: tuple[float, float]) -> None:
    assume(abs(matrix[2][0] * point[0] + matrix[2][1] * point[1] + matrix[2][2]) > 1e-3)
    expected = cv2.perspectiveTransform(np.array([[point]]), np.array(matrix))[0, 0]
    assert carried(matrix, point) == pytest.approx(expected, rel=1e-9, abs=1e-9)


def test_a_point_of_the_maps_horizon_goes_to_infinity() -> None:
    assert carried(((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 1.0, -2.0)), (3.0, 2.0)) == (np.inf, np.inf)


@given(rows, numbers)
def test_the_largest_stretch_is_the_larger_singular_value(three: tuple[float, float, float], last: float) -> None:
    entries = [np.array([value]) for value in (*three, last)]
    expected = np.linalg.svd(np.array([*three, last]).reshape(2, 2), compute_uv=False)[0]
    assert largest_stretch(*entries)[0] == pytest.approx(expected, rel=1e-12, abs=1e-12)


@given(cameras, st.floats(-2, 2), st.floats(4, 20))
def test_scales_are_those_of_small_steps(camera: Camera, right_m: float, ahead_m: float) -> None:
    matrix = facing((right_m, ahead_m)).to_pixels(camera)
    step = 1e-4
    try:
        here, right, up = (
            camera.pixel(facing((right_m, ahead_m)).point_m(s, z)) for s, z in ((0, 0), (step, 0), (0, step))
        )
    except GeometryError:
        assume(False)
        return
    slopes = (np.array([right, up]) - here).T / step
    assert scale_at(matrix, (0.0, 0.0)) == pytest.approx(np.sqrt(abs(np.linalg.det(slopes))), rel=1e-3)
    expected = np.linalg.svd(slopes, compute_uv=False)[0]
    assert largest_scale(matrix, np.array([[0.0, 0.0]])) == pytest.approx(expected, rel=1e-3)


@given(cameras, st.tuples(st.floats(-5, 5), st.floats(2, 50), st.floats(-1, 4)))
def test_one_point_is_seen_as_many_are(camera: Camera, point: tuple[float, float, float]) -> None:
    try:
        seen = camera.pixel(point)
    except GeometryError:
        with pytest.raises(GeometryError):
            camera.project(point)
        return
    assume(abs(seen[0]) + abs(seen[1]) < 1e6)
    assert seen == pytest.approx(camera.project(point)[0], rel=1e-9, abs=1e-6)
    assert camera.ray(seen) == pytest.approx(camera.rays(seen)[0], rel=1e-12, abs=1e-12)


@given(cameras, st.floats(-5, 5), st.floats(2, 50))
def test_a_planes_pixels_are_those_of_its_points(camera: Camera, right_m: float, ahead_m: float) -> None:
    plane: Plane
    for plane in (facing((right_m, ahead_m), 0.3), lying((right_m, ahead_m))):
        columns = np.array([*zip(plane.right, plane.up, plane.origin_m, strict=True), (0.0, 0.0, 1.0)])
        assert plane.homography(camera) == pytest.approx(camera.matrix @ columns, rel=1e-9, abs=1e-9)


@given(st.lists(cameras, min_size=1, max_size=4))
def test_scales_of_several_maps_are_those_of_each(found: list[Camera]) -> None:
    matrices = [facing((0.5, 9.0)).to_pixels(camera) for camera in found]
    points = np.array([[0.0, 0.0], [1.0, 2.0], [-40.0, 3.0], [300.0, -700.0]])
    assert largest_scales(matrices, points) == [largest_scale(matrix, points) for matrix in matrices]
