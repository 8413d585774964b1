"""Convex polygons in a plane: their area, what a rectangle leaves of them, and how deep two of them overlap."""

import numpy as np

from compositor.base.arrays import Floats

_IN_FRONT = 1e-9  # share of the farthest corner's third coordinate that still counts as in front


def polygon_area(polygon: Floats) -> float:
    """Area of a polygon (n, 2), n >= 0 (shoelace formula)."""
    if len(polygon) < 3:
        return 0.0
    (x, y), (x2, y2) = polygon.T, np.roll(polygon, -1, axis=0).T
    return float(abs(np.sum(x * y2 - x2 * y)) / 2.0)


def within_box(polygon: Floats, box: tuple[float, float, float, float]) -> Floats:
    """The part (n, 2) of a convex polygon inside a box (left, top, right, bottom) (Sutherland & Hodgman 1974)."""
    left, top, right, bottom = box
    for axis, bound, sign in ((0, left, 1.0), (0, right, -1.0), (1, top, 1.0), (1, bottom, -1.0)):
        polygon = _kept(polygon, sign * (polygon[:, axis] - bound)) if len(polygon) else polygon
    return polygon


def in_front(polygon: Floats) -> Floats:
    """The part (n, 3) of a homogeneous polygon with a third coordinate > 0 (Sutherland & Hodgman 1974)."""
    edge = _IN_FRONT * float(np.abs(polygon[:, 2]).max(initial=0.0))
    kept: list[Floats] = []
    for start, end in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        if start[2] > edge:
            kept.append(start)
        if (start[2] > edge) != (end[2] > edge):
            kept.append(start + (edge - start[2]) / (end[2] - start[2]) * (end - start))
    return np.array(kept).reshape(-1, 3)


def overlap(first: Floats, second: Floats) -> tuple[float, Floats]:
    """How far two convex polygons (n, 2) run into each other, and the unit direction (2,) that parts them soonest.

    The depth is 0 where they are apart; moving `second` by depth·direction parts them (separating axes;
    S. Gottschalk, M. Lin, D. Manocha, OBBTree, SIGGRAPH 1996).
    """
    best, way = np.inf, np.zeros(2)
    for polygon in (first, second):
        edges = np.roll(polygon, -1, axis=0) - polygon
        lengths = np.hypot(edges[:, 0], edges[:, 1])
        for edge in edges[lengths > 1e-12]:
            normal = np.array([edge[1], -edge[0]]) / np.hypot(*edge)
            one, two = first @ normal, second @ normal
            for depth, direction in ((one.max() - two.min(), normal), (two.max() - one.min(), -normal)):
                if depth <= 0.0:
                    return 0.0, np.zeros(2)
                if depth < best:
                    best, way = float(depth), direction
    return (best, way) if np.isfinite(best) else (0.0, np.zeros(2))


def _kept(polygon: Floats, sides: Floats) -> Floats:
    """The part of a polygon where `sides` (n,), a linear function at its corners, is not negative."""
    found: list[Floats] = []
    for index, corner in enumerate(polygon):
        following = (index + 1) % len(polygon)
        if sides[index] >= 0.0:
            found.append(corner)
        if (sides[index] >= 0.0) != (sides[following] >= 0.0):
            share = sides[index] / (sides[index] - sides[following])
            found.append(corner + share * (polygon[following] - corner))
    return np.array(found).reshape(-1, 2)
