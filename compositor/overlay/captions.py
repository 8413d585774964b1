"""Blocks of text on a dark translucent ground, or single words with a dark rim: measured first, drawn later."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor

import numpy as np
from PIL import Image, ImageDraw

from compositor.overlay.boxes import Box, Point
from compositor.overlay.ink import Frame, Pen, draw_disc, draw_line, draw_ring
from compositor.overlay.style import (
    BLACK,
    LINES,
    PLATE,
    PLATE_OPACITY,
    TEXT,
    TEXT_FINE,
    VERMILLION,
    Colour,
    Kind,
    Scale,
    font,
    text_width_px,
)
from compositor.overlay.wording import Sign, TextLine

_FINE = 4  # shapes are drawn this much larger and averaged down
_LEADING = 1.36  # line height in text sizes, by eye


@dataclass(frozen=True)
class Caption:
    """Lines of text in their box (whole pixels). kind: colours the rim at the left. plated: with a ground under it."""

    box: Box
    lines: tuple[TextLine, ...]
    kind: Kind | None
    plated: bool = True


def caption_size_px(lines: Sequence[TextLine], scale: Scale, plated: bool = True) -> tuple[float, float]:
    """(width, height) in whole pixels that lines need."""
    pad_x, pad_y = _padding(scale, plated)
    widths = [line.indent_px + text_width_px(line.text, scale.text_px(line.size)) for line in lines]
    heights = [_line_height(line, scale) for line in lines]
    return float(ceil(max(widths, default=0.0) + 2 * pad_x)), float(ceil(sum(heights) + 2 * pad_y))


def draw_caption(frame: Frame, caption: Caption, scale: Scale) -> None:
    """Draw a caption into the frame, in place."""
    pad_x, pad_y = _padding(scale, caption.plated)
    if caption.plated:
        _draw_ground(frame, caption, scale)
    row = caption.box.top + pad_y
    for line in caption.lines:
        height = _line_height(line, scale)
        middle = row + height / 2
        left = caption.box.left + pad_x
        if line.sign is not None:
            _draw_sign(frame, line.sign, (left, middle), scale.text_px(line.size), scale)
        _draw_text(frame, line, (left + line.indent_px, middle), caption.plated, scale)
        row += height


def draw_number(frame: Frame, number: int, centre: Point, size_px: int) -> None:
    """A number in a light disc with a dark rim."""
    radius = 0.72 * size_px
    draw_disc(frame, centre, radius + max(1.0, 0.1 * size_px), BLACK, 0.7)
    draw_disc(frame, centre, radius, TEXT)
    text, small = str(number), max(6, round(size_px * (0.95 if number < 10 else 0.8)))
    _paint_text(frame, text, (centre[0] - text_width_px(text, small) / 2, centre[1]), small, PLATE, None)


def _padding(scale: Scale, plated: bool) -> tuple[float, float]:
    return (float(round(scale.px(4.0))), float(round(scale.px(2.6)))) if plated else (float(round(scale.px(1.0))), 0.0)


def _line_height(line: TextLine, scale: Scale) -> float:
    return float(round(_LEADING * scale.text_px(line.size)))


def _draw_ground(frame: Frame, caption: Caption, scale: Scale) -> None:
    box = caption.box
    width, height = int(box.width), int(box.height)
    mask = Image.new("L", (width * _FINE, height * _FINE))
    outline = (0, 0, width * _FINE - 1, height * _FINE - 1)
    ImageDraw.Draw(mask).rounded_rectangle(outline, scale.px(1.8) * _FINE, fill=round(255 * PLATE_OPACITY))
    _paste(frame, mask.reduce(_FINE), (int(box.left), int(box.top)), PLATE)
    if caption.kind is not None:
        inset, thick = scale.px(1.6), scale.px(1.1)
        column = box.left + inset
        pen = Pen(LINES[caption.kind].colour, thick)
        draw_line(frame, (column, box.top + 2 * inset), (column, box.bottom - 2 * inset), pen)


def _draw_sign(frame: Frame, sign: Sign, left_middle: Point, size_px: int, scale: Scale) -> None:
    left, middle = left_middle
    if isinstance(sign, Kind):
        style = LINES[sign]
        end = (left + 2.3 * size_px, middle)
        if style.colour == BLACK:
            draw_line(frame, (left, middle), end, Pen(style.casing, scale.px(style.width + 1.2)))
        dash = tuple(scale.px(part) for part in style.dash)
        draw_line(frame, (left, middle), end, Pen(style.colour, max(1.0, scale.px(style.width)), 1.0, dash_px=dash))
        _draw_emblem(frame, sign, (left + 1.15 * size_px, middle), size_px, scale)
    elif isinstance(sign, int):
        draw_number(frame, sign, (left + 0.6 * size_px, middle), round(0.85 * size_px))
    elif sign == "error":
        draw_disc(frame, (left + 0.5 * size_px, middle), 0.42 * size_px, VERMILLION)
    else:
        _draw_triangle(frame, (left + 0.5 * size_px, middle), size_px)


def _draw_emblem(frame: Frame, kind: Kind, centre: Point, size_px: int, scale: Scale) -> None:
    """The shape that a kind's marks have besides their line, so that the key shows both."""
    colour, (u, v) = LINES[kind].colour, centre
    if kind is Kind.ELEMENT:
        draw_ring(frame, centre, 0.30 * size_px, Pen(colour, max(1.0, scale.px(0.9))))
        draw_disc(frame, centre, 0.12 * size_px, colour)
    elif kind is Kind.CENTRE:
        arm = 0.45 * size_px
        draw_line(frame, (u, v - arm), (u, v + arm), Pen(LINES[kind].casing, scale.px(LINES[kind].width + 1.2)))
        draw_line(frame, (u, v - arm), (u, v + arm), Pen(colour, max(1.0, scale.px(LINES[kind].width))))
    elif kind is Kind.HORIZON:
        draw_line(frame, (u - 1.15 * size_px, v), (u + 1.15 * size_px, v), Pen(colour, 0.6 * size_px, 0.25))
    elif kind is Kind.GROUND:
        for share in (-0.75, -0.25, 0.25, 0.75):
            at, arm = u + share * size_px, 0.3 * size_px
            draw_line(frame, (at, v - arm), (at, v + arm), Pen(colour, max(0.7, scale.px(0.42))))


