"""The picture that goes with an estimated camera: edges by direction, ways to vanishing points, the horizon's band."""

from dataclasses import dataclass

import numpy as np

from compositor.base.arrays import Floats
from compositor.geometry.camera import Camera
from compositor.overlay.boxes import Box, Point, clip
from compositor.overlay.captions import Caption, caption_size_px, draw_caption
from compositor.overlay.ink import Frame, Pen, draw_band, draw_line, draw_ring
from compositor.overlay.labels import Board, Wish
from compositor.overlay.perspective import Vanishing, vanishing
from compositor.overlay.style import (
    BLACK,
    SKY_BLUE,
    WHITE,
    YELLOW,
    Colour,
    Scale,
    TextSize,
)
from compositor.overlay.wording import TextLine
from compositor.plan.model import EdgeGroup

# Palette of M. Okabe & K. Ito, Color Universal Design, 2008, as for the overlay; yellow is the horizon's.
COLOURS: tuple[Colour, ...] = (
    SKY_BLUE,
    (230, 159, 0),
    (0, 158, 115),
    (204, 121, 167),
    (213, 94, 0),
    (0, 114, 178),
    WHITE,
)
BAND_OPACITY = 0.22  # by eye
MOST_NAMED = 7  # directions with a label; further ones are drawn in white


@dataclass(frozen=True)
class Drawn:
    """camera: the estimated one. row_sd_px: of the horizon at both sides. groups: (what it is, edges (n, 2, 2), its
    vanishing point as a homogeneous pixel)."""

    camera: Camera
    row_sd_px: tuple[float, float]
    groups: tuple[tuple[str, Floats, Floats], ...]


def draw_estimate(rgb: Frame, drawn: Drawn) -> Frame:
    """Draw over an 8-bit RGB picture (h, w, 3); the picture given is left as it was. Equal inputs, equal bytes."""
    frame = np.ascontiguousarray(rgb).copy()
    height, width = frame.shape[:2]
    scale, box = Scale.of((width, height)), Box(0.0, 0.0, float(width), float(height))
    rows = (drawn.camera.horizon_row(0.0), drawn.camera.horizon_row(float(width)))
    upper = (rows[0] - drawn.row_sd_px[0], rows[1] - drawn.row_sd_px[1])
    lower = (rows[0] + drawn.row_sd_px[0], rows[1] + drawn.row_sd_px[1])
    draw_band(frame, upper, lower, Pen(YELLOW, 0.0, BAND_OPACITY))
    board = Board(box.grown(-scale.px(4.0)), scale.px(3.0))
    board.taken.append(Box(0.0, min(rows) - scale.px(2.0), float(width), max(rows) + scale.px(2.0)))
    names: list[tuple[str, Point, Colour]] = []
    for index, (what, edges, point) in enumerate(drawn.groups):
        colour = COLOURS[min(index, len(COLOURS) - 1)]
        seen = _seen(edges, point, box)
        for edge in edges:
            _line(frame, _pair(edge[0]), _pair(edge[1]), colour, scale.px(1.0), scale)
        board.taken.append(_draw_goal(frame, seen, colour, scale))
        if index < MOST_NAMED:
            names.append((f"{what} ({len(edges)})", seen.at_px, colour))
    _line(frame, (0.0, rows[0]), (float(width), rows[1]), YELLOW, scale.px(1.0), scale)
    middle = box.nearest((width * 0.5, (rows[0] + rows[1]) / 2))
    row = drawn.camera.horizon_row(width / 2)
    names.append((f"horizon, row {row:.0f} ± {max(drawn.row_sd_px):.0f}", middle, YELLOW))
    for text, at, colour in names:
        _label(frame, text, at, colour, scale, board)
    return frame


def _seen(edges: Floats, point: Floats, frame: Box) -> Vanishing:
    """Where a group's vanishing point is, or which way it is."""
    unit = point / np.linalg.norm(point)
    ends = tuple((_pair(edge[0]), _pair(edge[1])) for edge in edges)
    return vanishing(EdgeGroup(ends, (float(unit[0]), float(unit[1]), float(unit[2]))), frame)


def _draw_goal(frame: Frame, seen: Vanishing, colour: Colour, scale: Scale) -> Box:
    """A ring on a vanishing point, or an arrow at the border towards one outside; the box that it fills."""
    if seen.outside_px != 0.0:
        return _arrow(frame, seen, colour, scale)
    for more, tone in ((scale.px(1.6), BLACK), (0.0, colour)):
        draw_ring(frame, seen.at_px, scale.px(6.0), Pen(tone, scale.px(1.4) + more))
    return Box.around(np.array([seen.at_px]), scale.px(8.0))


def _arrow(frame: Frame, seen: Vanishing, colour: Colour, scale: Scale) -> Box:
    """An arrow whose tip touches the border on the way to a vanishing point outside; the box that it fills."""
    (u, v), (right, down) = seen.at_px, seen.direction
    tip = (u - right * scale.px(3.0), v - down * scale.px(3.0))
    length, barb = scale.px(26.0), scale.px(8.0)
    tails = [(tip[0] - right * length, tip[1] - down * length)]
    tails += [(tip[0] - barb * (right + s * 0.6 * down), tip[1] - barb * (down - s * 0.6 * right)) for s in (-1, 1)]
    for tail in tails:
        _line(frame, tip, tail, colour, scale.px(2.0), scale)
    return Box.around(np.array([tip, *tails]), scale.px(1.0))


def _line(frame: Frame, start: Point, end: Point, colour: Colour, width_px: float, scale: Scale) -> None:
    """A line with a dark rim, so that it shows on every ground."""
    seen = clip(start, end, Box(0.0, 0.0, float(frame.shape[1]), float(frame.shape[0])))
    if seen is None:
        return
    width_px = max(width_px, 1.0)
    draw_line(frame, *seen, Pen(BLACK, width_px + 2 * max(scale.px(0.5), 0.5), 0.55))
    draw_line(frame, *seen, Pen(colour, width_px))


def _label(frame: Frame, text: str, at: Point, colour: Colour, scale: Scale, board: Board) -> None:
    """A word near a place, where no other word stands; left out where there is no room."""
    lines = (TextLine(text, TextSize.BODY),)
    size = caption_size_px(lines, scale)
    gap = scale.px(9.0)
    corners = [
        (at[0] + dx * (gap + size[0] / 2) - size[0] / 2, at[1] + dy * (gap + size[1] / 2) - size[1] / 2)
        for dx, dy in ((0, -1), (0, 1), (1, 0), (-1, 0), (1, -1), (-1, -1), (1, 1), (-1, 1))
    ]
    placed = board.place(Wish(size, (at, at), np.array(corners), scale.px(90.0)))
    if placed is None:
        return
    draw_caption(frame, Caption(placed, lines, None), scale)
    foot = (placed.left, placed.bottom), (placed.right, placed.bottom)
    draw_line(frame, *foot, Pen(colour, max(scale.px(1.4), 1.0)))


def _pair(values: Floats) -> Point:
    return float(values[0]), float(values[1])
