"""Windows of deliveries keep what they are laid around."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compositor.base.errors import FaultyScene
from compositor.solve.framing import Box, union, window

sizes = st.tuples(st.integers(40, 3000), st.integers(40, 3000))


@st.composite
def framed(draw: st.DrawFn) -> tuple[tuple[int, int], Box]:
    wide, high = draw(sizes)
    left, right = sorted((draw(st.floats(0, wide)), draw(st.floats(0, wide))))
    top, bottom = sorted((draw(st.floats(0, high)), draw(st.floats(0, high))))
    return (wide, high), (left, top, max(right, left + 1e-3), max(bottom, top + 1e-3))


@given(framed(), sizes, st.floats(0, 0.45))
def test_box_is_kept_whole_or_the_lack_is_said(
    frame_and_box: tuple[tuple[int, int], Box], size_px: tuple[int, int], margin: float
) -> None:
    frame_px, box = frame_and_box
    try:
        found = window(frame_px, size_px, box, margin)
    except FaultyScene as error:
        fault = error.faults[0]
        shape = size_px[0] / size_px[1]
        largest = min(frame_px[0], frame_px[1] * shape)
        assert fault.key == ("size",) and "px short" in fault.what
        assert box[2] - box[0] > largest * 0.999 or box[3] - box[1] > largest / shape * 0.999
        return
    slack = 1e-6
    assert found.left >= -1e-6 and found.top >= -1e-6
    assert found.left + found.width <= frame_px[0] + 1e-6 and found.top + found.height <= frame_px[1] + 1e-6
    assert found.left <= box[0] + slack and found.top <= box[1] + slack
    assert found.left + found.width >= box[2] - slack and found.top + found.height >= box[3] - slack
    assert found.width / found.height == pytest.approx(size_px[0] / size_px[1], rel=1e-6)
    if found.margin_short_px == 0.0:
        assert found.left + margin * found.width <= box[0] + 1.001


@given(framed(), st.floats(0, 0.45))
def test_window_of_the_box_itself(frame_and_box: tuple[tuple[int, int], Box], margin: float) -> None:
    frame_px, box = frame_and_box
    found = window(frame_px, None, box, margin)
    assert found.left <= box[0] and found.top <= box[1]
    assert found.left + found.width >= box[2] - 1e-6 and found.top + found.height >= box[3] - 1e-6
    assert (found.left, found.width) == (round(found.left), round(found.width))


def test_centre_crops_of_a_photograph() -> None:
    # Centre-crop arithmetic from 6000 × 4000 (photographic aspect ratios: common practice, no source).
    for size, (width, height) in {
        (1, 1): (4000, 4000),
        (4, 5): (3200, 4000),
        (16, 9): (6000, 3375),
        (9, 16): (2250, 4000),
        (728, 90): (6000, 741.758),
        (160, 600): (1066.667, 4000),
        (970, 250): (6000, 1546.392),
    }.items():
        found = window((6000, 4000), size, None, 0.0)
        assert (found.width, found.height) == pytest.approx((width, height), abs=1e-3)
        assert found.left + found.width / 2 == pytest.approx(3000, abs=0.5)


def test_no_narrower_than_the_delivery_has_pixels() -> None:
    found = window((3000, 2000), (1080, 1080), (1000.0, 1000.0, 1100.0, 1100.0), 0.1)
    assert (found.width, found.height) == (1080.0, 1080.0)
    assert found.margin_short_px == 0.0


def test_short_margin_is_told() -> None:
    found = window((1000, 1000), (1000, 1000), (10.0, 0.0, 990.0, 1000.0), 0.1)
    assert found.margin_short_px == pytest.approx(100.0)


def test_union() -> None:
    assert union([(0, 5, 10, 15), (-3, 6, 4, 20)]) == (-3, 5, 10, 20)
