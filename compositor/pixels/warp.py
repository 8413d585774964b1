"""A picture through a homography, antialiased: premultiplied samples in, premultiplied samples out.

The picture is sampled by linear interpolation on the fitting level of its pyramid, several times per output
pixel, and the samples are averaged. Where it is shown near its own size or larger, the interpolation works on a
doubled source (:mod:`compositor.pixels.enlarge`), so detail stays and hard edges get no halo.
"""

from itertools import groupby

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.base.opencv import cv2
from compositor.pixels.enlarge import MARGIN_PX, doubled
from compositor.pixels.footprint import TILE_PX, Sampling, Window, plan_tiles
from compositor.pixels.mips import BORDERS, Box, Mips, halved
from compositor.pixels.strips import THREADS, for_strips


def warp(mips: Mips, homography: Floats, window: Window, threads: int = THREADS) -> Pixels:
    """The samples (height, width[, 4]) of a window of target pixels.

    homography: 3×3, source px to target px, both continuous with the corner origin, of such a sign that its
    third coordinate is > 0 for what stands in front of the camera; what does not stays empty.
    """
    inverse: Floats = np.linalg.inv(homography).astype(np.float64)
    tiles = plan_tiles(inverse, window, mips.content_px if mips.edge == "transparent" else None)
    back: Floats = np.array([[1, 0, -mips.origin_px[0]], [0, 1, -mips.origin_px[1]], [0, 0, 1.0]]) @ inverse
    result = np.zeros((window.height, window.width, *mips.channels), mips.dtype)

    def strip(top: int, bottom: int) -> None:
        column = 0
        for sampling, run in groupby(tiles[top // TILE_PX]):
            left, column = column, min(column + TILE_PX * len(list(run)), window.width)
            if sampling is not None:
                place = Window(window.left + left, window.top + top, column - left, bottom - top)
                _sample(mips, back, place, sampling, result[top:bottom, left:column])

    for_strips(window.height, strip, TILE_PX, threads)
    return result


def _sample(mips: Mips, back: Floats, place: Window, sampling: Sampling, out: Pixels) -> None:
    """One run of tiles: the mean of its samples."""
    samples, to_level = _level(mips, back, place, sampling.level)
    matrix, border = to_level @ back, BORDERS[mips.edge]
    offsets = [(x, y) for y in _offsets(sampling, 1) for x in _offsets(sampling, 0)]
    if len(offsets) == 1:
        _look(samples, matrix @ _pixels_of(place, offsets[0]), out, border)
    elif sampling.counts in ((2, 2), (4, 4)) and sampling.spread == (1.0, 1.0):
        factor = sampling.counts[0]
        fine = np.empty((factor * place.height, factor * place.width, *samples.shape[2:]), samples.dtype)
        _look(samples, matrix @ _grid_of(place, factor), fine, border)
        if factor == 4:  # by halves, which is faster than by quarters
            fine = halved(fine, mips.edge)
        cv2.resize(fine, (place.width, place.height), dst=out, interpolation=cv2.INTER_AREA)
    else:
        total = np.zeros(out.shape, np.float32)
        for offset in offsets:
            _look(samples, matrix @ _pixels_of(place, offset), out, border)
            cv2.accumulate(out, total)
        depth = cv2.CV_16U if samples.dtype == np.uint16 else cv2.CV_32F
        cv2.multiply(total, np.full(4, 1.0 / len(offsets)), dst=out, dtype=depth)
    _empty_behind(out, back, place)


def _offsets(sampling: Sampling, axis: int) -> list[float]:
    """Where along an output pixel the samples lie, from its centre."""
    count = sampling.counts[axis]
    return [sampling.spread[axis] * ((i + 0.5) / count - 0.5) for i in range(count)]


def _pixels_of(place: Window, offset: tuple[float, float]) -> Floats:
    """3×3: indices of a place's pixels to target px, an offset from their centres."""
    return np.array([[1, 0, place.left + 0.5 + offset[0]], [0, 1, place.top + 0.5 + offset[1]], [0, 0, 1.0]])


def _grid_of(place: Window, factor: int) -> Floats:
    """3×3: indices of a place's pixels, cut into factor × factor, to target px, at their centres. Neighbours on one
    grid are looked up up to twice as fast as one grid after the other."""
    step, first = 1 / factor, 0.5 / factor
    return np.array([[step, 0, place.left + first], [0, step, place.top + first], [0, 0, 1.0]])


def _look(samples: Pixels, matrix: Floats, out: Pixels, border: int) -> None:
    """One sample for each index of `out`. matrix: index to level px. The one place where OpenCV's pixels, whose
    centres lie at whole numbers, meet ours, whose corners do."""
    to_centres = np.array([[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1.0]])
    size, flags = (out.shape[1], out.shape[0]), cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    cv2.warpPerspective(samples, to_centres @ matrix, size, dst=out, flags=flags, borderMode=border)


def _level(mips: Mips, back: Floats, place: Window, level: int) -> tuple[Pixels, Floats]:
    """The samples to look into and the matrix from source px to their px."""
    if level > 0:
        samples = mips.level(min(level, mips.deepest))
        return samples, np.diag([0.5**level, 0.5**level, 1.0])
    left, top, right, bottom = _reach(back, place, mips.size_px)
    if level == 0:
        left, top, right, bottom = _inside((left, top, right, bottom), mips)
        return mips.part((left, top, right, bottom)), np.array([[1, 0, -left], [0, 1, -top], [0, 0, 1.0]])
    samples = mips.cut(left, top, right, bottom)
    for _ in range(-level):
        samples = doubled(samples)
    factor = 2.0**-level  # old sample i is new sample i · factor: their CENTRES coincide, not their corners
    shift = 0.5 - 0.5 * factor
    return samples, np.array([[factor, 0, shift - factor * left], [0, factor, shift - factor * top], [0, 0, 1.0]])


def _inside(reach: Box, mips: Mips) -> Box:
    """The part of a reach that holds something, at least one pixel; beyond the edges all goes on as inside."""
    x, y = mips.origin_px
    width, height = mips.size_px
    left, top, right, bottom = mips.content_px if mips.edge == "transparent" else (x, y, x + width, y + height)
    first_x, first_y = min(max(reach[0], left - x), width - 1), min(max(reach[1], top - y), height - 1)
    return first_x, first_y, max(min(reach[2], right - x), first_x + 1), max(min(reach[3], bottom - y), first_y + 1)


def _reach(back: Floats, place: Window, size_px: tuple[int, int]) -> tuple[int, int, int, int]:
    """The source px (left, top, right, bottom) that a run of tiles can look at, with a margin; it always holds
    at least one pixel of the source and reaches at most a margin beyond its frame."""
    x = place.left + np.array([0, place.width, place.width, 0])
    y = place.top + np.array([0, 0, place.height, place.height])
    mapped = back @ np.stack([x, y, np.ones(4)])
    margin = 2 * MARGIN_PX + 1
    if np.any(mapped[2] <= 0):
        return -margin, -margin, size_px[0] + margin, size_px[1] + margin
    u, v = mapped[0] / mapped[2], mapped[1] / mapped[2]
    (left, right), (top, bottom) = (
        (
            min(max(int(np.floor(at.min())), 0), size - 1) - margin,
            max(min(int(np.ceil(at.max())), size), 1) + margin,
        )
        for at, size in zip((u, v), size_px, strict=True)
    )
    return left, top, right, bottom


def _empty_behind(samples: Pixels, back: Floats, place: Window) -> None:
    """Empty, in place, where the ray of a pixel meets the picture's plane behind the camera."""
    x = place.left + 0.5 + np.arange(place.width)
    y = place.top + 0.5 + np.arange(place.height)
    corners = back[2, 0] * x[[0, -1]][None, :] + back[2, 1] * y[[0, -1]][:, None] + back[2, 2]
    if np.any(corners <= 0):
        samples[back[2, 0] * x[None, :] + back[2, 1] * y[:, None] + back[2, 2] <= 0] = 0
