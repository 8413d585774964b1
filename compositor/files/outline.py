"""An element's outline as coverage: how much of each pixel lies inside a polygon."""

import numpy as np

from compositor.base.arrays import Floats, Pixels

_SUB_ROWS = 32  # lines per pixel row; across a line coverage is exact


def outline_coverage(outline_px: Floats, size_px: tuple[int, int]) -> Pixels:
    """Coverage of a closed polygon, (h, w) float32 0..1; vertices (n, 2) in continuous pixels, origin at the corner.

    Inside is even-odd, as for any drawn outline. Exact along rows, 32 lines down each pixel.
    """
    width, height = size_px
    cross_px, line = _crossings(np.asarray(outline_px, dtype=np.float64), height * _SUB_ROWS)
    order = np.lexsort((cross_px, line))
    cross_px, line = np.clip(cross_px[order], 0, width), line[order]
    sign = np.where(np.arange(len(line)) % 2 == 0, 1.0, -1.0)  # every line is crossed an even number of times
    column = np.minimum(cross_px.astype(np.int64), width)
    within = cross_px - column
    change = np.zeros((height, width + 2))
    np.add.at(change, (line // _SUB_ROWS, column), sign * (1 - within))
    np.add.at(change, (line // _SUB_ROWS, column + 1), sign * within)
    covered = np.cumsum(change[:, :width], axis=1) / _SUB_ROWS
    return np.clip(covered, 0, 1).astype(np.float32)


def _crossings(outline_px: Floats, lines: int) -> tuple[Floats, Pixels]:
    """Where every edge crosses the sub-lines' middles: columns, and the line's number."""
    columns, numbers = [np.zeros(0)], [np.zeros(0, dtype=np.int64)]
    for (u0, v0), (u1, v1) in zip(outline_px, np.roll(outline_px, -1, axis=0), strict=True):
        low, high = sorted((v0 * _SUB_ROWS - 0.5, v1 * _SUB_ROWS - 0.5))
        line = np.arange(max(int(np.ceil(low)), 0), min(int(np.ceil(high)), lines))
        if len(line) == 0:
            continue
        columns.append(u0 + (u1 - u0) * ((line + 0.5) / _SUB_ROWS - v0) / (v1 - v0))
        numbers.append(line)
    return np.concatenate(columns), np.concatenate(numbers)
