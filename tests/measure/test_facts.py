"""Facts of mattes: hulls in continuous pixels."""

import numpy as np
import pytest

from compositor.measure.facts import build_of, frame_hull, matte_hull


def test_hull_of_a_rectangle_is_its_pixel_corners() -> None:
    alpha = np.zeros((50, 40), np.uint16)
    alpha[10:30, 5:25] = 65535
    hull = set(matte_hull(alpha, 65535.0))
    assert hull == {(5.0, 10.0), (25.0, 10.0), (25.0, 30.0), (5.0, 30.0)}


def test_faint_pixels_do_not_count_beside_covered_ones() -> None:
    alpha = np.zeros((50, 40), np.float32)
    alpha[10:30, 5:25] = 1.0
    alpha[0, 0] = 0.3
    assert (0.0, 0.0) not in matte_hull(alpha, 1.0)


def test_a_faint_matte_is_taken_at_half_of_its_own() -> None:
    alpha = np.zeros((50, 40), np.float32)
    alpha[10:30, 5:25] = 0.2
    assert len(matte_hull(alpha, 1.0)) == 4


def test_empty_matte_is_refused() -> None:
    with pytest.raises(ValueError, match="empty"):
        matte_hull(np.zeros((5, 5), np.uint16), 65535.0)


def test_frame_hull() -> None:
    assert frame_hull((3, 2)) == ((0.0, 0.0), (3.0, 0.0), (3.0, 2.0), (0.0, 2.0))


def test_parts_are_as_broad_as_the_balls_that_fit_into_them() -> None:
    alpha = np.zeros((300, 400), np.uint16)
    alpha[10:290, 5:25] = 65535  # a pole 20 px wide
    assert build_of(alpha, 65535.0).breadth_px == pytest.approx(20.0, abs=1.5)
    disc = np.zeros((300, 400), np.uint16)
    y, x = np.mgrid[:300, :400]
    disc[np.hypot(x - 200, y - 150) < 80] = 65535
    assert build_of(disc, 65535.0).breadth_px == pytest.approx(160.0, rel=0.15)
    large = np.kron(disc, np.ones((5, 5), np.uint16))
    assert build_of(large, 65535.0).breadth_px == pytest.approx(5 * build_of(disc, 65535.0).breadth_px, rel=0.1)


def test_legs_leave_the_front_open_and_a_box_does_not() -> None:
    alpha = np.zeros((300, 200), np.uint16)
    alpha[20:280, 40:160] = 65535
    assert build_of(alpha, 65535.0).apart_ratio == 0.0
    alpha[200:280, 70:130] = 0
    assert build_of(alpha, 65535.0).apart_ratio == pytest.approx(0.5, abs=0.02)
