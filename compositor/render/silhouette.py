"""A picture's coverage with the thickness that its solid gives it."""

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.base.opencv import cv2
from compositor.geometry.solid import Solid
from compositor.geometry.standing import Side
from compositor.pixels.mips import Mips
from compositor.pixels.thickness import half_thickness, round_thickness

_LEAST_M = 0.01


class Silhouette:
    """A picture's coverage with its thickness, ready to be looked through, at the fineness that is asked for."""

    def __init__(self, picture: Mips, solid: Solid) -> None:
        self._picture, self.solid = picture, solid
        self._made: dict[int, Pixels] = {}
        (left, top), (right, bottom) = np.min(solid.hull_px, axis=0), np.max(solid.hull_px, axis=0)
        self.box_px = (float(left), float(top), float(right), float(bottom))

    def channels(self, wanted_per_m: float) -> tuple[Pixels, int]:
        """Coverage, half thickness and middle behind the front line, both in metres, (h, w, 3) float32, and their
        level in the pyramid."""
        px_per_m = self.solid.pixels_per_metre()
        level = round(float(np.log2(max(px_per_m / wanted_per_m, 1.0))))
        level = min(level, self._picture.deepest)
        if level not in self._made:
            self._made[level] = self._make(level, px_per_m / 2.0**level)
        return self._made[level], level

    def _make(self, level: int, per_m: float) -> Pixels:
        samples = self._picture.coverage(level)
        coverage = samples.astype(np.float32) / np.float32(_full(samples))
        profile = round_thickness if self.solid.is_round else half_thickness
        half_m = profile(coverage, float(self.solid.depth_m / 2.0 * per_m)) / np.float32(per_m)
        half_m, middle = _behind(self.solid, level, half_m)
        channels: Pixels = cv2.merge([coverage, half_m, middle])
        return channels


def _full(samples: Pixels) -> float:
    return 65535.0 if samples.dtype == np.uint16 else 1.0


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


def _ramp(row: Floats, size: tuple[int, int]) -> Pixels:
    """A linear function (a, b, c) of the map's indices over the map, (h, w) float32."""
    width, height = size
    across, down = row[0] * np.arange(width), row[1] * np.arange(height) + row[2]
    result: Pixels = (down[:, np.newaxis] + across[np.newaxis, :]).astype(np.float32)
    return result
