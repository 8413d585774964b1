"""The shadow of one solid on one plane: a small map of the plane, made in one sweep (geometry/sweep.py)."""

from dataclasses import dataclass

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.base.opencv import cv2
from compositor.geometry.planes import Plane
from compositor.geometry.shadow import Frame, Throw, half_shadow_radii, sky_patches
from compositor.geometry.sweep import Fan, Integers, Lines, Sweep
from compositor.pixels.thickness import softened
from compositor.render.silhouette import Silhouette

MOST_LINES = 2048
FINER = 1.5
"""Samples of a sweep per sample of the map that is made of it, at most."""

FAINT = 0.02
"""What is kept of the sky's light far around a thing is left out, so that a contact shadow has an end; by eye."""

_LEAST_SIDE = 8
_MARGIN = 3
_COARSE = 4
_PLACES_PER_COLUMN = 2  # looked at along a line for each column of the map, at most: more cost time and show nothing
_PLACES_AT_ONCE = 32_768
_FAINTEST = 1.0 / 512.0
_UNSEEN = 1e-4


@dataclass(frozen=True)
class Grid:
    """Where a map's samples lie: their first corner on the plane (metres), samples per metre, and how many."""

    low_m: tuple[float, float]
    per_m: tuple[float, float]
    size: tuple[int, int]

    @property
    def to_plane(self) -> Floats:
        """3×3: continuous map px (corner origin) to the plane's metres."""
        (x, y), (a, b) = self.low_m, self.per_m
        return np.array([[1.0 / a, 0.0, x], [0.0, 1.0 / b, y], [0.0, 0.0, 1.0]])

    @property
    def bounds_m(self) -> tuple[Floats, Floats]:
        """Least and greatest coordinates (2,) on the plane."""
        low = np.array(self.low_m)
        return low, low + np.array(self.size) / np.array(self.per_m)


def grid_over(low_m: Floats, high_m: Floats, per_m: tuple[float, float], most: int) -> Grid:
    """A grid over a rectangle of a plane at a wanted number of samples per metre, fewer where they get too many."""
    span = np.maximum(high_m - low_m, 1e-6)
    wanted = np.array(per_m) * min(1.0, float(np.sqrt(most / max(float(np.prod(span * per_m)), 1.0))))
    counts = np.maximum(np.ceil(span * wanted), _LEAST_SIDE)
    wanted = counts / span
    low = low_m - _MARGIN / wanted
    size = (int(counts[0]) + 2 * _MARGIN, int(counts[1]) + 2 * _MARGIN)
    return Grid((float(low[0]), float(low[1])), (float(wanted[0]), float(wanted[1])), size)


def thrown(silhouette: Silhouette, throw: Throw, grid: Grid, half_angle_deg: float) -> Pixels:
    """How much of the light is kept from each place of a grid, (h, w) float32 0..1."""
    sweep = Sweep(throw)
    fan = sweep.fan(*grid.bounds_m)
    swept = _swept(silhouette, sweep, fan, grid)
    if swept is None:
        return np.zeros(grid.size[::-1], np.float32)
    mask, towards = _on_grid(swept, fan, grid)
    radii_m = half_shadow_radii(1.0, throw.slant, half_angle_deg)
    return softened(mask, towards, (radii_m[0] * grid.per_m[0], radii_m[1] * grid.per_m[1]))


@dataclass(frozen=True)
class _Swept:
    """A map over the angles (rows) and distances of a fan, (h, w, 3) float32: what is kept; how much of what throws it
    lies one over the other, and that times its distance towards the light. start, step: angle and distance of the first
    sample's corner, and from one to the next."""

    samples: Pixels
    start: tuple[float, float]
    step: tuple[float, float]


