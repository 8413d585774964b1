"""Vanishing points, horizon and focal length against published values and cameras of our own making.

Published values: the formulas of Hartley & Zisserman 2004, sections 8.6 and 8.8, and Caprile & Torre 1990, computed
with a bare OpenCV camera by an independent script (three camera sets and a box of corner points; pitch positive
DOWN there, so it is negated here).
"""

from math import hypot, sqrt

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from compositor.base.arrays import Floats
from compositor.base.errors import GeometryError
from compositor.base.opencv import cv2
from compositor.geometry.camera import Camera, pitch_from_horizon
from compositor.geometry.vanishing import (
    VanishingPoint,
    focal_from_perpendicular,
    horizon_through,
    vanishing_point,
)

CENTRE = (960.0, 540.0)
FOCAL = 1200.0
# pitch down, roll, then the vanishing points of right, forward and vertical
PUBLISHED = {
    "V1": ((12.0, 0.0), ((2712.0644, 284.9321), (100.9793, 284.9321), (960.0, 6185.5561))),
    "V2": ((12.0, 3.0), ((2696.3141, 193.5857), (88.8073, 330.2394), (1255.4656, 6177.8191))),
    "V3": ((-6.0, -2.0), ((1967.4475, 701.3828), (-481.5074, 615.8634), (1358.4558, -10870.2823))),
}
# corners of a box seen by the V2 camera: (x, y, z) in the box to pixels
BOX = {
    (-1, 0, 8): (965.9989, 534.2744),
    (-1, 0, 11): (760.6049, 486.4997),
    (-1, 2.2, 8): (948.1179, 185.6610),
    (-1, 2.2, 11): (737.5277, 221.0927),
    (1, 0, 8): (1182.1066, 491.7241),
    (1, 0, 11): (951.3349, 457.6382),
    (1, 2.2, 8): (1178.1713, 186.7039),
    (1, 2.2, 11): (938.6081, 218.2689),
}


def edges_towards(pixel: tuple[float, float], count: int = 4) -> Floats:
    """Edges inside a 1920 × 1080 frame that run exactly through a pixel."""
    starts = np.array([[200.0 + 500 * i, 150.0 + 270 * ((i * 3) % 4)] for i in range(count)])
    to_point = np.array(pixel) - starts
    reach = np.minimum(0.5, 300.0 / np.linalg.norm(to_point, axis=1))
    return np.stack([starts, starts + to_point * reach[:, np.newaxis]], axis=1)


def estimated(pixel: tuple[float, float]) -> VanishingPoint:
    return vanishing_point(edges_towards(pixel), FOCAL, CENTRE)


def box_edges(axis: int, digits: int) -> Floats:
    corners = {key: tuple(round(value, digits) for value in pixel) for key, pixel in BOX.items()}
    pairs = [
        (corners[one], corners[two])
        for one in BOX
        for two in BOX
        if one[axis] < two[axis] and all(one[k] == two[k] for k in range(3) if k != axis)
    ]
    assert len(pairs) == 4
    return np.array(pairs)


@pytest.mark.parametrize("name", PUBLISHED)
def test_published_points_give_pitch_roll_and_focal(name: str) -> None:
    (down_deg, roll_deg), pixels = PUBLISHED[name]
    right, forward, vertical = (estimated(pixel) for pixel in pixels)
    for point, pixel in zip((right, forward, vertical), pixels, strict=True):
        assert point.pixel == pytest.approx(pixel, abs=1e-4)
    horizon = horizon_through([right, forward], None)
    assert not horizon.roll_assumed
    assert pitch_from_horizon(horizon.line, FOCAL, CENTRE) == pytest.approx((-down_deg, roll_deg), abs=1e-3)
    for one, two in ((right, forward), (right, vertical), (forward, vertical)):
        fit = focal_from_perpendicular(one, two, CENTRE)
        assert fit is not None
        assert fit.focal_px == pytest.approx(FOCAL, abs=0.05)


def test_published_horizon_lines() -> None:
    first = horizon_through([estimated(pixel) for pixel in PUBLISHED["V1"][1][:2]], None)
    assert first.row_px == pytest.approx(284.9321, abs=1e-4)
    second = horizon_through([estimated(pixel) for pixel in PUBLISHED["V2"][1][:2]], None)
    assert second.line == pytest.approx([0.0523359562, 0.9986295348, -334.4345927567], abs=1e-3)
    assert second.row_px == pytest.approx(284.582082, abs=1e-3)
    below_px = float(second.line @ np.array([*CENTRE, 1.0]))
    assert below_px == pytest.approx(255.067874, abs=1e-3)


def test_hand_computable_focal() -> None:
    fit = focal_from_perpendicular(estimated((-640.0, 340.0)), estimated((1760.0, 340.0)), CENTRE)
    assert fit is not None
    assert fit.focal_px == pytest.approx(sqrt(1_240_000), abs=1e-6)


