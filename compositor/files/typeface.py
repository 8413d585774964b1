"""Fonts: opened by the file that the scene names, never by another; shaped, or refused.

Text is shaped by HarfBuzz and ordered by FriBiDi, through Pillow. FriBiDi is a library of the system; without it Pillow
would quietly set other distances, and Arabic or Devanagari wrongly, so nothing is set at all then.
"""

import threading
from functools import cached_property, lru_cache
from pathlib import Path

import numpy as np
from fontTools.ttLib import TTFont, TTLibError  # type: ignore[import-untyped]
from PIL import Image, ImageDraw, ImageFont, features

from compositor.base.arrays import Pixels
from compositor.base.errors import PictureError
from compositor.base.lettering import Ink

NO_SHAPING = (
    "copy cannot be set on this machine: the library FriBiDi is missing, without which letters are put in the wrong "
    "order or place; install it (on Debian and Ubuntu: apt-get install libfribidi0)"
)
_MEASURED_PX = 256  # large enough that rounding to whole pixels does not show in any size that is set
_FINE = 4  # masks are drawn this much larger and averaged, so that letters keep their distances at small sizes
_INVISIBLE = frozenset("\n\u200b\u200c\u200d\u200e\u200f\u00ad\u2060\u202f\u00a0\ufeff")
"""Characters that show nothing of their own; spaces of other widths fall back on the plain one."""


class OpenTypeface:
    """A font file. Raises PictureError where it cannot be used, or where this machine cannot shape text."""

    def __init__(self, path: Path) -> None:
        if not path.is_file():
            raise PictureError(path, "no such font file")
        if not (features.check("raqm") and features.check("fribidi")):
            raise PictureError(path, NO_SHAPING)
        self.path = path
        self._lock = threading.Lock()
        try:
            with path.open("rb") as file, TTFont(file, lazy=True, fontNumber=0) as font:
                self._characters = frozenset(font.getBestCmap() or {})
            self._measure = ImageFont.truetype(path, _MEASURED_PX, layout_engine=ImageFont.Layout.RAQM)
        except (TTLibError, OSError, KeyError, ValueError, AttributeError) as error:
            raise PictureError(path, "is not a font that can be read (TrueType or OpenType)") from error
        self.ink = lru_cache(maxsize=20_000)(self._ink)

    @cached_property
    def cap_height(self) -> float:
        """Height of a flat capital over the base line, in type sizes; of x where there is none."""
        letter = next((letter for letter in "Hx" if ord(letter) in self._characters), None)
        return 0.0 if letter is None else -self.ink(letter, True).top

    def missing(self, text: str) -> tuple[str, ...]:
        """The characters that it has no glyph for, each once."""
        shown = [character for character in text if character not in _INVISIBLE]
        return tuple(dict.fromkeys(character for character in shown if ord(character) not in self._characters))

    def _ink(self, text: str, rightwards: bool) -> Ink:
        """The ink of one line about its pen's start on the base line, in type sizes."""
        way = "ltr" if rightwards else "rtl"
        with self._lock:
            mask, (x, y) = self._measure.getmask2(text, "L", direction=way, anchor="ls")
        box = mask.getbbox()  # tighter than the font's own box, which holds the room about its letters
        if box is None:
            return Ink(0.0, 0.0, 0.0, 0.0)
        left, top, right, bottom = box
        return Ink(*(value / _MEASURED_PX for value in (x + left, y + top, x + right, y + bottom)))

    def draw(self, line: str, rightwards: bool, type_px: float, pen_px: tuple[float, float]) -> tuple[Pixels, int, int]:
        """Coverage (h, w) uint8 of one line whose pen starts at (left, base) in px, and the mask's left and top px."""
        ink = self.ink(line, rightwards)
        left = int(np.floor(pen_px[0] + ink.left * type_px)) - 2
        top = int(np.floor(pen_px[1] + ink.top * type_px)) - 2
        width = int(np.ceil(pen_px[0] + ink.right * type_px)) + 2 - left
        height = int(np.ceil(pen_px[1] + ink.bottom * type_px)) + 2 - top
        font = ImageFont.truetype(self.path, type_px * _FINE, layout_engine=ImageFont.Layout.RAQM)
        mask = Image.new("L", (width * _FINE, height * _FINE), 0)
        at = ((pen_px[0] - left) * _FINE, (pen_px[1] - top) * _FINE)
        ImageDraw.Draw(mask).text(at, line, 255, font, anchor="ls", direction="ltr" if rightwards else "rtl")
        return np.asarray(mask.reduce(_FINE)), left, top
