"""An element as placing sees it: numbers in its own pixels, free of files and of the scene's words."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from compositor.base.arrays import Floats, fixed
from compositor.base.sameness import MOST_KEPT, SameParts
from compositor.plan.model import Point, Stance


@dataclass(frozen=True)
class GroundPlace:
    """A place on the plate's ground, in metres: Y forward and X to the right."""

    distance_m: float
    offset_m: float


@dataclass(frozen=True)
class Subject:
    """What fixes where an element goes. Pixels are its own, undistorted; plate pixels are of the full frame.

    ground: metres, or the plate pixel of a ground point; None: not placed yet. height_m: real height from contact to
    top. camera_height_m: of the camera that took it. artwork_m: (width, height) of artwork, which no camera took.
    wall_px: two plate pixels of a wall's foot. from_plate: cut out of the plate, so its camera is the plate's.
    """

    stance: Stance
    size_px: tuple[int, int]
    hull_px: tuple[Point, ...]
    contact_px: Point
    top_px: Point
    ground: GroundPlace | Point | None = None
    height_m: float | None = None
    camera_height_m: float | None = None
    artwork_m: tuple[float, float] | None = None
    wall_px: tuple[Point, Point] | None = None
    turn_deg: float = 0.0
    raise_m: float = 0.0
    flip: bool = False
    from_plate: bool = False

    @property
    def edge_px(self) -> Floats:
        """Its outline and its contact, (n, 2)."""
        return _edge(SameParts(self, (self.hull_px, self.contact_px), ()))


@lru_cache(MOST_KEPT)
def _edge(subject: SameParts[Subject]) -> Floats:
    return fixed(np.array((*subject.value.hull_px, subject.value.contact_px)))
