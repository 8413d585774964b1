"""Straight edges made ready for finding the camera behind them.

Lengths are divided by the picture's longer side and counted from its principal point, so every figure below holds
for pictures of any size. An edge's direction is uncertain by its ends' error over its length and by what lenses
and walls bend, however long it is.
"""

from dataclasses import dataclass
from math import radians

import numpy as np
from numpy.typing import NDArray

from compositor.base.arrays import Floats

# Chosen on rendered streets and rooms (tests/studies/horizon_accuracy.py).
END_SD_PX = 0.35  # sideways error of a detected edge's end
BEND_SD_DEG = 0.25  # what distortion and crooked walls do to a direction
SHORTEST_FRACTION = 0.018  # of the diagonal; shorter edges point nowhere
MOST_EDGES = 700  # the longest ones; more only cost time
UNIT_WEIGHT_LENGTH = 0.06  # of the longer side
HEAVIEST_LENGTH = 0.5
WEIGHT_POWER = 0.6  # long edges count more, but less than their length: they are one observation each
BORDER_PX = 3.0  # an edge that runs along the frame this near to it is the frame


@dataclass(frozen=True)
class EdgeSet:
    """n edges in the scaled frame.

    ends (n, 2, 2); middles, along (unit), across (unit) each (n, 2); offsets (n,): across·x + offset = 0 on the
    line; deviations_rad (n,): one standard deviation of the direction; weights (n,); sources (n,): rows of the
    input; origin_px and scale_px: pixel = origin + scale·x.
    """

    ends: Floats
    middles: Floats
    along: Floats
    across: Floats
    offsets: Floats
    deviations_rad: Floats
    weights: Floats
    sources: NDArray[np.int64]
    origin_px: tuple[float, float]
    scale_px: float

    def __len__(self) -> int:
        return len(self.weights)


def edge_set(edges_px: Floats, size_px: tuple[int, int], principal_px: tuple[float, float]) -> EdgeSet:
    """The useful ones of detected edges (n, 2, 2) [edge, end, (u, v)], longest first."""
    edges = np.asarray(edges_px, dtype=np.float64).reshape(-1, 2, 2)
    scale, diagonal = float(max(size_px)), float(np.hypot(*size_px))
    lengths_px = np.linalg.norm(edges[:, 1] - edges[:, 0], axis=1)
    useful = np.flatnonzero((lengths_px > SHORTEST_FRACTION * diagonal) & ~_on_border(edges, size_px))
    order = useful[np.argsort(-lengths_px[useful], kind="stable")][:MOST_EDGES]
    ends = (edges[order] - np.array(principal_px)) / scale
    step = ends[:, 1] - ends[:, 0]
    lengths = np.linalg.norm(step, axis=1)
    along = step / lengths[:, np.newaxis]
    across = np.column_stack([along[:, 1], -along[:, 0]])
    middles = ends.mean(axis=1)
    return EdgeSet(
        ends,
        middles,
        along,
        across,
        -np.sum(across * middles, axis=1),
        np.hypot(radians(BEND_SD_DEG), END_SD_PX * np.sqrt(2.0) / (lengths * scale)),
        (np.minimum(lengths, HEAVIEST_LENGTH) / UNIT_WEIGHT_LENGTH) ** WEIGHT_POWER,
        order,
        principal_px,
        scale,
    )


def directions_off(edges: EdgeSet, points: Floats) -> Floats:
    """Signed angle (n, k), radians, from each edge to the line from its middle to k homogeneous points (k, 3)."""
    right = points[:, 0] - points[:, 2] * edges.middles[:, :1]
    down = points[:, 1] - points[:, 2] * edges.middles[:, 1:]
    turned = right * edges.along[:, 1:] - down * edges.along[:, :1]
    reached = right * edges.along[:, :1] + down * edges.along[:, 1:]
    angles: Floats = np.arctan(turned / np.where(np.abs(reached) < 1e-12, 1e-12, reached))
    return angles


def _on_border(edges: Floats, size_px: tuple[int, int]) -> NDArray[np.bool_]:
    """Which edges run along the frame itself (borders of scans and of pasted pictures)."""
    near = np.zeros(len(edges), dtype=np.bool_)
    for axis in (0, 1):
        place = edges[:, :, axis]
        near |= np.all(place < BORDER_PX, axis=1) | np.all(place > size_px[axis] - BORDER_PX, axis=1)
    return near
