"""Copy set into a box: the largest type that fits, lines of even length, every line in its place.

Sizes are found for the ink, not for the room that a font leaves about it: what is set touches no edge of its box.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from math import inf

from compositor.base.lettering import Ink, Typeface
from compositor.solve.breaking import pieces, runs_rightwards, shown

_STEP_PX = 0.25
_APART = 0.04
"""Lines never come nearer than this many type sizes, whatever marks stand over and under them; by eye."""


@dataclass(frozen=True)
class Setting:
    """How copy shall be set. size_px None: as large as fits, but no smaller than smallest_px."""

    leading: float
    size_px: float | None
    smallest_px: float
    most_lines: int | None


@dataclass(frozen=True)
class Fitted:
    """Type size, lines and their ink in type sizes. width_px, height_px: of all ink together."""

    size_px: float
    lines: tuple[str, ...]
    inks: tuple[Ink, ...]
    above: float  # from the top of the block to the first base line, in type sizes
    pitch: float  # from base line to base line, in type sizes
    width_px: float
    height_px: float


class Block:
    """Copy and the face it is set in, measured once for every stretch that was tried as a line."""

    def __init__(self, text: str, face: Typeface, leading: float) -> None:
        self.rightwards = runs_rightwards(text)
        self.leading, self.face = leading, face
        self.paragraphs = [pieces(paragraph) for paragraph in text.split("\n")]
        self.ink = cache(self._ink)

    def fit(self, setting: Setting, box_px: tuple[float, float]) -> Fitted | None:
        """The copy in a box (width, height); None where it does not fit."""
        if setting.size_px is not None:
            return self._at(setting.size_px, setting, box_px)
        low, high = setting.smallest_px, max(setting.smallest_px, box_px[1] * 4)
        best = self._at(low, setting, box_px)
        while best is not None and high - low > _STEP_PX:
            middle = (low + high) / 2.0
            tried = self._at(middle, setting, box_px)
            low, high, best = (low, middle, best) if tried is None else (middle, high, tried)
        return best

    def unfitted(self, setting: Setting, box_px: tuple[float, float]) -> Fitted:
        """The copy at the smallest size there is, broken for the box's width where it can be."""
        size_px = setting.smallest_px if setting.size_px is None else setting.size_px
        lines = [line for paragraph in self.paragraphs for line in self._greedy(paragraph, box_px[0] / size_px)]
        return self._block(size_px, lines)

    def _ink(self, line: str) -> Ink:
        return self.face.ink(line, self.rightwards) if line else Ink(0.0, 0.0, 0.0, 0.0)

    def _at(self, size_px: float, setting: Setting, box_px: tuple[float, float]) -> Fitted | None:
        room = box_px[0] / size_px
        counts = [len(self._greedy(paragraph, room)) for paragraph in self.paragraphs]
        if setting.most_lines is not None and sum(counts) > setting.most_lines:
            return None
        lines: list[str] = []
        for paragraph, count in zip(self.paragraphs, counts, strict=True):
            lines += self._even(paragraph, room, count)
        block = self._block(size_px, lines)
        return block if block.width_px <= box_px[0] + 1e-6 and block.height_px <= box_px[1] + 1e-6 else None

    def _block(self, size_px: float, lines: Sequence[str]) -> Fitted:
        inks = tuple(self.ink(line) for line in lines)
        above = max(self.face.cap_height, -inks[0].top)
        below = max(0.0, inks[-1].bottom)
        pitch = max([self.leading, *(one.bottom - next_.top + _APART for one, next_ in pairwise(inks))])
        height = above + (len(lines) - 1) * pitch + below
        width = max(ink.width for ink in inks)
        return Fitted(size_px, tuple(lines), inks, above, pitch, width * size_px, height * size_px)

    def _greedy(self, paragraph: list[str], room: float) -> list[str]:
        """Lines as long as they can be."""
        lines: list[str] = []
        start = 0
        for end in range(1, len(paragraph) + 1):
            if end - start > 1 and self.ink(shown("".join(paragraph[start:end]))).width > room:
                lines.append(shown("".join(paragraph[start : end - 1])))
                start = end - 1
        return [*lines, shown("".join(paragraph[start:]))]

    def _even(self, paragraph: list[str], room: float, count: int) -> list[str]:
        """So many lines, none longer than the room where that can be, of lengths as even as can be."""
        if count == 1:
            return [shown("".join(paragraph))]
        total = len(paragraph)
        cost = [[inf] * (total + 1) for _ in range(count + 1)]
        begun = [[0] * (total + 1) for _ in range(count + 1)]
        cost[0][0] = 0.0
        for line in range(1, count + 1):
            for end in range(line, total + 1):
                for start in range(end - 1, line - 2, -1):
                    width = self.ink(shown("".join(paragraph[start:end]))).width
                    if width > room and end - start > 1:
                        break
                    tried = cost[line - 1][start] + (room - width) ** 2
                    if tried < cost[line][end]:
                        cost[line][end], begun[line][end] = tried, start
        lines: list[str] = []
        end = total
        for line in range(count, 0, -1):
            start = begun[line][end]
            lines.insert(0, shown("".join(paragraph[start:end])))
            end = start
        return lines
