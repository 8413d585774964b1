"""A sheet of paper to draw on: lines, polygons, text that is broken to a width; sizes in millimetres and points."""

from collections.abc import Sequence
from functools import cache
from math import hypot

from PIL import Image, ImageDraw, ImageFont

from compositor.base.letters import printable

DPI = 300
MM = DPI / 25.4
"""Pixels per millimetre."""

Point = tuple[float, float]
Colour = tuple[int, int, int]

INK: Colour = (24, 26, 30)
SOFT: Colour = (110, 116, 124)
PALE: Colour = (226, 229, 233)
SUBJECT: Colour = (204, 121, 167)
HORIZON: Colour = (0, 114, 178)
SUNLIGHT: Colour = (230, 159, 0)
"""Colours of things from M. Okabe & K. Ito, Color Universal Design, 2008: they differ for every common colour vision
and as greys."""


@cache
def _font(size_px: int) -> ImageFont.FreeTypeFont:
    found = ImageFont.load_default(size_px)
    if not isinstance(found, ImageFont.FreeTypeFont):
        raise RuntimeError("this Pillow was built without FreeType, which text needs")
    return found


class Paper:
    """White paper of a size in mm. Places are in mm from its top left corner, text sizes in points."""

    def __init__(self, width_mm: float, height_mm: float) -> None:
        self.image = Image.new("RGB", (round(width_mm * MM), round(height_mm * MM)), (255, 255, 255))
        self._draw = ImageDraw.Draw(self.image)

    def line(self, points: Sequence[Point], colour: Colour = INK, width_mm: float = 0.35) -> None:
        """An unbroken line through points."""
        self._draw.line([_px(point) for point in points], colour, max(1, round(width_mm * MM)), joint="curve")

    def dashed(self, start: Point, end: Point, colour: Colour = INK, width_mm: float = 0.35) -> None:
        """A dashed line."""
        length = hypot(end[0] - start[0], end[1] - start[1])
        step, on = 3.2, 2.0
        for index in range(int(length / step) + 1):
            first, last = index * step / max(length, 1e-9), min((index * step + on) / max(length, 1e-9), 1.0)
            if first < 1.0:
                self.line([_along(start, end, first), _along(start, end, last)], colour, width_mm)

    def polygon(self, points: Sequence[Point], fill: Colour, rim: Colour | None = None) -> None:
        """A filled polygon."""
        self._draw.polygon([_px(point) for point in points], fill, rim, max(1, round(0.3 * MM)))

    def disc(self, centre: Point, radius_mm: float, fill: Colour) -> None:
        """A filled circle."""
        (u, v), r = _px(centre), radius_mm * MM
        self._draw.ellipse((u - r, v - r, u + r, v + r), fill)

    def frame(self, corner: Point, opposite: Point, colour: Colour = INK, width_mm: float = 0.35) -> None:
        """The outline of a rectangle."""
        self._draw.rectangle((*_px(corner), *_px(opposite)), None, colour, max(1, round(width_mm * MM)))

    def span(self, start: Point, end: Point, text: str, beside: Point = (0.0, 0.0)) -> None:
        """A dimension line with ends, its text in the middle, moved by `beside`."""
        self.line([start, end], SOFT, 0.25)
        length = max(hypot(end[0] - start[0], end[1] - start[1]), 1e-9)
        across = ((end[1] - start[1]) / length * 1.2, -(end[0] - start[0]) / length * 1.2)
        for u, v in (start, end):
            self.line([(u - across[0], v - across[1]), (u + across[0], v + across[1])], SOFT, 0.25)
        middle = _along(start, end, 0.5)
        self.text((middle[0] + beside[0], middle[1] + beside[1]), text, 9.0, anchor="mm", ground=True)

    def text(
        self, at: Point, text: str, size_pt: float, colour: Colour = INK, anchor: str = "ls", ground: bool = False
    ) -> None:
        """One line of text. ground: with white under it."""
        font, place = _font(_text_px(size_pt)), _px(at)
        shown = printable(text)
        if ground:
            left, top, right, bottom = self._draw.textbbox(place, shown, font, anchor)
            self._draw.rectangle((left - 6, top - 4, right + 6, bottom + 4), (255, 255, 255))
        self._draw.text(place, shown, colour, font, anchor)

    def paragraph(self, at: Point, text: str, size_pt: float, width_mm: float, colour: Colour = INK) -> float:
        """Text broken between words to a width, its first line under `at`; the row below its last line, mm."""
        font, lines = _font(_text_px(size_pt)), [""]
        for word in printable(text).split(" "):
            longer = f"{lines[-1]} {word}".strip()
            if font.getlength(longer) <= width_mm * MM or not lines[-1]:
                lines[-1] = longer
            else:
                lines.append(word)
        leading = size_pt * 0.3528 * 1.32
        for index, line in enumerate(lines):
            self.text((at[0], at[1] + (index + 0.78) * leading), line, size_pt, colour)
        return at[1] + len(lines) * leading


def _text_px(size_pt: float) -> int:
    return round(size_pt / 72.0 * DPI)


def _px(point: Point) -> Point:
    return point[0] * MM, point[1] * MM


def _along(start: Point, end: Point, share: float) -> Point:
    return start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1])
