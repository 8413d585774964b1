"""Facts of mattes: hulls in continuous pixels."""

import numpy as np
import pytest

from compositor.base.opencv import cv2
from compositor.measure.facts import frame_hull, matte_hull


def test_hull_of_a_rectangle_is_its_pixel_corners() -> None:
    alpha = np.zeros((50, 40), np.uint16)
    alpha[10:30, 5:25] = 65535
    hull = set(matte_hull(alpha, 65535.0))
    assert hull == {(5.0, 10.0), (25.0, 10.0), (25.0, 30.0), (5.0, 30.0)}


@pytest.mark.parametrize("seed", range(6))
def test_hull_is_that_of_all_corners_of_all_pixels(seed: int) -> None:
    random = np.random.default_rng(seed)
    alpha = (random.random((60, 45)) < (0.001, 0.02, 0.5)[seed % 3]).astype(np.uint16) * np.uint16(65535)
    alpha[20:22] = 0  # a thing in two parts
    alpha[random.integers(5, 15) : 18, 7:30] = 65535
    v, u = np.nonzero(alpha)
    corners = np.concatenate([np.column_stack([u + x, v + y]) for x in (0, 1) for y in (0, 1)]).astype(np.int32)
    expected = {(float(u), float(v)) for u, v in cv2.convexHull(corners).reshape(-1, 2)}
    assert set(matte_hull(alpha, 65535.0)) == expected


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
