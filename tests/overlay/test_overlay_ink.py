"""Antialiased lines, discs and bands against areas worked by hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw

from compositor.overlay.ink import Pen, draw_band, draw_disc, draw_line, draw_ring


def black(width: int = 80, height: int = 60) -> np.ndarray:
    return np.zeros((height, width, 3), np.uint8)


def cover(frame: np.ndarray) -> np.ndarray:
    return frame[..., 0] / 255.0


@given(
    st.tuples(st.floats(12, 68), st.floats(12, 48)),
    st.tuples(st.floats(12, 68), st.floats(12, 48)),
    st.floats(0.6, 6.0),
)
@settings(max_examples=60, deadline=None)
def test_a_line_covers_length_times_width(start: tuple[float, float], end: tuple[float, float], width: float) -> None:
    length = float(np.hypot(end[0] - start[0], end[1] - start[1]))
    if length < 8:
        return
    frame = black()
    draw_line(frame, start, end, Pen((255, 255, 255), width))
    assert cover(frame).sum() == pytest.approx(length * width, rel=0.06, abs=1.5)


def test_a_line_matches_a_sixteen_times_supersampled_polygon() -> None:
    frame, fine = black(), 16
    start, end, half = np.array([10.3, 12.7]), np.array([70.1, 41.9]), 1.5
    draw_line(frame, tuple(start), tuple(end), Pen((255, 255, 255), 2 * half))
    along = (end - start) / np.hypot(*(end - start))
    side = np.array([-along[1], along[0]]) * half
    mask = Image.new("L", (80 * fine, 60 * fine))
    corners = [tuple(p * fine) for p in (start + side, end + side, end - side, start - side)]
    ImageDraw.Draw(mask).polygon(corners, fill=255)
    expected = np.asarray(mask.reduce(fine)) / 255.0
    off = np.abs(cover(frame) - expected)
    assert off.max() < 0.16
    assert off.sum() / expected.sum() < 0.05


def test_steep_and_flat_lines_are_the_same_picture_turned() -> None:
    flat, steep = black(60, 60), black(60, 60)
    pen = Pen((200, 100, 50), 2.2, 0.9, (1.0, 0.3), (6.0, 3.0))
    draw_line(flat, (4.2, 10.1), (52.6, 33.3), pen)
    draw_line(steep, (10.1, 4.2), (33.3, 52.6), pen)
    assert flat.any()
    assert np.array_equal(flat, steep.transpose(1, 0, 2))


def test_a_line_fades_and_is_cut_off_at_full() -> None:
    frame = black()
    draw_line(frame, (0.0, 30.5), (80.0, 30.5), Pen((255, 255, 255), 1.0, 1.0, (0.0, 2.0)))
    row = cover(frame)[30]
    assert row[20] == pytest.approx(0.5, abs=0.03)
    assert row[45] == row[70] == 1.0
    faint = black()
    draw_line(faint, (0.0, 30.5), (80.0, 30.5), Pen((255, 255, 255), 1.0, 0.2, (0.0, 9.0)))
    assert cover(faint).max() == pytest.approx(0.2, abs=0.01)


def test_dashes_are_on_and_off_as_asked() -> None:
    frame = black()
    draw_line(frame, (0.0, 30.5), (80.0, 30.5), Pen((255, 255, 255), 1.0, dash_px=(10.0, 4.0, 2.0, 4.0)))
    row = np.rint(cover(frame)[30]).astype(int)
    assert row[1:10].all() and not row[10:14].any() and row[14:16].all() and not row[16:20].any() and row[21:30].all()


def test_lines_far_outside_leave_no_trace_and_cost_nothing() -> None:
    frame = black()
    draw_line(frame, (-1e9, -50.0), (1e9, -50.0), Pen((255, 255, 255), 3.0))
    assert not frame.any()
    draw_line(frame, (-1e7, 30.5), (1e7, 30.5), Pen((255, 255, 255), 1.0))
    assert (frame[30] == 255).all()


def test_discs_and_rings_cover_their_areas() -> None:
    disc, ring = black(), black()
    draw_disc(disc, (40.2, 30.7), 12.0, (255, 255, 255))
    draw_ring(ring, (40.2, 30.7), 12.0, Pen((255, 255, 255), 3.0))
    assert cover(disc).sum() == pytest.approx(np.pi * 144, rel=0.01)
    assert cover(ring).sum() == pytest.approx(2 * np.pi * 12 * 3, rel=0.01)
    assert ring[30, 40].sum() == 0
    draw_disc(disc, (-100.0, -100.0), 5.0, (255, 0, 0))


def test_a_band_covers_its_slanted_area_with_its_opacity() -> None:
    frame = np.full((60, 80, 3), 100, np.uint8)
    draw_band(frame, (10.0, 20.0), (30.5, 40.5), Pen((200, 200, 200), 0.0, 0.5))
    assert (frame[25, 40] == 150).all()
    assert (frame[5] == 100).all() and (frame[50] == 100).all()
    assert (frame[..., 0] - 100.0).sum() == pytest.approx(50 * 20.5 * 80, rel=0.01)
