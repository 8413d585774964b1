"""Straight edges and the edge of the sea, on pictures whose geometry is drawn and hence known."""

from unittest import mock

import numpy as np
import pytest

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2
from compositor.measure import edges
from compositor.measure.edges import hough_segments, line_segments, picture_edges
from compositor.measure.skyline import find_skyline


def half_plane(angle_deg: float, size_px: tuple[int, int] = (400, 300), fine: int = 8) -> Pixels:
    """Dark above, light below a line through the picture's centre, antialiased by averaging."""
    width, height = size_px
    u, v = np.meshgrid((np.arange(width * fine) + 0.5) / fine, (np.arange(height * fine) + 0.5) / fine)
    angle = np.radians(angle_deg)
    below = (v - height / 2) * np.cos(angle) - (u - width / 2) * np.sin(angle) > 0
    cover = below.reshape(height, fine, width, fine).mean(axis=(1, 3))
    return np.rint(60 + 130 * cover).astype(np.uint8)


@pytest.mark.parametrize("angle_deg", [0.0, 7.0, 33.0, -20.0])
def test_an_edge_is_found_where_it_is(angle_deg: float) -> None:
    """Continuous pixels with the origin in the corner: the edge runs through (200, 150) exactly."""
    found = line_segments(half_plane(angle_deg))
    assert found.dtype == np.float32
    assert found.shape[1:] == (4,)
    longest = found[np.argmax(np.hypot(found[:, 2] - found[:, 0], found[:, 3] - found[:, 1]))].astype(float)
    step = longest[2:] - longest[:2]
    assert np.hypot(*step) > 300
    off = np.degrees(np.arctan2(step[1], step[0])) - angle_deg
    assert (off + 90) % 180 - 90 == pytest.approx(0.0, abs=0.15)
    across = np.array([step[1], -step[0]]) / np.hypot(*step)
    assert float(across @ (np.array([200.0, 150.0]) - longest[:2])) == pytest.approx(0.0, abs=0.3)


def test_the_detector_is_there() -> None:
    """It moved between OpenCV's modules before; the stand-in is coarser, so its absence must not pass unseen."""
    assert hasattr(cv2, "createLineSegmentDetector")


def test_the_stand_in_finds_the_same_edge() -> None:
    picture = half_plane(20.0)
    with mock.patch.object(edges, "cv2", spec=["Canny", "HoughLinesP"]) as without:
        without.Canny, without.HoughLinesP = cv2.Canny, cv2.HoughLinesP
        found = line_segments(picture)
    assert len(found) > 0
    assert np.array_equal(found, hough_segments(picture) + np.float32(0.5))
    step = found[:, 2:] - found[:, :2]
    assert np.degrees(np.arctan2(step[:, 1], step[:, 0])) == pytest.approx(np.full(len(found), 20.0), abs=2.0)


def test_an_even_picture_has_no_edges() -> None:
    assert line_segments(np.full((80, 120), 128, np.uint8)).shape == (0, 4)


def test_a_large_picture_is_searched_at_a_working_size() -> None:
    picture = np.repeat(np.kron(half_plane(10.0), np.ones((6, 6), np.uint8))[..., np.newaxis], 3, axis=2)
    found = picture_edges(picture)
    longest = found[np.argmax(np.linalg.norm(found[:, 1] - found[:, 0], axis=1))]
    step = longest[1] - longest[0]
    assert np.degrees(np.arctan2(step[1], step[0])) % 180 == pytest.approx(10.0, abs=0.2)
    across = np.array([step[1], -step[0]]) / np.hypot(*step)
    assert float(across @ (np.array([1200.0, 900.0]) - longest[0])) == pytest.approx(0.0, abs=2.0)


def sea(row: float, roll_deg: float, seed: int, broken: float = 0.0) -> Pixels:
    """A clear sky over waves; `broken`: how far the edge wanders, in pixels."""
    random = np.random.default_rng(seed)
    height, width = 480, 720
    v, u = np.mgrid[:height, :width] + 0.5
    wander = np.interp(np.arange(width), np.linspace(0, width, 9), random.normal(0, 1, 9)) * broken
    below = v - (row - np.tan(np.radians(roll_deg)) * (u - width / 2) + wander)
    waves = cv2.GaussianBlur(random.normal(0, 1, (height, width)), (0, 0), 1.0) * 25
    sky = 200.0 - 30.0 * (1 - v / height)
    grey = np.where(below < 0, sky, 90.0 + waves)[..., np.newaxis] * [0.9, 1.0, 1.1]
    soft = cv2.GaussianBlur(grey + random.normal(0, 2, grey.shape), (0, 0), 0.7)
    return np.clip(soft, 0, 255).astype(np.uint8)


@pytest.mark.parametrize(("row", "roll_deg"), [(200.0, 0.0), (300.0, 2.5), (150.0, -6.0)])
def test_the_edge_of_the_sea(row: float, roll_deg: float) -> None:
    found = find_skyline(sea(row, roll_deg, 1))
    assert found is not None
    fall = np.tan(np.radians(roll_deg)) * 360
    assert (found.left_px, found.right_px) == pytest.approx((row + fall, row - fall), abs=2.5)
    assert found.roll_deg == pytest.approx(roll_deg, abs=0.3)
    assert 0.0 < found.row_sd_px < 5.0


def test_a_ridge_is_no_sea() -> None:
    assert find_skyline(sea(200.0, 0.0, 2, broken=18.0)) is None


def test_a_dark_ceiling_is_no_sky() -> None:
    assert find_skyline(sea(200.0, 0.0, 3)[::-1].copy()) is None


def test_two_edges_are_no_horizon() -> None:
    picture = sea(200.0, 0.0, 4)
    picture[380:] = np.clip(picture[380:].astype(int) + 90, 0, 255).astype(np.uint8)
    assert find_skyline(picture) is None
