"""What setting copy needs to know of a font; opening fonts is done elsewhere."""

from dataclasses import dataclass
from typing import Protocol


@dataclass(frozen=True)
class Ink:
    """Where the ink of one line lies about its pen's starting point on the base line, in type sizes; y downwards."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def width(self) -> float:
        """From the leftmost ink to the rightmost."""
        return self.right - self.left


class Typeface(Protocol):
    """A font that has been opened."""

    @property
    def cap_height(self) -> float:
        """Height of its capitals over the base line, in type sizes."""

    def ink(self, text: str, rightwards: bool) -> Ink:
        """The ink of one line, shaped. rightwards: whether the line as a whole runs from left to right."""

    def missing(self, text: str) -> tuple[str, ...]:
        """The characters that it has no glyph for, each once."""
