"""Where the outline of an element comes to lie in the full frame."""

from functools import lru_cache

import numpy as np

from compositor.base.arrays import Floats, fixed, with_ones
from compositor.base.sameness import MOST_KEPT, SameParts, once_for_each
from compositor.plan.model import PlacedElement

Box = tuple[float, float, float, float]
"""Left, top, right, bottom in px."""


@once_for_each
def carried_hull(element: PlacedElement) -> Floats:
    """Its convex hull in homogeneous pixels, (n, 3); the third coordinate is > 0 in front of the camera."""
    own = _own_hull(SameParts(element, (element.own_hull_px,), ()))
    return fixed(own @ element.homography_matrix.T)


@lru_cache(MOST_KEPT)
def _own_hull(element: SameParts[PlacedElement]) -> Floats:
    return fixed(with_ones(np.array(element.value.own_hull_px).reshape(-1, 2)))


@once_for_each
def box_in_front(element: PlacedElement) -> Box | None:
    """The box around what of it is in front of the camera; None where nothing is."""
    hull = carried_hull(element)
    seen = hull[hull[:, 2] > 0]
    return None if len(seen) == 0 else box_around(seen[:, :2] / seen[:, 2:])


def box_around(points: Floats) -> Box:
    """The box around points (n, 2)."""
    (left, top), (right, bottom) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    return left, top, right, bottom