@pytest.mark.parametrize(("digits", "within_px"), [(4, 0.05), (2, 0.5), (1, 2.0)])
def test_box_of_the_published_camera(digits: int, within_px: float) -> None:
    rounding_sd_px = 10.0**-digits / sqrt(12)
    across, upright, along = (
        vanishing_point(box_edges(axis, digits), FOCAL, CENTRE, rounding_sd_px) for axis in range(3)
    )
    for point, pixel in zip((across, along, upright), PUBLISHED["V2"][1], strict=True):
        off = point.homogeneous - np.array([*pixel, 1.0]) / np.linalg.norm([*pixel, 1.0])
        assert sqrt(off @ np.linalg.pinv(point.covariance, rcond=1e-9, hermitian=True) @ off) < 3.0
    for one, two in ((across, upright), (across, along), (along, upright)):
        fit = focal_from_perpendicular(one, two, CENTRE)
        assert fit is not None
        assert fit.focal_px == pytest.approx(FOCAL, abs=within_px)


cameras = st.builds(
    Camera,
    focal_px=st.floats(700, 4000),
    principal_px=st.just(CENTRE),
    size_px=st.just((1920, 1080)),
    pitch_deg=st.floats(-25, 25),
    roll_deg=st.floats(-8, 8),
    height_m=st.floats(0.5, 4),
)


def world_edges(camera: Camera, direction: Floats, seed: int) -> Floats:
    """Six edges of one world direction, seen by a camera: points 6 to 15 m away."""
    random = np.random.default_rng(seed)
    starts = np.column_stack([random.uniform(-3, 3, 6), random.uniform(6, 15, 6), random.uniform(-1, 5, 6)])
    return np.stack([camera.project(starts), camera.project(starts + direction * 1.5)], axis=1)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(camera=cameras, heading_deg=st.floats(8, 82), seed=st.integers(0, 2**31))
def test_any_camera_is_found_again(camera: Camera, heading_deg: float, seed: int) -> None:
    heading = np.radians(heading_deg)
    one = np.array([np.sin(heading), np.cos(heading), 0.0])
    two = np.array([np.cos(heading), -np.sin(heading), 0.0])
    points = [vanishing_point(world_edges(camera, d, seed), 1920.0, CENTRE, 1e-3) for d in (one, two)]
    for point, direction in zip(points, (one, two), strict=True):
        truth = camera.direction_px(direction)
        truth /= np.linalg.norm(truth) * np.sign(truth[2])
        # The angle on the sphere of the centred, focal-scaled frame.
        ray, wanted = (np.linalg.solve(camera.intrinsics, vector) for vector in (point.homogeneous, truth))
        sine = np.linalg.norm(np.cross(ray, wanted)) / np.linalg.norm(ray) / np.linalg.norm(wanted)
        assert sine < 1e-6
    horizon = horizon_through(points, None)
    assert horizon.line == pytest.approx(camera.horizon_line(), rel=1e-6, abs=1e-6)
    fit = focal_from_perpendicular(points[0], points[1], CENTRE)
    assert fit is not None
    assert fit.focal_px == pytest.approx(camera.focal_px, rel=1e-6)


def test_verticals_of_a_level_camera_meet_at_infinity() -> None:
    camera = Camera(1500.0, CENTRE, (1920, 1080), 0.0, 2.0, 1.6)
    upright = vanishing_point(world_edges(camera, np.array([0.0, 0.0, 1.0]), 3), 1500.0, CENTRE)
    assert upright.pixel is None
    level = vanishing_point(world_edges(camera, np.array([1.0, 1.0, 0.0]) / sqrt(2), 3), 1500.0, CENTRE)
    assert focal_from_perpendicular(upright, level, CENTRE) is None


def test_one_vanishing_point_takes_a_roll_and_says_so() -> None:
    camera = Camera(1500.0, CENTRE, (1920, 1080), -5.0, 3.0, 1.6)
    point = vanishing_point(world_edges(camera, np.array([0.3, 0.95, 0.0]), 5), 1500.0, CENTRE)
    assumed = horizon_through([point], None)
    assert assumed.roll_assumed
    assert assumed.roll_deg == 0.0
    told = horizon_through([point], 3.0)
    assert not told.roll_assumed
    assert told.line == pytest.approx(camera.horizon_line(), abs=1e-6)


def test_level_lines_across_the_picture_tell_no_row() -> None:
    flat = vanishing_point(np.array([[[0.0, 100.0], [500.0, 100.0]], [[0.0, 300.0], [500.0, 300.0]]]), 1500.0, CENTRE)
    with pytest.raises(GeometryError, match="roll"):
        horizon_through([flat], 0.0)


def test_a_poor_third_point_is_outvoted_and_named() -> None:
    camera = Camera(1500.0, CENTRE, (1920, 1080), -5.0, 1.0, 1.6)
    good = [
        vanishing_point(world_edges(camera, np.array(d), 7), 1500.0, CENTRE, 0.1)
        for d in ((0.5, 0.9, 0.0), (0.9, -0.5, 0.0))
    ]
    bad = vanishing_point(world_edges(camera, np.array([0.3, 0.9, 0.02]), 8), 1500.0, CENTRE, 1.0)
    fit = horizon_through([*good, bad], None)
    wanted = camera.horizon_line()
    assert fit.line == pytest.approx(wanted, abs=3.0)
    assert int(np.argmax(fit.misfits_sd)) == 2


