"""Facts of mattes: hulls in continuous pixels."""

import numpy as np
import pytest

from compositor.measure.facts import frame_hull, matte_hull


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
