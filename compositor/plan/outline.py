"""Where the outline of an element comes to lie in the full frame."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from compositor.base.arrays import Floats, fixed, with_ones
from compositor.base.sameness import MOST_KEPT, SameParts, once_for_each
from compositor.plan.model import PlacedElement

Box = tuple[float, float, float, float]
"""Left, top, right, bottom in px."""


@dataclass(frozen=True)
class Outline:
    """A convex hull carried into the frame.

    hull: all of it in homogeneous pixels, (n, 3), the third coordinate > 0 in front of the camera. seen: the corners
    in front, (n, 2). is_whole: whether that is all of them. box: around these; None where there are none.
    """

    hull: Floats
    seen: Floats
    is_whole: bool
    box: Box | None


@once_for_each
def outline_of(element: PlacedElement) -> Outline:
    """Its outline, worked out once for all who look at it."""
    hull = fixed(_own_hull(SameParts(element, (element.own_hull_px,), ())) @ element.homography_matrix.T)
    is_whole = bool(hull[:, 2].min(initial=np.inf) > 0.0)
    ahead = hull if is_whole else hull[hull[:, 2] > 0.0]
    seen = fixed(ahead[:, :2] / ahead[:, 2:])
    return Outline(hull, seen, is_whole, box_around(seen) if len(seen) else None)


@lru_cache(MOST_KEPT)
def _own_hull(element: SameParts[PlacedElement]) -> Floats:
    return fixed(with_ones(np.array(element.value.own_hull_px).reshape(-1, 2)))


def box_around(points: Floats) -> Box:
    """The box around points (n, 2)."""
    (left, top), (right, bottom) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    return left, top, right, bottom