def _draw_triangle(frame: Frame, centre: Point, size_px: int) -> None:
    mask = Image.new("L", (size_px * _FINE, size_px * _FINE))
    far = size_px * _FINE
    ImageDraw.Draw(mask).polygon([(far * 0.5, far * 0.08), (far * 0.98, far * 0.9), (far * 0.02, far * 0.9)], fill=255)
    corner = (round(centre[0] - size_px / 2), round(centre[1] - size_px / 2))
    _paste(frame, mask.reduce(_FINE), corner, VERMILLION)


def _draw_text(frame: Frame, line: TextLine, left_middle: Point, plated: bool, scale: Scale) -> None:
    size_px = scale.text_px(line.size)
    _paint_text(frame, line.text, left_middle, size_px, TEXT, None if plated else size_px / 8)


def _paint_text(
    frame: Frame, text: str, left_middle: Point, size_px: int, colour: Colour, rim_px: float | None
) -> None:
    """One line of text, vertically centred on its capitals, with a dark rim of rim_px if given."""
    corner = (floor(left_middle[0]) - size_px, floor(left_middle[1]) - size_px)
    size = (ceil(text_width_px(text, size_px)) + 3 * size_px, 3 * size_px)
    # Capitals of this font are 0.72 of its size high: the baseline lies half of that under the middle.
    baseline = (left_middle[0] - corner[0], left_middle[1] + 0.36 * size_px - corner[1])
    if rim_px is not None:
        _paste(frame, _letters(text, size, baseline, size_px, rim_px), corner, PLATE)
    _paste(frame, _letters(text, size, baseline, size_px, 0.0), corner, colour)


def _letters(text: str, size: tuple[int, int], baseline: Point, size_px: int, rim_px: float) -> Image.Image:
    """The coverage of one line of text, thickened by rim_px, in a picture of its own."""
    mask = Image.new("L", (size[0] * TEXT_FINE, size[1] * TEXT_FINE))
    place = (round(baseline[0] * TEXT_FINE), round(baseline[1] * TEXT_FINE))
    rim = round(rim_px * TEXT_FINE)
    ImageDraw.Draw(mask).text(place, text, 255, font(size_px * TEXT_FINE), "ls", stroke_width=rim)
    return mask.reduce(TEXT_FINE)


def _paste(frame: Frame, mask: Image.Image, corner: tuple[int, int], colour: Colour) -> None:
    """Mix a colour in through a mask whose top-left corner lies at a pixel; parts outside the frame are left out."""
    cover = np.asarray(mask, dtype=np.float32) / 255.0
    left, top = max(corner[0], 0), max(corner[1], 0)
    right, bottom = min(corner[0] + cover.shape[1], frame.shape[1]), min(corner[1] + cover.shape[0], frame.shape[0])
    if left >= right or top >= bottom:
        return
    cover = cover[top - corner[1] : bottom - corner[1], left - corner[0] : right - corner[0], np.newaxis]
    region = frame[top:bottom, left:right]
    region[:] = np.rint(region + (np.array(colour, np.float32) - region) * cover).astype(np.uint8)