def test_stated_deviations_are_the_measured_ones() -> None:
    """Sampling against first-order propagation (GEOMETRY.md, equation 11): agreement within 15 %."""
    camera = Camera(1500.0, CENTRE, (1920, 1080), -6.0, 1.5, 1.6)
    random = np.random.default_rng(11)
    headings = (np.array([0.6, 0.8, 0.0]), np.array([0.8, -0.6, 0.0]))
    clean = [world_edges(camera, heading, 21) for heading in headings]
    rows, rolls, focals = [], [], []
    for _ in range(400):
        points = [vanishing_point(edges + random.normal(0, 0.3, edges.shape), 1500.0, CENTRE, 0.3) for edges in clean]
        fit, focal = horizon_through(points, None), focal_from_perpendicular(*points, CENTRE)
        assert focal is not None
        rows.append(fit.row_px)
        rolls.append(fit.roll_deg)
        focals.append(focal.focal_px)
    points = [vanishing_point(edges, 1500.0, CENTRE, 0.3) for edges in clean]
    fit, focal = horizon_through(points, None), focal_from_perpendicular(*points, CENTRE)
    assert focal is not None
    assert np.std(rows) == pytest.approx(sqrt(fit.covariance[0, 0]), rel=0.15)
    assert np.std(rolls) == pytest.approx(sqrt(fit.covariance[1, 1]), rel=0.15)
    assert np.std(focals) == pytest.approx(focal.focal_sd_px, rel=0.15)


@pytest.mark.parametrize(
    ("edges", "message"),
    [
        ([[[0, 0], [100, 0]]], "two or more"),
        ([[[0, 0], [100, 0]], [[50, 50], [50, 50]]], "no length"),
        ([[[0, 0], [100, 100]], [[200, 200], [400, 400]]], "one line"),
    ],
)
def test_degenerate_edges_are_refused(edges: list[list[list[float]]], message: str) -> None:
    with pytest.raises(GeometryError, match=message):
        vanishing_point(np.array(edges, dtype=np.float64), FOCAL, CENTRE)


def test_coinciding_points_and_an_upright_horizon_are_refused() -> None:
    point = estimated((100.0, 300.0))
    with pytest.raises(GeometryError, match="coincide"):
        horizon_through([point, point], None)
    with pytest.raises(GeometryError, match="upright"):
        horizon_through([point, estimated((100.0, 5000.0))], None)
    with pytest.raises(GeometryError, match="at least one"):
        horizon_through([], None)


@given(u=st.floats(-30000, 30000), v=st.floats(-30000, 30000))
@settings(max_examples=60, deadline=None, derandomize=True)
def test_the_point_is_exact_wherever_it_lies(u: float, v: float) -> None:
    assume(not (0 < u < 1920 and 0 < v < 1080))
    edges = edges_towards((u, v))
    assume(np.linalg.svd(edges.reshape(-1, 2) - edges.reshape(-1, 2).mean(axis=0), compute_uv=False)[1] > 50)
    pixel = vanishing_point(edges, FOCAL, CENTRE).pixel
    assert pixel is not None
    assert pixel == pytest.approx((u, v), abs=1e-6 * max(1.0, hypot(u, v) ** 2 / 3000))


def test_edges_projected_by_an_independent_camera() -> None:
    """OpenCV's projectPoints sees the edges and gives the rotation; points, horizon and lens come out to 1e-6."""
    rotation = cv2.Rodrigues(np.array([0.11, -0.32, 0.04]))[0]
    matrix = np.array([[1340.0, 0.0, 960.0], [0.0, 1340.0, 540.0], [0.0, 0.0, 1.0]])
    random = np.random.default_rng(8)
    points = []
    for axis in np.eye(3):
        starts = random.uniform([-3, -3, 6], [3, 3, 12], (5, 3))
        ends = np.concatenate([starts, starts + 1.5 * axis])
        seen, _ = cv2.projectPoints(ends, rotation, np.zeros(3), matrix, np.zeros(5))
        edges = np.asarray(seen).reshape(2, 5, 2).transpose(1, 0, 2)
        points.append(vanishing_point(edges, 1920.0, CENTRE))
        wanted = matrix @ rotation @ axis
        sine = np.linalg.norm(np.cross(points[-1].homogeneous, wanted)) / np.linalg.norm(wanted)
        assert sine < 1e-6
    horizon = horizon_through([points[0], points[2]], None)
    wanted = np.cross(matrix @ rotation[:, 0], matrix @ rotation[:, 2])
    wanted /= np.hypot(wanted[0], wanted[1]) * np.sign(wanted[1])
    assert horizon.line == pytest.approx(wanted, rel=1e-6)
    for one, two in ((0, 1), (0, 2), (1, 2)):
        fit = focal_from_perpendicular(points[one], points[two], CENTRE)
        assert fit is not None
        assert fit.focal_px == pytest.approx(1340.0, rel=1e-6)
