"""The shadow of one solid on one plane: a small map of the plane, made in one sweep (geometry/sweep.py)."""

from dataclasses import dataclass

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.base.opencv import cv2
from compositor.geometry.planes import Plane
from compositor.geometry.shadow import Frame, Throw, half_shadow_radii, sky_patches
from compositor.geometry.sweep import Fan, Sweep
from compositor.pixels.thickness import blurred, softened
from compositor.render.silhouette import Silhouette
from compositor.render.sweeping import Sheet, Sweeping, Swept

MOST_LINES = 2048
FINER = 1.5
"""Samples of a sweep per sample of the map that is made of it, at most."""

FAINT = 0.02
"""What is kept of the sky's light far around a thing is left out, so that a contact shadow has an end; by eye."""

_LEAST_SIDE = 8
_MARGIN = 3
_TOGETHER = 3  # patches of the sky that are equally high and wide; pictures of four channels can be resized, not more
_AT_ONCE = 40_000  # samples, few enough to stay in the processor's cache
_HALVINGS = 2
"""So much coarser is the map of how far what throws a shadow is."""


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

    def fewer(self, every: int) -> "Grid":
        """One that has a sample for every so many of this one's in a row and a column, and covers as much."""
        (a, b), (width, height) = self.per_m, self.size
        return Grid(self.low_m, (a / every, b / every), (-(-width // every), -(-height // every)))


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
    ((mask, towards_m),) = _cast(silhouette, [throw], grid)
    return softened(mask, towards_m, _half_shadow_px(throw, grid, half_angle_deg))


def _half_shadow_px(throw: Throw, grid: Grid, half_angle_deg: float) -> tuple[float, float]:
    x, y = half_shadow_radii(1.0, throw.slant, half_angle_deg)
    return x * grid.per_m[0], y * grid.per_m[1]


def _cast(silhouette: Silhouette, throws: list[Throw], grid: Grid) -> list[tuple[Pixels, Pixels]]:
    """For each of several throws on one plane, on the samples of a grid (h, w): how much of a light without extent is
    kept, 0..1, and how far towards it (metres) what keeps it is."""
    sweeps = [Sweep(throw) for throw in throws]
    fans = [sweep.fan(*grid.bounds_m) for sweep in sweeps]
    there = [fan.angles_rad[1] > fan.angles_rad[0] and fan.run_m[1] > fan.run_m[0] for fan in fans]
    nothing = np.zeros(grid.size[::-1], np.float32)
    if not any(there):
        return [(nothing, nothing) for _ in fans]
    per_m = [max(_fineness(fan, grid)) for fan, lands in zip(fans, there, strict=True) if lands]
    sheets = [_sheet(sweep, fan, grid) for sweep, fan, lands in zip(sweeps, fans, there, strict=True) if lands]
    sweeping = Sweeping(silhouette.seen(float(np.exp(np.mean(np.log(per_m))))), sheets)
    swept = zip(sheets, sweeping.kept(), sweeping.towards(_HALVINGS), strict=True)
    few = grid.fewer(2**_HALVINGS)
    found = []
    for lands in there:
        if lands:
            sheet, kept, towards = next(swept)
            weight, total = cv2.split(_on_grid(towards, sheet.fan, few))
            found.append((_on_grid(kept, sheet.fan, grid), _spread(total, weight, grid.size)))
        else:
            found.append((nothing, nothing))
    return found


def _sheet(sweep: Sweep, fan: Fan, grid: Grid) -> Sheet:
    """As many rows and columns as a grid can show."""
    (first, last), (near, far) = fan.angles_rad, fan.run_m
    per_run, per_across = _fineness(fan, grid)
    wanted = np.array([(last - first) * far * per_across, (far - near) * per_run])
    wanted *= min(1.0, float(np.sqrt(FINER * np.prod(grid.size) / max(np.prod(wanted), 1.0))))
    rows, columns = (int(np.clip(np.ceil(count), 2, MOST_LINES)) for count in wanted)
    return Sheet(sweep, fan, (rows, columns))


def _fineness(fan: Fan, grid: Grid) -> tuple[float, float]:
    """Samples per metre along the lines of a fan and across them that a grid can show."""
    (first, last), (x, y) = fan.angles_rad, grid.per_m
    if last - first > np.pi:
        return max(x, y), max(x, y)
    c, s = abs(np.cos(fan.middle_rad)), abs(np.sin(fan.middle_rad))
    return float(np.hypot(c * x, s * y)), float(np.hypot(s * x, c * y))


def _on_grid(swept: Swept, fan: Fan, grid: Grid) -> Pixels:
    """A map over the angles and distances of a fan, at the samples of a grid."""
    x, y = ((np.arange(n) + 0.5) / per for n, per in zip(grid.size, grid.per_m, strict=True))
    x, y = x + (grid.low_m[0] - fan.centre_m[0]), y + (grid.low_m[1] - fan.centre_m[1])
    c, s = np.cos(fan.middle_rad), np.sin(fan.middle_rad)
    (along_x, across_x), (along_y, across_y) = (
        (a.astype(np.float32), b.astype(np.float32)) for a, b in ((c * x, -s * x), (s * y, c * y))
    )
    shown: Pixels = np.empty((grid.size[1], grid.size[0], *swept.samples.shape[2:]), np.float32)
    rows = max(1, _AT_ONCE // grid.size[0])
    for top in range(0, len(shown), rows):
        part = slice(top, top + rows)
        along, across = np.add.outer(along_y[part], along_x), np.add.outer(across_y[part], across_x)
        run = _index(cv2.magnitude(along, across), swept.start[1], swept.step[1])
        angle = _index(np.arctan2(across, along, out=along), swept.start[0], swept.step[0])
        shown[part] = cv2.remap(swept.samples, run, angle, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    return shown


def _index(values: Pixels, start: float, step: float) -> Pixels:
    """Of samples, where values are that grow from a start by a step from one to the next; made in place."""
    values *= np.float32(1.0 / step)
    values -= np.float32(start / step + 0.5)
    return values


def skylight_kept(
    silhouette: Silhouette, frame: Frame, receiver: Plane, grid: Grid, sun: Floats | None = None
) -> Pixels:
    """How much of the sky's light is kept from each place of a grid on level ground, (h, w) float32 0..1.

    sun: direction (3,) to it where it shines.
    """
    patches, up = sky_patches(sun), np.array([0.0, 0.0, 1.0])
    throws = [Throw(silhouette.solid, frame, patch.direction, receiver, up) for patch in patches]
    cast = list(zip(patches, throws, _cast(silhouette, throws, grid), strict=True))
    kept = np.zeros((grid.size[1], grid.size[0]), np.float32)
    for first in range(0, len(cast), _TOGETHER):
        some, same, found = zip(*cast[first : first + _TOGETHER], strict=True)
        masks, towards_m = (cv2.merge(parts) for parts in zip(*found, strict=True))
        several = softened(masks, towards_m, _half_shadow_px(same[0], grid, some[0].half_angle_deg))
        for patch, one in zip(some, cv2.split(several), strict=True):
            cv2.scaleAdd(one, patch.share, kept, dst=kept)
    faint = np.float32(FAINT)
    result: Pixels = np.maximum(kept - faint, 0.0) / (1 - faint)
    return result


def _spread(total: Pixels, weight: Pixels, size: tuple[int, int]) -> Pixels:
    """The mean total / weight, carried on smoothly beyond where there is weight; enlarged and cut to a size."""
    sigma = max(weight.shape) / 24.0 + 0.3
    near, share = (blurred(samples, sigma, sigma) for samples in (total, weight))
    near /= np.maximum(share, np.float32(1e-4) * max(float(share.max(initial=0.0)), 1e-3))
    height, width = (side * 2**_HALVINGS for side in weight.shape)
    result: Pixels = cv2.resize(near, (width, height), interpolation=cv2.INTER_LINEAR)
    return result[: size[1], : size[0]]
