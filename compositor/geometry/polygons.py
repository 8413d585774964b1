"""Convex polygons in a plane: their area, what a rectangle leaves of them, and how deep two of them overlap."""

import numpy as np

from compositor.base.arrays import Floats

_IN_FRONT = 1e-9  # share of the farthest corner's third coordinate that still counts as in front


def polygon_area(polygon: Floats) -> float:
    """Area of a polygon (n, 2), n >= 0 (shoelace formula)."""
    if len(polygon) < 3:
        return 0.0
    (x, y), (x2, y2) = polygon.T, _following(polygon).T
    return float(abs(np.sum(x * y2 - x2 * y)) / 2.0)


def within_box(polygon: Floats, box: tuple[float, float, float, float]) -> Floats:
    """The part (n, 2) of a convex polygon inside a box (left, top, right, bottom) (Sutherland & Hodgman 1974)."""
    left, top, right, bottom = box
    kept: list[list[float]] = polygon.tolist()
    for axis, bound, sign in ((0, left, 1.0), (0, right, -1.0), (1, top, 1.0), (1, bottom, -1.0)):
        kept = _kept(kept, [sign * (corner[axis] - bound) for corner in kept])
    return np.array(kept).reshape(-1, 2)


def in_front(polygon: Floats) -> Floats:
    """The part (n, 3) of a homogeneous polygon with a third coordinate > 0 (Sutherland & Hodgman 1974)."""
    ahead: list[float] = polygon[:, 2].tolist()
    edge = _IN_FRONT * max(max(ahead, default=0.0), -min(ahead, default=0.0))
    if all(third > edge for third in ahead):
        return polygon
    kept: list[Floats] = []
    for start, end in zip(polygon, _following(polygon), strict=True):
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
    edges = np.concatenate([_following(polygon) - polygon for polygon in (first, second)])
    lengths = np.hypot(edges[:, 0], edges[:, 1])
    long = lengths > 1e-12
    normals = np.stack([edges[long, 1], -edges[long, 0]], axis=1) / lengths[long, np.newaxis]
    one, two = (np.matmul(polygon, normals[:, :, np.newaxis])[:, :, 0] for polygon in (first, second))
    depths = np.stack([one.max(axis=1) - two.min(axis=1), two.max(axis=1) - one.min(axis=1)], axis=1)
    if len(normals) == 0 or np.any(depths <= 0.0):
        return 0.0, np.zeros(2)
    edge, back = divmod(int(np.argmin(depths)), 2)
    return float(depths[edge, back]), -normals[edge] if back else normals[edge]


def _following(polygon: Floats) -> Floats:
    """For every corner (n, k) the next one, round about."""
    return np.concatenate([polygon[1:], polygon[:1]])


def _kept(polygon: list[list[float]], sides: list[float]) -> list[list[float]]:
    """The part of a polygon where `sides`, a linear function at its corners, is not negative."""
    if min(sides, default=0.0) >= 0.0:
        return polygon
    found: list[list[float]] = []
    corners = zip(polygon, sides, polygon[1:] + polygon[:1], sides[1:] + sides[:1], strict=True)
    for corner, side, following, next_side in corners:
        if side >= 0.0:
            found.append(corner)
        if (side >= 0.0) != (next_side >= 0.0):
            (u, v), share = corner, side / (side - next_side)
            found.append([u + share * (following[0] - u), v + share * (following[1] - v)])
    return found
