"""The shadow of one solid on one plane: a small map of the plane, made slice by slice."""

from dataclasses import dataclass
from math import ceil

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.base.opencv import cv2
from compositor.geometry.planes import Plane
from compositor.geometry.shadow import Frame, Throw, half_shadow_radii, sky_patches
from compositor.geometry.solid import Solid
from compositor.geometry.standing import Side
from compositor.pixels.mips import Mips
from compositor.pixels.thickness import half_thickness, round_thickness, softened

MOST_PIXELS = 160_000
"""Samples of one map; its half-shadow is wider than they are apart where a shadow is that long."""

MOST_SLICES = 128
SKY_SLICES = 10

FAINT = 0.02
"""What is kept of the sky's light far around a thing is left out, so that a contact shadow has an end; by eye."""

_LEAST_SIDE = 8
_MARGIN = 3
_LEAST_M = 0.01


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


def grid_over(low_m: Floats, high_m: Floats, per_m: tuple[float, float], most: int = MOST_PIXELS) -> Grid:
    """A grid over a rectangle of a plane at a wanted number of samples per metre, fewer where they get too many."""
    span = np.maximum(high_m - low_m, 1e-6)
    wanted = np.array(per_m) * min(1.0, float(np.sqrt(most / max(float(np.prod(span * per_m)), 1.0))))
    counts = np.maximum(np.ceil(span * wanted), _LEAST_SIDE)
    wanted = counts / span
    low = low_m - _MARGIN / wanted
    size = (int(counts[0]) + 2 * _MARGIN, int(counts[1]) + 2 * _MARGIN)
    return Grid((float(low[0]), float(low[1])), (float(wanted[0]), float(wanted[1])), size)


class Silhouette:
    """A picture's coverage with its thickness, ready to be looked through, at the fineness that is asked for."""

    def __init__(self, picture: Mips, solid: Solid) -> None:
        self._picture, self.solid = picture, solid
        self._made: dict[int, Pixels] = {}

    def channels(self, wanted_per_m: float) -> tuple[Pixels, int]:
        """Coverage, half thickness and middle behind the front line, both in metres, (h, w, 3) float32, and their
        level in the pyramid."""
        px_per_m = self.solid.pixels_per_metre()
        level = max(0, int(np.floor(np.log2(max(px_per_m / wanted_per_m, 1.0)))))
        level = min(level, self._picture.deepest)
        if level not in self._made:
            self._made[level] = self._make(level, px_per_m / 2.0**level)
        return self._made[level], level

    def _make(self, level: int, per_m: float) -> Pixels:
        samples = self._picture.level(level)
        coverage = cv2.extractChannel(samples, 3).astype(np.float32) / np.float32(_full(samples))
        profile = round_thickness if self.solid.is_round else half_thickness
        half_m = profile(coverage, float(self.solid.depth_m / 2.0 * per_m)) / np.float32(per_m)
        half_m, middle = _behind(self.solid, level, half_m)
        channels: Pixels = cv2.merge([coverage, half_m, middle])
        return channels


def _full(samples: Pixels) -> float:
    return 65535.0 if samples.dtype == np.uint16 else 1.0


def thrown(
    silhouette: Silhouette, throw: Throw, grid: Grid, half_angle_deg: float, most_slices: int = MOST_SLICES
) -> Pixels:
    """How much of the light is kept from each place of a grid, (h, w) float32 0..1."""
    near, far = throw.depths_m()
    finest = max(grid.per_m)
    count = int(min(most_slices, max(4, ceil((far - near) * finest))))
    step = (far - near) / count
    channels, level = silhouette.channels(min(finest, 1.5 / step))
    width, height = grid.size
    mask, weight, total = (np.zeros((height, width), np.float32) for _ in range(3))
    plane = grid.to_plane @ np.array([[1.0, 0.0, 0.5], [0.0, 1.0, 0.5], [0.0, 0.0, 1.0]])  # at the samples' middles
    for index in range(count):
        depth = near + (index + 0.5) * step
        found = _slice(channels, level, throw, depth, plane, step, grid.size)
        towards = _ramp(throw.towards(depth) @ plane, grid.size)
        found[towards < 0.0] = 0.0
        cv2.max(mask, found, dst=mask)
        cv2.accumulate(found, weight)
        cv2.accumulateProduct(found, towards, total)
    radii_m = half_shadow_radii(1.0, throw.slant, half_angle_deg)
    radii_px = (radii_m[0] * grid.per_m[0], radii_m[1] * grid.per_m[1])
    return softened(mask, _spread(total, weight), radii_px)


