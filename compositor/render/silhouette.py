"""A picture's coverage with the thickness that its solid gives it."""

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.base.opencv import cv2
from compositor.geometry.solid import Solid
from compositor.pixels.mips import Mips
from compositor.pixels.thickness import half_thickness, round_thickness

_LEAST_M = 0.01
_MOST_M = 1e6
_PLACES = 2048  # along the line on which the sides are looked up
_STEEPEST = 0.1  # where one looks straight down, all upright planes through the eye meet in one pixel
_STRIP_PX = 16_384


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
        half_m = profile(coverage, float(self.solid.depth_m / 2.0 * per_m))
        half_m /= np.float32(per_m)
        channels: Pixels = np.empty((*coverage.shape, 3), np.float32)
        sides = _Sides(self.solid, level, coverage.shape)
        rows = max(1, _STRIP_PX // coverage.shape[1])
        for top in range(0, len(coverage), rows):  # in the processor's cache
            strip = slice(top, top + rows)
            half, middle = sides.behind(half_m[strip], top)
            channels[strip] = cv2.merge([coverage[strip], half, middle])
        return channels


def _full(samples: Pixels) -> float:
    return 65535.0 if samples.dtype == np.uint16 else 1.0


class _Sides:
    """The sides of a solid, seen through a level of its picture.

    They are upright: all rays in one upright plane through the eye meet them equally far behind the front line. So it
    is enough to know that along a line across the picture, and which place of it a pixel's ray belongs to.
    """

    def __init__(self, solid: Solid, level: int, shape: tuple[int, ...]) -> None:
        self.middle_m = solid.middle_m
        if solid.middle_m is not None:
            return
        step, (height, width) = 2.0**level, shape
        centred = np.array(
            [[step * width / 2, 0, step * width / 2], [0, step * height / 2, step * height / 2], [0, 0, 1]]
        )
        near, far = (np.array(solid.surfaces(s)).reshape(-1, 2, 3) @ centred for s in (solid.sides_m, solid.far_m))
        across, facing = _pencil(np.concatenate([near, far]).reshape(-1, 3))
        corners = np.array([[x, y, 1.0] for x in (-1, 1) for y in (-1, 1)])
        ends = (corners @ across) / np.maximum(corners @ facing, _STEEPEST)
        line = np.linspace(ends.min(), ends.max(), _PLACES)
        line_at = np.outer(across, line) + (facing / (facing @ facing))[:, np.newaxis]
        to_index = (_PLACES - 1) / float(np.ptp(ends))
        to_centred = np.array([[2 / width, 0, 1 / width - 1], [0, 2 / height, 1 / height - 1], [0, 0, 1]])
        self.place = to_index * (across - ends.min() * facing) @ to_centred
        self.facing = facing @ to_centred
        with np.errstate(divide="ignore", invalid="ignore"):
            entered, left = ((side[:, 0] @ line_at) / (side[:, 1] @ line_at) for side in (near, far))
        surface = np.fmax.reduce(np.clip(entered, 0.0, solid.reach_m[1]), axis=0, initial=0.0)
        room = np.maximum(np.fmin.reduce(left, axis=0, initial=np.inf) - surface, _LEAST_M) / 2.0
        both = np.stack([surface, np.minimum(room, _MOST_M)], axis=-1)
        self.line: Pixels = both.astype(np.float32)[np.newaxis]

    def behind(self, half_m: Pixels, top: int) -> tuple[Pixels, Pixels]:
        """Half the thickness of each part as far as the solid has room for it, and how far behind the front line the
        middle of the part lies, (h, w) float32. top: the first of the level's rows that is given."""
        if self.middle_m is not None:
            return half_m, np.full(half_m.shape, self.middle_m, np.float32)
        place, facing = (_ramp(row + [0.0, 0.0, top * row[1]], half_m.shape) for row in (self.place, self.facing))
        place /= facing
        seen = cv2.remap(self.line, place, np.zeros_like(place), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        surface, room = cv2.split(seen)
        half: Pixels = cv2.min(half_m, room)
        return half, cv2.add(surface, half)


def _pencil(rows: Floats) -> tuple[Floats, Floats]:
    """Two functions (3,) of (x, y, 1), -1..1 over the picture, of which all rows (n, 3) are made: one of length 1 that
    is 0 in the middle, and one that is 1 there and changes as little as may be."""
    first, second = np.linalg.svd(rows / np.linalg.norm(rows, axis=1, keepdims=True))[2][:2]
    a, b = first[2], second[2]
    return (b * first - a * second) / np.hypot(a, b), (a * first + b * second) / (a * a + b * b)


def _ramp(row: Floats, shape: tuple[int, ...]) -> Pixels:
    """A linear function (a, b, c) of the map's indices over the map, (h, w) float32."""
    height, width = shape
    across, down = row[0] * np.arange(width), row[1] * np.arange(height) + row[2]
    result: Pixels = np.add.outer(down.astype(np.float32), across.astype(np.float32))
    return result
