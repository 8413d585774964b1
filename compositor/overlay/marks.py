"""What is drawn besides text: plain values, so that a sheet can be checked before any pixel is touched."""

from dataclasses import dataclass

from compositor.overlay.boxes import Point
from compositor.overlay.style import Kind


@dataclass(frozen=True)
class Stroke:
    """A straight line of a kind. width_ratio: of the kind's own width; fade: opacity at both ends, cut off at 1."""

    kind: Kind
    start_px: Point
    end_px: Point
    dashed: bool = False
    width_ratio: float = 1.0
    fade: tuple[float, float] = (1.0, 1.0)


@dataclass(frozen=True)
class Ring:
    """A circle of a kind, filled or not."""

    kind: Kind
    centre_px: Point
    radius_px: float
    filled: bool = False


@dataclass(frozen=True)
class Band:
    """The zone between two lines across the frame, each given by its rows at the left and right edge."""

    kind: Kind
    upper_px: tuple[float, float]
    lower_px: tuple[float, float]


Mark = Stroke | Ring | Band