def _swept(silhouette: Silhouette, sweep: Sweep, fan: Fan, grid: Grid) -> _Swept | None:
    (first, last), (near, far) = fan.angles_rad, fan.run_m
    c, s = abs(np.cos(fan.middle_rad)), abs(np.sin(fan.middle_rad))
    around = last - first > np.pi
    per_run, per_across = (
        (max(grid.per_m), max(grid.per_m))
        if around
        else (
            float(np.hypot(c * grid.per_m[0], s * grid.per_m[1])),
            float(np.hypot(s * grid.per_m[0], c * grid.per_m[1])),
        )
    )
    if last <= first or far <= near:
        return None
    wanted = np.array([(last - first) * far * per_across, (far - near) * per_run])
    wanted *= min(1.0, float(np.sqrt(FINER * np.prod(grid.size) / max(np.prod(wanted), 1.0))))
    rows, columns = (int(np.clip(np.ceil(count), 2, MOST_LINES)) for count in wanted)
    step = ((last - first) / rows, (far - near) / columns)
    angles = fan.middle_rad + first + step[0] * (np.arange(rows, dtype=np.float64) + 0.5)
    picture, level = silhouette.channels(max(per_run, per_across))
    found, seen_rows = sweep.lines_in(angles, silhouette.box_px)
    places = _places(found, level, columns)
    samples = np.zeros((rows, columns, 3), np.float32)
    at_once = max(1, _PLACES_AT_ONCE // places[0])
    for top in range(0, len(seen_rows), at_once):  # few enough to stay in the processor's cache
        some = slice(top, top + at_once)
        stretches = _stretches(picture, level, sweep, found.some(some), places)
        samples[seen_rows[some]] = _piled(stretches, (len(seen_rows[some]), columns), near, step[1])
    return _Swept(samples, (first, near), step)


def _places(lines: Lines, level: int, columns: int) -> tuple[int, int]:
    """How many places of a line are looked at, and how many of them become one: those of the longest lie a pixel apart.

    columns: of the map that is made of them.
    """
    if lines.points_px.shape[1] == 0:
        return 2, 1
    length = float(np.hypot(*(lines.points_px[1] - lines.points_px[0]).T).max()) / 2.0**level
    count = int(np.clip(np.ceil(length), 2, MOST_LINES))
    every = max(1, count // (_PLACES_PER_COLUMN * columns))
    return -(-count // every) * every, every


@dataclass(frozen=True)
class _Stretches:
    """What the places of the lines throw: the line's index, from and to which distance (metres), how opaque the place
    is, and how far it is towards the light; (n,) each."""

    line: Integers
    start: Pixels
    end: Pixels
    coverage: Pixels
    towards: Pixels


def _stretches(picture: Pixels, level: int, sweep: Sweep, lines: Lines, places: tuple[int, int]) -> _Stretches:
    """places: so many are looked at along each line, and every so many of them become one."""
    points, (count, every) = lines.points_px / 2.0**level - 0.5, places  # OpenCV's centres are whole
    where = [_along(points[..., i], (np.arange(count) + 0.5) / count) for i in (0, 1)]
    seen = cv2.remap(picture, where[0], where[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    coverage, half, middle = cv2.split(_thinned(seen, every))
    count //= every
    middles, edges = (np.arange(count) + 0.5) / count, np.arange(count + 1) / count
    scale, backwards = _along(lines.scale, middles), _along(lines.back, middles)
    lean, back = _along(lines.lean, middles) / scale, backwards / scale
    middle += np.float32(sweep.to_front_m)
    near, far = sweep.above(middle - half, middle + half, lean, back)
    run_per_m = _along(lines.scale, edges) / _along(lines.back, edges)
    start = near * np.minimum(run_per_m[:, :-1], run_per_m[:, 1:])
    end = far * np.maximum(run_per_m[:, :-1], run_per_m[:, 1:])
    towards = sweep.towards_m((near + far) / 2.0, lean, back)
    there = np.flatnonzero((coverage > _FAINTEST) & (far >= near))
    start, end, coverage, towards = (part.ravel()[there] for part in (start, end, coverage, towards))
    line = there // count
    _close(start, end, (np.diff(there) == 1) & (line[1:] == line[:-1]))
    return _Stretches(line, start, end, coverage, towards)


def _along(ends: Floats, shares: Floats) -> Pixels:
    """What changes evenly between the ends (2, n) of lines, at shares (m,) of them: (n, m) float32."""
    first, rise = ends[0].astype(np.float32), (ends[1] - ends[0]).astype(np.float32)
    result: Pixels = np.multiply.outer(rise, shares.astype(np.float32))
    result += first[:, np.newaxis]
    return result


def _thinned(seen: Pixels, every: int) -> Pixels:
    """Lines (h, w, 3) of coverage, half thickness and middle, every so many places as one: what is covered counts."""
    if every == 1:
        return seen
    coverage, half, middle = cv2.split(seen)
    weighted = cv2.merge([coverage, cv2.multiply(half, coverage), cv2.multiply(middle, coverage)])
    fewer = cv2.resize(weighted, (seen.shape[1] // every, seen.shape[0]), interpolation=cv2.INTER_AREA)
    coverage, half, middle = cv2.split(fewer)
    some = np.maximum(coverage, np.float32(_FAINTEST))
    thinned: Pixels = cv2.merge([coverage, cv2.divide(half, some), cv2.divide(middle, some)])
    return thinned


def _close(start: Pixels, end: Pixels, next_to: Pixels) -> None:
    """Let what lies side by side in the picture throw its shadow without a gap, also where it recedes steeply.

    next_to (n - 1,): whether each stretch's place is beside the next one's.
    """
    for first, second in ((end[:-1], start[1:]), (end[1:], start[:-1])):
        apart = np.flatnonzero(next_to & (first < second))
        first[apart] = second[apart] = (first[apart] + second[apart]) / 2.0


class _Edges:
    """Where stretches begin, or end: in which column of a map, and how far in it."""

    def __init__(self, edge: Pixels, line: Integers, start_and_step: tuple[float, float], columns: int) -> None:
        position = np.clip((edge - start_and_step[0]) / start_and_step[1], 0.0, columns)
        whole = position.astype(np.intp)
        self.part, self.place = position - whole, line * (columns + 2) + whole
        self.columns = columns

    def steps(self, weight: Pixels, rows: int) -> Floats:
        """By how much each sample of the lines, one after the other, is more than the one before."""
        size = rows * (self.columns + 2)
        steps, later = (
            np.bincount(self.place, part, size).astype(np.float64, copy=False) for part in (weight, weight * self.part)
        )
        steps -= later
        steps[1:] += later[:-1]
        return steps


def _piled(stretches: _Stretches, shape: tuple[int, int], near: float, step: float) -> Pixels:
    """The map that stretches make where they lie one over the other."""
    rows, columns = shape
    coverage = stretches.coverage
    clear = coverage - coverage**2
    some = np.flatnonzero(clear > _UNSEEN)
    edges = [_Edges(edge, stretches.line, (near, step), columns) for edge in (stretches.start, stretches.end)]
    few = [_Edges(edge[some], stretches.line[some], (near, step), columns) for edge in (stretches.start, stretches.end)]

    def pile(ends: list[_Edges], weight: Pixels) -> Pixels:
        steps = ends[0].steps(weight, rows) - ends[1].steps(weight, rows)
        return np.cumsum(steps).reshape(rows, columns + 2)[:, :columns].astype(np.float32)

    covered, towards = (pile(edges, weight) for weight in (coverage, coverage * stretches.towards))
    opaque = 1.0 - pile(few, clear[some]) / np.maximum(covered, np.float32(_FAINTEST))
    samples: Pixels = cv2.merge([np.clip(covered, 0.0, 1.0) * np.clip(opaque, 0.0, 1.0), covered, towards])
    return samples


def _on_grid(swept: _Swept, fan: Fan, grid: Grid) -> tuple[Pixels, Pixels]:
    """What is kept, and how far towards the light what keeps it is, at the samples of a grid."""
    width, height = grid.size
    x = (grid.low_m[0] + (np.arange(width, dtype=np.float32) + 0.5) / grid.per_m[0] - fan.centre_m[0])[np.newaxis, :]
    y = (grid.low_m[1] + (np.arange(height, dtype=np.float32) + 0.5) / grid.per_m[1] - fan.centre_m[1])[:, np.newaxis]
    c, s = np.cos(fan.middle_rad), np.sin(fan.middle_rad)
    along, across = (c * x + s * y).astype(np.float32), (c * y - s * x).astype(np.float32)
    angle = (np.arctan2(across, along) - np.float32(swept.start[0])) / np.float32(swept.step[0]) - np.float32(0.5)
    run = (np.hypot(along, across) - np.float32(swept.start[1])) / np.float32(swept.step[1]) - np.float32(0.5)
    looked = cv2.remap(swept.samples, run, angle, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    kept, weight, total = cv2.split(looked)
    return kept, _spread(total, weight)


def skylight_kept(
    silhouette: Silhouette, frame: Frame, receiver: Plane, grid: Grid, sun: Floats | None = None
) -> Pixels:
    """How much of the sky's light is kept from each place of a grid on level ground, (h, w) float32 0..1.

    sun: direction (3,) to it where it shines.
    """
    kept = np.zeros((grid.size[1], grid.size[0]), np.float32)
    for patch in sky_patches(sun):
        throw = Throw(silhouette.solid, frame, patch.direction, receiver, np.array([0.0, 0.0, 1.0]))
        kept += np.float32(patch.share) * thrown(silhouette, throw, grid, patch.half_angle_deg)
    faint = np.float32(FAINT)
    result: Pixels = np.maximum(kept - faint, 0.0) / (1 - faint)
    return result


def _spread(total: Pixels, weight: Pixels) -> Pixels:
    """The mean total / weight, carried on smoothly beyond where there is weight; made on a small picture."""
    height, width = total.shape
    size = (max(1, width // _COARSE), max(1, height // _COARSE))
    near, share = (
        cv2.GaussianBlur(cv2.resize(samples, size, interpolation=cv2.INTER_AREA), (0, 0), max(size) / 24.0 + 0.3)
        for samples in (total, weight)
    )
    mean = near / np.maximum(share, np.float32(1e-4) * max(float(share.max(initial=0.0)), 1e-3))
    result: Pixels = cv2.resize(mean, (width, height), interpolation=cv2.INTER_LINEAR)
    return result
