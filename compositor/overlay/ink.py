"""Antialiased lines, discs and bands drawn into a uint8 frame, in place.

Coverage of a pixel is taken from the distance of its centre to the shape, so lines of any slope and any fraction
of a pixel in width come out even, and only the pixels near the shape are touched. Coordinates are continuous
(corner origin). Frames are (height, width, 3), encoded values; opacities 0..1.
"""

from dataclasses import dataclass
from math import ceil, floor, hypot

import numpy as np
from numpy.typing import NDArray

from compositor.base.arrays import Floats
from compositor.overlay.boxes import Box, Point, clip
from compositor.overlay.style import Colour

Frame = NDArray[np.uint8]
_CHUNK = 512


@dataclass(frozen=True)
class Pen:
    """What a line looks like: width_px, dash_px (on, off, on, off …; empty: unbroken), opacity.

    fade: shares of the opacity at both ends; beyond 1 they are cut off on the way, so that a line can fade over a
    part of its length.
    """

    colour: Colour
    width_px: float
    opacity: float = 1.0
    fade: tuple[float, float] = (1.0, 1.0)
    dash_px: tuple[float, ...] = ()


def draw_line(frame: Frame, start: Point, end: Point, pen: Pen) -> None:
    """Draw a straight line; parts outside the frame are left out."""
    if abs(end[1] - start[1]) > abs(end[0] - start[0]):
        frame, start, end = frame.transpose(1, 0, 2), (start[1], start[0]), (end[1], end[0])
    height, width = frame.shape[:2]
    length = hypot(end[0] - start[0], end[1] - start[1])
    seen = clip(start, end, Box(0, 0, width, height).grown(pen.width_px + 2))
    if length == 0 or seen is None:
        return
    reach = pen.width_px / 2 + 1
    first = max(floor(min(seen[0][0], seen[1][0]) - reach), 0)
    last = min(ceil(max(seen[0][0], seen[1][0]) + reach), width)
    for begin in range(first, last, _CHUNK):
        columns = np.arange(begin, min(begin + _CHUNK, last))
        _draw_columns(frame, columns, (start, end, length), pen)


def _draw_columns(frame: Frame, columns: NDArray[np.int64], line: tuple[Point, Point, float], pen: Pen) -> None:
    """The part of a line over some columns; the line is at most 45° steep."""
    start, end, length = line
    along = ((end[0] - start[0]) / length, (end[1] - start[1]) / length)
    middle = start[1] + (columns + 0.5 - start[0]) * (along[1] / along[0])
    half = ceil((pen.width_px / 2 + 1) / abs(along[0])) + 1
    rows = np.floor(middle).astype(np.int64)[:, np.newaxis] + np.arange(-half, half + 1)
    right, down = columns[:, np.newaxis] + 0.5 - start[0], rows + 0.5 - start[1]
    off = np.abs(right * along[1] - down * along[0])
    reached = right * along[0] + down * along[1]
    cover = np.clip(pen.width_px / 2 + 0.5 - off, 0.0, min(1.0, pen.width_px))
    cover *= np.clip(reached + 0.5, 0.0, 1.0) * np.clip(length - reached + 0.5, 0.0, 1.0)
    cover *= _dashes(reached, pen.dash_px)
    at_start, at_end = pen.fade
    cover *= pen.opacity * np.clip(at_start + (at_end - at_start) * reached / length, 0.0, 1.0)
    wanted = (cover > 1 / 512) & (rows >= 0) & (rows < frame.shape[0])
    where = np.nonzero(wanted)
    _blend(frame, rows[where], columns[where[0]], cover[where], pen.colour)


def _dashes(reached: Floats, dash_px: tuple[float, ...]) -> Floats:
    """How much of each place along a line is on."""
    if not dash_px:
        return np.ones_like(reached)
    phase = np.mod(reached, sum(dash_px))
    result, begin = np.zeros_like(reached), 0.0
    for on, off in zip(dash_px[::2], dash_px[1::2], strict=True):
        result += np.clip(np.minimum(phase - begin, begin + on - phase) + 0.5, 0.0, 1.0)
        begin += on + off
    return np.minimum(result, 1.0)


def draw_disc(frame: Frame, centre: Point, radius_px: float, colour: Colour, opacity: float = 1.0) -> None:
    """Draw a filled disc."""
    _draw_round(frame, centre, (0.0, radius_px), colour, opacity)


def draw_ring(frame: Frame, centre: Point, radius_px: float, pen: Pen) -> None:
    """Draw a circle with a pen, unbroken and without fading."""
    radii = (max(radius_px - pen.width_px / 2, 0.0), radius_px + pen.width_px / 2)
    _draw_round(frame, centre, radii, pen.colour, pen.opacity)


def _draw_round(frame: Frame, centre: Point, radii_px: tuple[float, float], colour: Colour, opacity: float) -> None:
    """What lies between two radii (inner 0: everything inside the outer)."""
    inner, outer = radii_px
    left, right = max(floor(centre[0] - outer - 1), 0), min(ceil(centre[0] + outer + 1), frame.shape[1])
    top, bottom = max(floor(centre[1] - outer - 1), 0), min(ceil(centre[1] + outer + 1), frame.shape[0])
    if left >= right or top >= bottom:
        return
    rows, columns = np.mgrid[top:bottom, left:right]
    away = np.hypot(columns + 0.5 - centre[0], rows + 0.5 - centre[1])
    cover = np.clip(outer + 0.5 - away, 0.0, 1.0)
    if inner > 0.0:
        cover = cover - np.clip(inner + 0.5 - away, 0.0, 1.0)
    _blend(frame, rows.ravel(), columns.ravel(), cover.ravel() * opacity, colour)


def draw_band(frame: Frame, upper: tuple[float, float], lower: tuple[float, float], pen: Pen) -> None:
    """Fill between two lines across the frame, each given by its rows at the left and right edge."""
    height, width = frame.shape[:2]
    for begin in range(0, width, _CHUNK):
        columns = np.arange(begin, min(begin + _CHUNK, width))
        share = (columns + 0.5) / width
        top = upper[0] + (upper[1] - upper[0]) * share
        bottom = lower[0] + (lower[1] - lower[0]) * share
        first, last = max(floor(top.min()), 0), min(ceil(bottom.max()) + 1, height)
        if first >= last:
            continue
        rows = np.arange(first, last, dtype=np.float32)[:, np.newaxis]
        cover = np.clip(np.minimum(rows + 1, bottom) - np.maximum(rows, top), 0.0, 1.0) * pen.opacity
        region = frame[first:last, columns[0] : columns[-1] + 1]
        mixed = region + (np.array(pen.colour, np.float32) - region) * cover[..., np.newaxis].astype(np.float32)
        region[:] = np.rint(mixed).astype(np.uint8)


def _blend(frame: Frame, rows: NDArray[np.int64], columns: NDArray[np.int64], cover: Floats, colour: Colour) -> None:
    """Mix a colour into single pixels, each listed once."""
    under = frame[rows, columns].astype(np.float32)
    mixed = under + (np.array(colour, np.float32) - under) * cover[:, np.newaxis].astype(np.float32)
    frame[rows, columns] = np.rint(mixed).astype(np.uint8)
