"""A picture through a homography, antialiased: premultiplied samples in, premultiplied samples out.

The picture is sampled by linear interpolation on the fitting level of its pyramid, several times per output
pixel, and the samples are averaged. Where it is shown clearly smaller, the samples are taken of means of neighbours,
of which fewer do as well (tests/studies/sampling.py). Where it is shown near its own size or larger, the interpolation
works on a doubled source (:mod:`compositor.pixels.enlarge`), so detail stays and hard edges get no halo.
"""

from functools import partial
from itertools import groupby
from math import ceil, floor

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.base.opencv import cv2
from compositor.pixels.enlarge import MARGIN_PX, doubled
from compositor.pixels.footprint import TILE_PX, Sampling, Window, plan_tiles
from compositor.pixels.mips import BORDERS, Box, Mips
from compositor.pixels.strips import THREADS, run_all

_BAND_PX = 2 * TILE_PX  # rows that are worked on together; more of them were no faster
_SOFT_BAND_PX = 3 * TILE_PX  # the same of looks into means; still more take memory that the system has to find first
_LOOK_PX = 2  # beside what is looked at: a neighbour, and one for rounding
_DOUBLED_PX = 2 * MARGIN_PX + 1  # beside what is doubled twice


def warp(mips: Mips, homography: Floats, window: Window, threads: int = THREADS) -> Pixels:
    """The samples (height, width[, 4]) of a window of target pixels.

    homography: 3×3, source px to target px, both continuous with the corner origin, of such a sign that its
    third coordinate is > 0 for what stands in front of the camera; what does not stays empty.
    """
    inverse: Floats = np.linalg.inv(homography).astype(np.float64)
    tiles = plan_tiles(inverse, window, mips.content_px if mips.edge == "transparent" else None)
    back: Floats = _moving(-mips.origin_px[0], -mips.origin_px[1]) @ inverse
    result = np.empty((window.height, window.width, *mips.channels), mips.dtype)

    def band(top: int, bottom: int) -> None:
        column = 0
        for sampling, run in groupby(tiles[top // TILE_PX]):
            left, column = column, min(column + TILE_PX * len(list(run)), window.width)
            out = result[top:bottom, left:column]
            if sampling is None:
                out[...] = 0
            else:
                place = Window(window.left + left, window.top + top, column - left, bottom - top)
                _sample(mips, back, place, sampling, out)

    run_all([partial(band, top, bottom) for top, bottom in _bands(tiles, window.height)], threads)
    return result


def _bands(tiles: list[list[Sampling | None]], height: int) -> list[tuple[int, int]]:
    """First row and the one after the last of tile rows that are sampled alike, a few together."""
    bands: list[tuple[int, int]] = []
    for number, row in enumerate(tiles):
        top, bottom = TILE_PX * number, min(TILE_PX * (number + 1), height)
        most_px = _SOFT_BAND_PX if all(each is None or each.softened for each in row) else _BAND_PX
        if bands and row == tiles[number - 1] and top - bands[-1][0] < most_px:
            bands[-1] = (bands[-1][0], bottom)
        else:
            bands.append((top, bottom))
    return bands


def _sample(mips: Mips, back: Floats, place: Window, sampling: Sampling, out: Pixels) -> None:
    """One run of tiles: the mean of its samples."""
    border = BORDERS[mips.edge]
    samples, to_samples = (_means if sampling.softened else _level)(mips, back, place, sampling.level)
    ways = _ways(to_samples @ back, place, sampling)
    if len(ways) & (len(ways) - 1):
        total = np.zeros(out.shape, np.float32)
        for way in ways:
            _look(samples, way, out, border)
            cv2.accumulate(out, total)
        depth = cv2.CV_16U if samples.dtype == np.uint16 else cv2.CV_32F
        cv2.multiply(total, np.full(4, 1.0 / len(ways)), dst=out, dtype=depth)
    else:
        _look_by_halves(samples, ways, out, border)
    _empty_behind(out, back, place)


def _look_by_halves(samples: Pixels, ways: Floats, out: Pixels, border: int) -> None:
    """The mean of 1, 2, 4, … looks: of the means of either half, which is faster than adding all of them up."""
    if len(ways) == 1:
        _look(samples, ways[0], out, border)
        return
    other, half = np.empty_like(out), len(ways) // 2
    _look_by_halves(samples, ways[:half], out, border)
    _look_by_halves(samples, ways[half:], other, border)
    cv2.addWeighted(out, 0.5, other, 0.5, 0.0, dst=out)


def _offsets(sampling: Sampling, axis: int) -> list[float]:
    """Where along an output pixel the samples lie, from its centre."""
    count = sampling.counts[axis]
    return [sampling.spread[axis] * ((i + 0.5) / count - 0.5) for i in range(count)]


def _ways(back: Floats, place: Window, sampling: Sampling) -> Floats:
    """From the indices of a place's pixels to those of samples, (n, 3, 3), one for each look. back: target px to px of
    samples. The one place where OpenCV's pixels, whose centres lie at whole numbers, meet ours, whose corners do."""
    central = _moving(-0.5, -0.5) @ back @ _moving(place.left + 0.5, place.top + 0.5)
    offsets = [(x, y, 1.0) for y in _offsets(sampling, 1) for x in _offsets(sampling, 0)]
    ways = np.repeat(central[np.newaxis], len(offsets), axis=0)
    ways[:, :, 2] = np.array(offsets) @ central.T
    return ways


def _look(samples: Pixels, way: Floats, out: Pixels, border: int) -> None:
    """One sample for each index of `out`."""
    size, flags = (out.shape[1], out.shape[0]), cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    cv2.warpPerspective(samples, way, size, dst=out, flags=flags, borderMode=border)


def _level(mips: Mips, back: Floats, place: Window, level: int) -> tuple[Pixels, Floats]:
    """The samples to look into and the matrix from source px to their px."""
    if level > 0:
        return mips.level(min(level, mips.deepest)), _moving(0, 0, 0.5**level)
    reach = _reach(back, place, mips.size_px, _DOUBLED_PX if level < 0 else _LOOK_PX)
    if level == 0:
        left, top, right, bottom = _inside(reach, mips)
        return mips.part((left, top, right, bottom)), _moving(-left, -top)
    samples = mips.cut(reach)
    for _ in range(-level):
        samples = doubled(samples)
    factor = 2.0**-level  # old sample i is new sample i · factor: their CENTRES coincide, not their corners
    shift = 0.5 - 0.5 * factor
    return samples, _moving(shift - factor * reach[0], shift - factor * reach[1], factor)


def _means(mips: Mips, back: Floats, place: Window, level: int) -> tuple[Pixels, Floats]:
    """As `_level`, of means of four neighbours, which are made once for all looks."""
    level = min(level, mips.deepest)
    to_level = _moving(0, 0, 0.5**level)
    reach = _reach(to_level @ back, place, mips.size_of(level), _LOOK_PX)
    left, top, right, bottom = _inside(reach, mips) if level == 0 else reach
    width, height = mips.size_of(level)
    left, top = max(left, 0), max(top, 0)
    means = mips.means((left, top, min(right, width) + 1, min(bottom, height) + 1), level)
    return means, _moving(0.5 - left, 0.5 - top) @ to_level


def _moving(x: float, y: float, factor: float = 1.0) -> Floats:
    """3×3: scales and then moves."""
    return np.array([[factor, 0.0, x], [0.0, factor, y], [0.0, 0.0, 1.0]])


def _inside(reach: Box, mips: Mips) -> Box:
    """The part of a reach that holds something, at least one pixel; beyond the edges all goes on as inside."""
    x, y = mips.origin_px
    width, height = mips.size_px
    left, top, right, bottom = mips.content_px if mips.edge == "transparent" else (x, y, x + width, y + height)
    first_x, first_y = min(max(reach[0], left - x), width - 1), min(max(reach[1], top - y), height - 1)
    return first_x, first_y, max(min(reach[2], right - x), first_x + 1), max(min(reach[3], bottom - y), first_y + 1)


def _reach(back: Floats, place: Window, size_px: tuple[int, int], margin: int) -> Box:
    """The source px (left, top, right, bottom) that a run of tiles can look at, with a margin; it always holds
    at least one pixel of the source and reaches at most a margin beyond its frame."""
    width, height = size_px
    corners = _corners(back, place)
    if any(depth <= 0 for _, _, depth in corners):
        return -margin, -margin, width + margin, height + margin
    u, v = [x / depth for x, _, depth in corners], [y / depth for _, y, depth in corners]
    return (
        min(max(floor(min(u)), 0), width - 1) - margin,
        min(max(floor(min(v)), 0), height - 1) - margin,
        max(min(ceil(max(u)), width), 1) + margin,
        max(min(ceil(max(v)), height), 1) + margin,
    )


def _corners(back: Floats, place: Window) -> list[tuple[float, float, float]]:
    """Where the corners of a place come from, in homogeneous px; by hand, which is faster for four points."""
    (a, b, c), (d, e, f), (g, h, i) = back.tolist()
    return [
        (a * x + b * y + c, d * x + e * y + f, g * x + h * y + i)
        for x in (place.left, place.left + place.width)
        for y in (place.top, place.top + place.height)
    ]


def _empty_behind(samples: Pixels, back: Floats, place: Window) -> None:
    """Empty, in place, where the ray of a pixel meets the picture's plane behind the camera."""
    if all(depth > 0 for _, _, depth in _corners(back, place)):
        return
    x = place.left + 0.5 + np.arange(place.width)
    y = place.top + 0.5 + np.arange(place.height)
    samples[back[2, 0] * x[None, :] + back[2, 1] * y[:, None] + back[2, 2] <= 0] = 0
