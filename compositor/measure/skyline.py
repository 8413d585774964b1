"""The horizon of the sea or of a plain: one straight, nearly level edge across the whole picture, under a calm sky.

A mountain ridge or a tree line is not straight, a wall's foot does not run through, and a shore has a second edge: none
of them is taken. The visible edge lies below the eye-level horizon by the dip, 1.926′·√(height in m), which is within
3 px for a hand-held camera (closed form arccos(R/(R+h)), mean Earth radius 6371 km).
"""

from dataclasses import dataclass
from math import degrees, radians, tan

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.base.opencv import cv2

# By eye, on rendered and real pictures: strict, because a wrong horizon is worse than none.
WORKING_SIDE_PX = 400
STEEPEST_DEG = 10.0
WANTED_COVERAGE = 0.75  # of the columns show the edge where the line runs
STRAIGHT_PX = 0.8  # at the working size
STEP_LEAST = 0.03  # of full scale across the edge
RIVAL_COVERAGE = 0.6
APART_FRACTION = 0.06


@dataclass(frozen=True)
class Skyline:
    """Rows of the edge at the picture's left and right side, their standard deviation, and its roll (degrees)."""

    left_px: float
    right_px: float
    row_sd_px: float
    roll_deg: float


def find_skyline(rgb: Pixels) -> Skyline | None:
    """The edge of sea or plain in an 8-bit RGB picture (h, w, 3), or None."""
    height, width = rgb.shape[:2]
    shrink = min(1.0, WORKING_SIDE_PX / max(height, width))
    small_px = (max(round(width * shrink), 8), max(round(height * shrink), 8))
    small = cv2.resize(np.ascontiguousarray(rgb), small_px, interpolation=cv2.INTER_AREA)
    soft = np.asarray(cv2.GaussianBlur(small, (0, 0), 1.0), np.float64) / 255.0
    steps = _steps(soft)
    found = _best_line(steps)
    if found is None:
        return None
    line, spread = found
    left, right = float(np.polyval(line, 0.0)), float(np.polyval(line, small_px[0]))
    middle = (left + right) / 2.0
    if not 0.05 < middle / small_px[1] < 0.95 or not _sky_above(soft, line):
        return None
    back = height / small_px[1]
    roll = degrees(np.arctan2(left - right, float(small_px[0])))
    return Skyline(left * back, right * back, max(spread, 0.5) * back, roll)


def _steps(soft: Floats) -> Floats:
    """Change of colour (h, w, 3) from the three rows above the top edge of each row to the three from it down."""
    total = np.cumsum(np.concatenate([np.zeros((1, *soft.shape[1:])), soft]), axis=0)
    steps = np.zeros_like(soft)
    steps[3:-3] = (total[6:-1] - 2.0 * total[3:-4] + total[:-7]) / 3.0
    return steps


def _best_line(steps: Floats) -> tuple[Floats, float] | None:
    """The line (slope, row at column 0) that most columns share, and its scatter; None where none stands out."""
    height, width = steps.shape[:2]
    columns = np.arange(width)
    candidates = []
    for roll in np.arange(-STEEPEST_DEG, STEEPEST_DEG + 0.01, 0.5):
        shift = np.round(-tan(radians(float(roll))) * (columns + 0.5 - width / 2)).astype(np.int64)
        rows = np.arange(height)[:, np.newaxis] + shift
        seen = steps[np.clip(rows, 0, height - 1), columns]
        mean = seen.mean(axis=1)
        size = np.linalg.norm(mean, axis=1)
        along = np.einsum("hwc,hc->hw", seen, mean / np.maximum(size, 1e-9)[:, np.newaxis])
        coverage = np.mean(along > 0.4 * size[:, np.newaxis], axis=1) * (size > STEP_LEAST)
        row = int(np.argmax(coverage * size))
        candidates.append((float(coverage[row] * size[row]), float(roll), row, coverage))
    _, roll, row, coverage = max(candidates, key=lambda candidate: candidate[0])
    if coverage[row] < WANTED_COVERAGE:
        return None
    apart = np.abs(np.arange(height) - row) > APART_FRACTION * height
    if float(np.max(coverage[apart], initial=0.0)) > RIVAL_COVERAGE:
        return None
    return _fitted(steps, roll, row)


def _fitted(steps: Floats, roll_deg: float, row: int) -> tuple[Floats, float] | None:
    """The line through the places where each column changes most near a first guess; None where it is not straight."""
    height, width = steps.shape[:2]
    columns = np.arange(width)
    first = row - tan(radians(roll_deg)) * (columns + 0.5 - width / 2)
    offsets = np.arange(-4, 5)
    rows = np.clip(np.round(first).astype(np.int64) + offsets[:, np.newaxis], 0, height - 1)
    seen = steps[rows, columns]
    mean = seen[4].mean(axis=0)
    along = np.maximum(seen @ (mean / max(float(np.linalg.norm(mean)), 1e-9)), 0.0) ** 2
    strength = along.sum(axis=0)
    useful = strength > 0.1 * float(np.median(strength))
    if np.mean(useful) < WANTED_COVERAGE:
        return None
    places = (along * rows).sum(axis=0)[useful] / strength[useful]
    at = columns[useful] + 0.5
    line = np.polyfit(at, places, 1)
    for _ in range(3):
        off = np.abs(places - np.polyval(line, at))
        near = off < max(2.0 * float(np.median(off)), 0.5)
        line = np.polyfit(at[near], places[near], 1)
    off = np.abs(places - np.polyval(line, at))
    if np.mean(off < STRAIGHT_PX) * np.mean(useful) < WANTED_COVERAGE:
        return None
    return np.asarray(line, np.float64), float(np.sqrt(np.mean(off[off < 2 * STRAIGHT_PX] ** 2)))


def _sky_above(soft: Floats, line: Floats) -> bool:
    """Whether the picture is calmer above the line than below, and not darker."""
    height, width = soft.shape[:2]
    grey = soft.mean(axis=2)
    busy = np.abs(np.diff(grey, axis=0, prepend=grey[:1])) + np.abs(np.diff(grey, axis=1, prepend=grey[:, :1]))
    below = np.arange(height)[:, np.newaxis] - np.polyval(line, np.arange(width) + 0.5)
    sky, ground = below < -4, (below > 4) & (below < 0.5 * height)
    if not sky.any() or not ground.any():
        return False
    calmer = float(busy[sky].mean()) < float(busy[ground].mean())
    return calmer and float(grey[sky].mean()) > float(grey[ground].mean())
