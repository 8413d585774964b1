"""Array kinds that travel, and the checks that a function may ask for at its door."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
"""Coordinates and matrices: float64."""

Pixels = NDArray[Any]
"""Picture samples: uint8, uint16 or float32, shape (height, width) or (height, width, channels)."""


def as_points(points: Any) -> Floats:
    """Points as a float64 array of shape (n, 2); a single (u, v) becomes (1, 2). Raises ValueError."""
    array = np.asarray(points, dtype=np.float64)
    if array.ndim == 1:
        array = array[np.newaxis, :]
    if array.ndim != 2 or array.shape[1] != 2:
        raise ValueError(f"points of shape (n, 2) wanted, got {array.shape}")
    return array


def fixed(array: Floats) -> Floats:
    """The array itself, which nobody can write to any more: one that is kept and handed out again."""
    array.flags.writeable = False
    return array


def with_ones(points: Floats) -> Floats:
    """Homogeneous points (n, k + 1) from points (n, k)."""
    result = np.empty((points.shape[0], points.shape[1] + 1))
    result[:, :-1], result[:, -1] = points, 1.0
    return result


def apply_homography(matrix: Any, points: Any) -> Floats:
    """Map points (n, 2) by a 3×3 homography; result (n, 2). Points on its horizon become infinite."""
    array = as_points(points)
    mapped = with_ones(array) @ matrix.T
    with np.errstate(divide="ignore", invalid="ignore"):
        result: Floats = mapped[:, :2] / mapped[:, 2:3]
    return result
