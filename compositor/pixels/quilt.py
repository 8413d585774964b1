"""More picture around a plate, made of patches of its own neighbourhood.

Each new patch is a copy of a place near the border that agrees best with what is there already along their
overlap; the two are joined along the path through the overlap where they differ least. Grain and texture stay as
sharp as they are, since pixels are only copied.

Source: Efros & Freeman, Image quilting for texture synthesis and transfer, SIGGRAPH 2001.
"""

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2
from compositor.pixels.fill import Border

PATCH_PX = 192
OVERLAP_PX = 48
_COARSE = 4  # the search runs on a picture reduced so often
_REACH_PX = 960  # how far from the new patch along the border its origin may lie
_DEPTH_PX = 480  # how far from the border inwards
_REFINE_PX = 4


def continued(samples: Pixels, border: Border) -> Pixels:
    """Encoded samples (h, w, 3) with new rows and columns grown outwards from each side; the picture stays as it is."""
    result = _below(samples, border.bottom)
    result = np.rot90(_below(np.rot90(result, 2), border.top), 2)
    result = np.rot90(_below(np.rot90(result, -1), border.right), 1)
    return np.ascontiguousarray(np.rot90(_below(np.rot90(result, 1), border.left), -1))


def _below(samples: Pixels, rows: int) -> Pixels:
    """Samples with new rows below, patch by patch, left to right, row of patches by row of patches."""
    if rows == 0:
        return samples
    height, width = samples.shape[:2]
    canvas = np.concatenate([samples, np.zeros((rows, width, samples.shape[2]), samples.dtype)])
    patch = min(PATCH_PX, height // 2, width // 2)
    overlap = max(1, patch * OVERLAP_PX // PATCH_PX)
    for top in range(height - overlap, height + rows - overlap, patch - overlap):
        for left in range(0, width if width <= patch else width - overlap, patch - overlap):
            _place(canvas, height, (top, left), patch, overlap)
    return canvas


def _place(canvas: Pixels, height: int, corner: tuple[int, int], patch: int, overlap: int) -> None:
    """Fill one patch of the canvas in place; rows below `height` are being made."""
    top, left = corner
    bottom, right = min(top + patch, len(canvas)), min(left + patch, canvas.shape[1])
    present = canvas[top:bottom, left:right]
    known = np.zeros(present.shape[:2], np.uint8)
    known[:overlap] = 1
    if left > 0:
        known[:, :overlap] = 1
    y, x = _best_origin(canvas, height, corner, present, known)
    found = canvas[y : y + present.shape[0], x : x + present.shape[1]]
    difference = ((found.astype(np.float32) - present.astype(np.float32)) ** 2).sum(axis=2)
    keep = _cut_rows(difference[:overlap].T).T
    old = np.zeros(known.shape, bool)
    old[:overlap] = keep
    if left > 0:
        old[:, :overlap] |= _cut_rows(difference[:, :overlap])
    old[: max(height - top, 0)] = True  # the picture itself stays as it is
    present[...] = np.where(old[..., np.newaxis], present, found)


def _best_origin(
    canvas: Pixels, height: int, corner: tuple[int, int], present: Pixels, known: Pixels
) -> tuple[int, int]:
    """(row, column) of the place in the picture whose copy fits best to what is known."""
    rows, columns = present.shape[:2]
    first_row = max(0, height - _DEPTH_PX - rows)
    first_column = max(0, corner[1] - _REACH_PX)
    last_column = min(canvas.shape[1], corner[1] + columns + _REACH_PX)
    area = canvas[first_row:height, first_column:last_column]
    y, x = _match(area[::_COARSE, ::_COARSE], present[::_COARSE, ::_COARSE], known[::_COARSE, ::_COARSE])
    y0, x0 = max(0, y * _COARSE - _REFINE_PX), max(0, x * _COARSE - _REFINE_PX)
    near = area[y0 : y0 + rows + 2 * _REFINE_PX, x0 : x0 + columns + 2 * _REFINE_PX]
    if near.shape[0] < rows or near.shape[1] < columns:
        y0, x0 = min(y0, area.shape[0] - rows), min(x0, area.shape[1] - columns)
        near = area[y0:, x0:]
    dy, dx = _match(near, present, known)
    return first_row + y0 + dy, first_column + x0 + dx


def _match(area: Pixels, patch: Pixels, known: Pixels) -> tuple[int, int]:
    """(row, column) in an area where a patch differs least over its known pixels."""
    mask = cv2.merge([known.astype(np.float32)] * patch.shape[2])
    score = cv2.matchTemplate(area.astype(np.float32), patch.astype(np.float32), cv2.TM_SQDIFF, mask=mask)
    row, column = np.unravel_index(int(np.argmin(score)), score.shape)
    return int(row), int(column)


def _cut_rows(cost: Pixels) -> Pixels:
    """For each row, True left of the path from the first row to the last that costs least (Efros & Freeman, 2.1)."""
    rows, columns = cost.shape
    total = cost.astype(np.float64)
    for row in range(1, rows):
        before = np.pad(total[row - 1], 1, constant_values=np.inf)
        total[row] += np.minimum(np.minimum(before[:-2], before[1:-1]), before[2:])
    path = np.empty(rows, int)
    path[-1] = int(np.argmin(total[-1]))
    for row in range(rows - 2, -1, -1):
        first = max(0, path[row + 1] - 1)
        path[row] = first + int(np.argmin(total[row, first : path[row + 1] + 2]))
    left_of: Pixels = np.arange(columns)[np.newaxis, :] < path[:, np.newaxis]
    return left_of
