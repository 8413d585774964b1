"""A picture's coverage with the thickness that its solid gives it."""

from dataclasses import dataclass

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.base.opencv import cv2
from compositor.geometry.solid import Solid
from compositor.pixels.mips import Mips, halved
from compositor.pixels.thickness import half_thickness, round_thickness

_LEAST_M = 0.01
_MOST_M = 1e6
_PLACES = 2048  # along the line on which the sides are looked up
_STEEPEST = 0.1  # where one looks straight down, all upright planes through the eye meet in one pixel
_ROWS = 16  # sides are looked up in one of so many: they are upright, and so very nearly in the picture


@dataclass(frozen=True)
class Seen:
    """A level of a silhouette, (h, w, 4) uint16: coverage; from where to where each part lies behind the front line, in
    steps of step_m from least_m on; and nothing, because four channels are looked up in half the time of three. beyond:
    the same of what lies beyond the frame, where looks at the edge reach half. box_px: where it is not empty, in the
    picture's own pixels."""

    channels: Pixels
    least_m: float
    step_m: float
    level: int
    beyond: tuple[float, float, float, float]
    box_px: tuple[float, float, float, float]

    def halved(self, times: int) -> Pixels:
        """The channels, halved so often."""
        channels = self.channels
        for _ in range(times):
            odd = channels.shape[0] % 2, channels.shape[1] % 2
            if any(odd):
                channels = cv2.copyMakeBorder(channels, 0, odd[0], 0, odd[1], cv2.BORDER_CONSTANT, value=self.beyond)
            channels = halved(channels, "transparent")
        return channels


class Silhouette:
    """A picture's coverage with its thickness, ready to be looked through, at the fineness that is asked for."""

    def __init__(self, picture: Mips, solid: Solid) -> None:
        self._picture, self.solid = picture, solid
        self._made: dict[int, Seen] = {}
        (left, top), (right, bottom) = np.min(solid.hull_px, axis=0), np.max(solid.hull_px, axis=0)
        self.box_px = (float(left), float(top), float(right), float(bottom))

    def seen(self, wanted_per_m: float) -> Seen:
        """It at the level of its pyramid that has about so many pixels per metre."""
        px_per_m = self.solid.pixels_per_metre()
        level = round(float(np.log2(max(px_per_m / wanted_per_m, 1.0))))
        level = min(level, self._picture.deepest)
        if level not in self._made:
            self._made[level] = self._make(level, px_per_m / 2.0**level)
        return self._made[level]

    def _make(self, level: int, per_m: float) -> Seen:
        samples = self._picture.coverage(level)
        full = 65535.0 if samples.dtype == np.uint16 else 1.0
        coverage: Pixels = np.multiply(samples, np.float32(1.0 / full), dtype=np.float32)
        profile = round_thickness if self.solid.is_round else half_thickness
        half_m = profile(coverage, float(self.solid.depth_m / 2.0 * per_m))
        half_m /= np.float32(per_m)
        near, far = _Sides(self.solid, level, coverage.shape).reach(half_m)
        least_m = self.solid.reach_m[0]
        step_m = max(self.solid.reach_m[1] + self.solid.depth_m - least_m, _LEAST_M) / 65535.0
        near, far = (
            cv2.addWeighted(part, 1.0 / step_m, part, 0.0, -least_m / step_m, dtype=cv2.CV_16U) for part in (near, far)
        )
        whole = samples if full > 1.0 else np.rint(coverage * np.float32(65535.0)).astype(np.uint16)
        outside = float(np.clip(((self.solid.middle_m or 0.0) - least_m) / step_m, 0.0, 65535.0))
        beyond = 0.0, outside, outside, 0.0
        return Seen(cv2.merge([whole, near, far, far]), least_m, step_m, level, beyond, self.box_px)


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
        self.line = np.zeros((1, _PLACES, 4), np.float32)
        self.line[0, :, 0], self.line[0, :, 1] = surface, np.minimum(room, _MOST_M)

    def reach(self, half_m: Pixels) -> tuple[Pixels, Pixels]:
        """From where to where behind the front line each part lies, (h, w) float32, as far as the solid has room for
        it. half_m: half the thickness that it would have."""
        if self.middle_m is not None:
            middle = np.float32(self.middle_m)
            return middle - half_m, middle + half_m
        height, width = half_m.shape
        few = -(-height // _ROWS)
        to_line = np.array([self.place, np.zeros(3), self.facing]) @ np.array(
            [[1.0, 0.0, 0.0], [0.0, height / few, (height / few - 1.0) / 2.0], [0.0, 0.0, 1.0]]
        )
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        seen = cv2.warpPerspective(self.line, to_line, (width, few), flags=flags, borderMode=cv2.BORDER_REPLICATE)
        surface, room = (cv2.resize(part, (width, height)) for part in cv2.split(seen)[:2])
        return surface, cv2.scaleAdd(cv2.min(half_m, room), 2.0, surface)


def _pencil(rows: Floats) -> tuple[Floats, Floats]:
    """Two functions (3,) of (x, y, 1), -1..1 over the picture, of which all rows (n, 3) are made: one of length 1 that
    is 0 in the middle, and one that is 1 there and changes as little as may be."""
    first, second = np.linalg.svd(rows / np.linalg.norm(rows, axis=1, keepdims=True))[2][:2]
    a, b = first[2], second[2]
    return (b * first - a * second) / np.hypot(a, b), (a * first + b * second) / (a * a + b * b)
