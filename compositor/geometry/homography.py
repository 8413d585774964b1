"""Homographies in plain numbers: single points and 3×3 products cost a fraction of what small arrays cost.

Sources: Hartley & Zisserman 2004, section 2.3 (projective maps of a plane); the singular values of 2×2 matrices in
closed form are algebra: σ = ½·(|z₁| ± |z₂|) with z₁ = (a + d) + i·(c − b), z₂ = (a − d) + i·(c + b).
"""

from collections.abc import Sequence
from math import inf, sqrt

import numpy as np

from compositor.base.arrays import Floats, with_ones
from compositor.base.errors import GeometryError

Point = tuple[float, float]
Row = tuple[float, float, float]
Matrix = tuple[Row, Row, Row]


def product(first: Matrix, second: Matrix) -> Matrix:
    """first · second: what second does, and then first."""
    (a, b, c), (d, e, f), (g, h, i) = second
    one, two, three = ((x * a + y * d + z * g, x * b + y * e + z * h, x * c + y * f + z * i) for x, y, z in first)
    return one, two, three


def determinant(matrix: Matrix) -> float:
    (a, b, c), (d, e, f), (g, h, i) = matrix
    return a * (e * i - f * h) + b * (f * g - d * i) + c * (d * h - e * g)


def inverse(matrix: Matrix) -> Matrix:
    """The way back. Raises GeometryError where there is none."""
    (a, b, c), (d, e, f), (g, h, i) = matrix
    whole = determinant(matrix)
    if whole == 0.0:
        raise GeometryError("a plane is seen edge on")
    return (
        ((e * i - f * h) / whole, (c * h - b * i) / whole, (b * f - c * e) / whole),
        ((f * g - d * i) / whole, (a * i - c * g) / whole, (c * d - a * f) / whole),
        ((d * h - e * g) / whole, (b * g - a * h) / whole, (a * e - b * d) / whole),
    )


def depth_at(matrix: Matrix, point: Point) -> float:
    """The third coordinate of a mapped point: 0 on the horizon of the map."""
    x, y, z = matrix[2]
    return x * point[0] + y * point[1] + z


def carried(matrix: Matrix, point: Point) -> Point:
    """A point carried over; infinite on the horizon of the map."""
    (a, b, c), (d, e, f), _ = matrix
    u, v = point
    depth = depth_at(matrix, point)
    return ((a * u + b * v + c) / depth, (d * u + e * v + f) / depth) if depth != 0.0 else (inf, inf)


def scale_at(matrix: Matrix, point: Point) -> float:
    """Linear scale at a point: the root of the change of area, |det| over the third power of the depth there."""
    return sqrt(abs(determinant(matrix) / depth_at(matrix, point) ** 3))


def largest_scale(matrix: Matrix, points: Floats) -> float:
    """The largest linear scale at any of points (n, 2), in any direction, of those with a depth > 0; else 0."""
    return largest_scales([matrix], points)[0]


def largest_scales(matrices: Sequence[Matrix], points: Floats) -> list[float]:
    """The same for each of several maps, in one go."""
    maps = np.array(matrices)[..., np.newaxis]
    mapped = maps[..., 0] @ with_ones(points).T
    depth = mapped[:, 2]
    ahead = depth > 0.0
    depth[~ahead] = 1.0
    # Of each map, row i and column j of its derivative, times the square of the depth.
    slopes = maps[:, :2, :2] * depth[:, np.newaxis, np.newaxis] - maps[:, 2:, :2] * mapped[:, :2, np.newaxis]
    (a, b), (c, d) = slopes.transpose(1, 2, 0, 3)
    scales = largest_stretch(a, b, c, d) / (depth * depth) * ahead
    found: list[float] = scales.max(axis=1, initial=0.0).tolist()
    return found


def largest_stretch(a: Floats, b: Floats, c: Floats, d: Floats) -> Floats:
    """The larger singular value of matrices [[a, b], [c, d]], each of their entries as an array."""
    result: Floats = (np.hypot(a + d, c - b) + np.hypot(a - d, c + b)) / 2.0
    return result