def skylight_kept(
    silhouette: Silhouette, frame: Frame, receiver: Plane, grid: Grid, sun: Floats | None = None
) -> Pixels:
    """How much of the sky's light is kept from each place of a grid on level ground, (h, w) float32 0..1.

    sun: direction (3,) to it where it shines.
    """
    kept = np.zeros((grid.size[1], grid.size[0]), np.float32)
    for patch in sky_patches(sun):
        throw = Throw(silhouette.solid, frame, patch.direction, receiver, np.array([0.0, 0.0, 1.0]))
        kept += np.float32(patch.share) * thrown(silhouette, throw, grid, patch.half_angle_deg, SKY_SLICES)
    faint = np.float32(FAINT)
    result: Pixels = np.maximum(kept - faint, 0.0) / (1 - faint)
    return result


def _behind(solid: Solid, level: int, half_m: Pixels) -> tuple[Pixels, Pixels]:
    """Half the thickness of each part as far as the solid has room for it, and how far behind the front line the middle
    of the part lies, (h, w) float32."""
    if solid.middle_m is not None:
        return half_m, np.full(half_m.shape, solid.middle_m, np.float32)
    back, height, width = solid.reach_m[1], *half_m.shape
    to_picture = np.array([[2.0**level, 0, 0.5 * 2.0**level], [0, 2.0**level, 0.5 * 2.0**level], [0, 0, 1.0]])

    def met(sides: tuple[Side, ...]) -> list[Pixels]:
        found = []
        for rows in solid.surfaces(sides):
            behind, scale = (_ramp(row @ to_picture, (width, height)) for row in rows)
            with np.errstate(divide="ignore", invalid="ignore"):
                found.append(behind / scale)
        return found

    surface = np.zeros(half_m.shape, np.float32)
    for behind in met(solid.sides_m):
        surface = np.fmax(surface, np.clip(behind, 0.0, back))
    for behind in met(solid.far_m):
        half_m = np.fmin(half_m, np.maximum(behind - surface, np.float32(_LEAST_M)) / 2.0)
    return half_m.astype(np.float32), (surface + half_m).astype(np.float32)


def _slice(
    channels: Pixels, level: int, throw: Throw, depth_m: float, plane: Floats, step_m: float, size: tuple[int, int]
) -> Pixels:
    """What one slice keeps from the light. plane: 3×3, indices of the map to the plane's metres."""
    to_level = np.array([[0.5**level, 0, -0.5], [0, 0.5**level, -0.5], [0, 0, 1.0]])  # OpenCV's centres are whole
    pixels = throw.homography(depth_m) @ plane
    looked = cv2.warpPerspective(
        channels, to_level @ pixels, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_CONSTANT
    )
    coverage, half, middle = cv2.split(looked)
    off = cv2.absdiff(_ramp(throw.behind(depth_m) @ plane, size), middle)
    inside = np.clip(1.0 + (half - off) / np.float32(step_m), 0.0, 1.0)
    in_front = _ramp(pixels[2] * np.sign(throw.solid.matrix[2, 3]), size) > 0.0
    result: Pixels = np.ascontiguousarray(coverage * inside * in_front)
    return result


def _ramp(row: Floats, size: tuple[int, int]) -> Pixels:
    """A linear function (a, b, c) of the map's indices over the map, (h, w) float32."""
    width, height = size
    across, down = row[0] * np.arange(width), row[1] * np.arange(height) + row[2]
    result: Pixels = (down[:, np.newaxis] + across[np.newaxis, :]).astype(np.float32)
    return result


def _spread(total: Pixels, weight: Pixels) -> Pixels:
    """The mean total / weight, carried on smoothly beyond where there is weight."""
    sigma = max(total.shape) / 24.0
    near, share = (
        cv2.GaussianBlur(samples, (0, 0), sigma, borderType=cv2.BORDER_CONSTANT) for samples in (total, weight)
    )
    mean: Pixels = near / np.maximum(share, np.float32(1e-4) * max(float(weight.max(initial=0.0)), 1e-3))
    return mean
