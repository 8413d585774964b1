"""Placing labels: never over one another, never outside, the same every time."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from compositor.overlay.boxes import Box, clip, cut, outside
from compositor.overlay.labels import Board, Wish, leader

SIZES = st.tuples(st.integers(5, 220), st.integers(5, 160))
POINTS = st.tuples(st.floats(0, 800), st.floats(0, 600))
BOUNDS = Box(6.0, 6.0, 794.0, 594.0)


def placed(wishes: list[tuple[tuple[int, int], tuple[float, float], tuple[float, float]]]) -> list[Box | None]:
    board = Board(BOUNDS, 4.0)
    board.taken.append(Box(300.0, 200.0, 360.0, 260.0))
    board.precious.append((Box(0.0, 280.0, 800.0, 320.0), 2.0))
    return [
        board.place(Wish(size, (start, end), np.array([[start[0] + 9, start[1] - size[1] / 2]]), 500.0))
        for size, start, end in wishes
    ]


@given(st.lists(st.tuples(SIZES, POINTS, POINTS), min_size=1, max_size=25))
@settings(max_examples=50, deadline=None)
def test_labels_never_overlap_nor_leave_the_frame(wishes: list) -> None:  # type: ignore[type-arg]
    boxes = placed(wishes)
    found = [box for box in boxes if box is not None]
    for (size, _, _), box in zip(wishes, boxes, strict=True):
        if box is not None:
            assert (box.width, box.height) == size
            assert BOUNDS.left <= box.left and box.right <= BOUNDS.right
            assert BOUNDS.top <= box.top and box.bottom <= BOUNDS.bottom
            assert not box.overlaps(Box(300.0, 200.0, 360.0, 260.0))
    for index, box in enumerate(found):
        assert not any(box.overlaps(other) for other in found[index + 1 :])


@given(st.lists(st.tuples(SIZES, POINTS, POINTS), min_size=2, max_size=12))
@settings(max_examples=30, deadline=None)
def test_leaders_run_through_no_other_label(wishes: list) -> None:  # type: ignore[type-arg]
    boxes = placed(wishes)
    lines = [(box, leader(box, (s, e))) for (_, s, e), box in zip(wishes, boxes, strict=True) if box is not None]
    for box, line in lines:
        for other, _ in lines:
            if other is not box:
                inside = clip(*line, other)
                assert inside is None or np.hypot(*(np.array(inside[1]) - inside[0])) < 1e-6


@given(st.lists(st.tuples(SIZES, POINTS, POINTS), min_size=1, max_size=10))
@settings(max_examples=15, deadline=None)
def test_the_same_wishes_get_the_same_places(wishes: list) -> None:  # type: ignore[type-arg]
    assert placed(wishes) == placed(wishes)


def test_no_room_is_said_not_squeezed() -> None:
    board = Board(Box(0.0, 0.0, 100.0, 100.0), 2.0)
    wish = Wish((90.0, 60.0), ((50.0, 50.0), (50.0, 50.0)), np.empty((0, 2)), 1e9)
    assert board.place(wish) is not None
    assert board.place(wish) is None
    assert board.place(Wish((101.0, 10.0), ((5.0, 5.0), (5.0, 5.0)), np.empty((0, 2)), 1e9)) is None


def test_a_label_keeps_near_and_off_what_is_precious() -> None:
    board = Board(Box(0.0, 0.0, 1000.0, 1000.0), 2.0, precious=[(Box(400.0, 400.0, 600.0, 600.0), 5.0)])
    box = board.place(Wish((80.0, 40.0), ((500.0, 500.0), (500.0, 500.0)), np.empty((0, 2)), 1e9))
    assert box is not None
    assert not box.overlaps(Box(401.0, 401.0, 599.0, 599.0))
    assert np.hypot(*(np.array(box.centre) - 500.0)) < 220


def test_clipping_keeps_what_is_inside() -> None:
    """A segment through a square, worked by hand."""
    assert clip((-10.0, 5.0), (30.0, 5.0), Box(0.0, 0.0, 20.0, 20.0)) == ((0.0, 5.0), (20.0, 5.0))
    assert clip((-10.0, 30.0), (30.0, 30.0), Box(0.0, 0.0, 20.0, 20.0)) is None
    assert clip((5.0, 5.0), (5.0, 5.0), Box(0.0, 0.0, 20.0, 20.0)) == ((5.0, 5.0), (5.0, 5.0))
    triangle = np.array([[0.0, 0.0], [10.0, 0.0], [0.0, 10.0]])
    assert np.allclose(cut(triangle, np.array([-1.0, 0.0, 5.0])), [[0, 0], [5, 0], [5, 5], [0, 10]])


def test_what_lies_behind_a_polygon_is_taken_out_of_a_line_for_either_sense_of_rotation() -> None:
    square = np.array([[10.0, 10.0], [20.0, 10.0], [20.0, 20.0], [10.0, 20.0]])
    for polygon in (square, square[::-1]):
        assert np.allclose(outside((0.0, 15.0), (40.0, 15.0), polygon), [(0.0, 0.25), (0.5, 1.0)])
        assert outside((0.0, 5.0), (40.0, 5.0), polygon) == ((0.0, 1.0),)
        assert np.allclose(outside((15.0, 15.0), (35.0, 15.0), polygon), [(0.25, 1.0)])
        assert outside((12.0, 15.0), (18.0, 15.0), polygon) == ()
