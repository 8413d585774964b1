"""The look of the overlay: one colour and one dash per kind of mark, every size in proportion to the picture.

Colours are taken from the palette of M. Okabe & K. Ito, Color Universal Design, 2008 (jfly.uni-koeln.de/color),
chosen so that any two kinds stay apart for every common colour vision; dash and shape differ as well, so that
colour alone never carries a meaning. Sizes are in thousandths of the picture's diagonal, by eye.
"""

from dataclasses import dataclass
from enum import Enum
from functools import cache
from math import hypot

from PIL import ImageFont

Colour = tuple[int, int, int]

WHITE: Colour = (255, 255, 255)
BLACK: Colour = (0, 0, 0)
YELLOW: Colour = (240, 228, 66)
SKY_BLUE: Colour = (86, 180, 233)
VERMILLION: Colour = (213, 94, 0)
BLUE: Colour = (0, 114, 178)
REDDISH_PURPLE: Colour = (204, 121, 167)

TEXT: Colour = (246, 246, 244)
PLATE: Colour = (16, 18, 22)
"""Ground under text, by eye; see PLATE_OPACITY."""
PLATE_OPACITY = 0.86
"""Enough over a white picture for text above 4.5:1 and coloured signs above 3:1 (WCAG 2.2, criteria 1.4.3, 1.4.11)."""


class Kind(Enum):
    """What a mark stands for, in the words of the key."""

    GROUND = "ground, squares in metres"
    EDGE = "level edges to their vanishing point"
    HORIZON = "horizon of the plate, with its uncertainty"
    OWN_HORIZON = "horizon of an element's photograph"
    ELEMENT = "contact, height in 0.1, 0.5 and 1 m"
    CENTRE = "optical centre"
    WINDOW = "window of a delivery, its copy (broken: what stays uncovered)"


@dataclass(frozen=True)
class LineStyle:
    """A kind's line: dash is on, off, on, off … in thousandths (empty: unbroken); casing is the line under it."""

    colour: Colour
    width: float
    dash: tuple[float, ...]
    opacity: float
    casing: Colour
    casing_opacity: float


LINES: dict[Kind, LineStyle] = {
    Kind.GROUND: LineStyle(WHITE, 0.46, (), 0.75, BLACK, 0.34),
    Kind.EDGE: LineStyle(SKY_BLUE, 0.60, (3.2, 2.4), 0.95, BLACK, 0.30),
    Kind.HORIZON: LineStyle(YELLOW, 0.80, (), 0.95, BLACK, 0.40),
    Kind.OWN_HORIZON: LineStyle(VERMILLION, 1.10, (6.0, 1.6, 1.4, 1.6), 1.0, WHITE, 0.60),
    Kind.ELEMENT: LineStyle(REDDISH_PURPLE, 0.90, (), 1.0, BLACK, 0.55),
    Kind.CENTRE: LineStyle(BLACK, 0.70, (), 1.0, WHITE, 0.80),
    Kind.WINDOW: LineStyle(BLUE, 0.65, (5.0, 3.0), 1.0, WHITE, 0.55),
}
CASING_WIDTH = 0.45
"""How much wider than its line a casing is, on either side."""


@dataclass(frozen=True)
class Scale:
    """Sizes of one picture, from its diagonal."""

    diagonal_px: float

    @staticmethod
    def of(size_px: tuple[int, int]) -> "Scale":
        """The scale of a picture of (width, height)."""
        return Scale(hypot(*size_px))

    def px(self, thousandths: float) -> float:
        """A length in pixels."""
        return thousandths * self.diagonal_px / 1000.0

    def text_px(self, size: "TextSize") -> int:
        """A text size in whole pixels, never under 7, where letters end."""
        return max(7, round(self.px(size.value)))


class TextSize(Enum):
    """Text sizes in thousandths of the diagonal."""

    SMALL = 8.2
    BODY = 9.0
    TITLE = 10.8


@cache
def font(size_px: int) -> ImageFont.FreeTypeFont:
    """The scalable font inside Pillow, the same on every machine."""
    found = ImageFont.load_default(size_px)
    if not isinstance(found, ImageFont.FreeTypeFont):
        raise RuntimeError("this Pillow was built without FreeType, which the overlay's text needs")
    return found


TEXT_FINE = 4
"""Text is set this much larger and averaged down, so that letters keep their distances at small sizes."""


def text_width_px(text: str, size_px: int) -> float:
    """The advance width of one line of text."""
    return float(font(size_px * TEXT_FINE).getlength(text)) / TEXT_FINE
