"""What mattes tell of the parts of things: shapes whose local thickness is known in closed form."""

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from compositor.measure.build import build_of, row_ends


def pole_and_disc(size_px: int) -> np.ndarray:
    """A pole as broad as a fortieth of the picture and a disc of two fifths of it, uint8."""
    large = np.zeros((4 * size_px, 4 * size_px), np.uint8)
    cv2.rectangle(large, (size_px // 10, size_px // 10), (size_px // 5 - 1, 39 * size_px // 10), 255, cv2.FILLED)
    cv2.circle(large, (5 * size_px // 2, 2 * size_px), 4 * size_px // 5, 255, cv2.FILLED)
    return cv2.resize(large, (size_px, size_px), interpolation=cv2.INTER_AREA)


@pytest.mark.parametrize("size_px", [400, 640, 1000, 1500, 2200])
def test_parts_are_as_broad_as_the_balls_that_fit_into_them(size_px: int) -> None:
    """Every pixel of a disc lies in a ball as broad as the disc, and of a bar, but for its corners, as the bar."""
    pole, disc = 0.025 * 0.95, np.pi * 0.2**2  # areas in pictures
    wanted = np.sqrt((pole * 0.025**2 + disc * 0.4**2) / (pole + disc))
    assert build_of(pole_and_disc(size_px), 255.0).breadth_px == pytest.approx(wanted * size_px, rel=0.05)


@pytest.mark.parametrize(("breadth_px", "off_by"), [(12, 0.1), (20, 0.08), (60, 0.05), (150, 0.05)])
def test_a_pole_is_as_broad_as_it_is(breadth_px: int, off_by: float) -> None:
    alpha = np.zeros((590, 400), np.uint16)
    alpha[5:-5, 25 : 25 + breadth_px] = 65535
    assert build_of(alpha, 65535.0).breadth_px == pytest.approx(breadth_px, rel=off_by)


def test_the_same_matte_in_any_depth_is_the_same_build() -> None:
    eight = pole_and_disc(700)
    floats = eight.astype(np.float32) / np.float32(255.0)
    assert build_of(eight, 255.0) == build_of(eight.astype(np.uint16) * 257, 65535.0) == build_of(floats, 1.0)


@given(arrays(np.bool_, st.tuples(st.integers(1, 9), st.integers(1, 40))))
def test_ends_of_rows(covered: np.ndarray) -> None:
    wanted = [(row.nonzero()[0][0], row.nonzero()[0][-1] + 1, 7 + y) for y, row in enumerate(covered) if row.any()]
    assert row_ends(covered, 7).T.tolist() == [list(ends) for ends in wanted]


def test_one_pixel_and_none() -> None:
    alpha = np.zeros((30, 40), np.uint8)
    assert build_of(alpha, 255.0).breadth_px == 0.0
    alpha[10, 20] = 255
    assert build_of(alpha, 255.0).breadth_px == pytest.approx(1.0, abs=0.5)


def test_legs_leave_the_front_open_and_a_box_does_not() -> None:
    alpha = np.zeros((300, 200), np.uint16)
    alpha[20:280, 40:160] = 65535
    assert build_of(alpha, 65535.0).apart_ratio == 0.0
    alpha[200:280, 70:130] = 0
    assert build_of(alpha, 65535.0).apart_ratio == pytest.approx(0.5, abs=0.02)
