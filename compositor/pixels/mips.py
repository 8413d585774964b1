"""A pyramid of halved pictures, built when asked for.

Level k holds the mean of 2^k × 2^k source pixels per pixel, so that continuous corner-origin coordinates relate
exactly: source = level · 2^k. A picture of odd size is padded before it is halved (never stretched): with
nothing where the picture ends, which keeps the true coverage of its frame edge, or with its own edge pixels
where it has no edge that may show (the plate).
"""

import threading
from collections.abc import Callable
from functools import cached_property
from typing import Any, Literal

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2

Edge = Literal["transparent", "replicate"]
Box = tuple[int, int, int, int]
_ROWS = 64  # strips of means, of which the processor's cache holds what is between
BORDERS = {"transparent": cv2.BORDER_CONSTANT, "replicate": cv2.BORDER_REPLICATE}


class Mips:
    """Premultiplied linear samples (h, w, 4), or one channel (h, w), with their halved levels.

    Samples are uint16 or float32 and are not copied. Safe to share between threads. origin_px: where their corner lies
    in the coordinates by which the picture is known, other than (0, 0) where more than its frame was made of it.
    """

    def __init__(self, samples: Pixels, edge: Edge = "transparent", origin_px: tuple[int, int] = (0, 0)) -> None:
        if samples.dtype not in (np.uint16, np.float32):
            raise ValueError(f"samples of uint16 or float32 wanted, got {samples.dtype}")
        self.edge: Edge = edge
        self.origin_px = origin_px
        self._levels = [samples]
        self._lock = threading.Lock()

    @property
    def size_px(self) -> tuple[int, int]:
        """(width, height) of the samples themselves."""
        return self._levels[0].shape[1], self._levels[0].shape[0]

    @property
    def channels(self) -> tuple[int, ...]:
        """(4,), or () of one channel."""
        return self._levels[0].shape[2:]

    @property
    def dtype(self) -> np.dtype[np.generic]:
        """Of the samples."""
        return self._levels[0].dtype

    @property
    def deepest(self) -> int:
        """The last level worth asking for: the one whose longer side is one pixel."""
        return (max(self.size_px) - 1).bit_length()

    @property
    def held_bytes(self) -> int:
        """Memory of all levels, made or to come."""
        return self._levels[0].nbytes * 4 // 3

    @cached_property
    def content_px(self) -> tuple[int, int, int, int]:
        """(left, top, right, bottom) of what is not empty, from the origin on; without extent where everything is."""
        x, y = self.origin_px
        left, top, right, bottom = content_box(self.coverage(0))
        return left + x, top + y, right + x, bottom + y

    def level(self, number: int) -> Pixels:
        """The samples of a level, 0 = the picture itself."""
        with self._lock:
            while len(self._levels) <= number:
                self._levels.append(halved(self._levels[-1], self.edge))
            return self._levels[number]

    def size_of(self, number: int) -> tuple[int, int]:
        """(width, height) of a level."""
        width, height = self.size_px
        return -(-width >> number), -(-height >> number)

    def part(self, box: Box, number: int = 0) -> Pixels:
        """The samples inside a box (left, top, right, bottom) of a level's own pixels; not to be written into."""
        left, top, right, bottom = box
        return self.level(number)[top:bottom, left:right]

    def let_go(self) -> None:
        """Nobody is likely to look at the samples again: memory that can be done without is free from now on."""

    def coverage(self, number: int) -> Pixels:
        """One channel (h, w) of a level: the alpha, or the only one there is."""
        samples = self.level(number)
        return samples if samples.ndim == 2 else cv2.extractChannel(samples, 3)

    def cut(self, box: Box, number: int = 0) -> Pixels:
        """As `part` for a box that may reach beyond the frame, where it is filled as its edge asks for.

        It has to hold at least one pixel of the level.
        """
        (left, top, right, bottom), (width, height) = box, self.size_of(number)
        part = self.part((max(left, 0), max(top, 0), min(right, width), min(bottom, height)), number)
        beyond = max(-top, 0), max(bottom - height, 0), max(-left, 0), max(right - width, 0)
        if not any(beyond):
            return part
        filled: Pixels = cv2.copyMakeBorder(part, *beyond, BORDERS[self.edge], value=(0, 0, 0, 0))
        return filled

    def means(self, box: Box, number: int = 0) -> Pixels:
        """The means (h, w[, 4]) of the four pixels around each corner of a level inside a box (left, top, right,
        bottom) of corners; of uint16 within 2. Not to be written into.

        Corner (x, y) is the upper left one of pixel (x, y); each way there is one corner more than there are pixels.
        """
        join = _sums_of_quarters if self.dtype == np.uint16 else corner_means
        return self._by_strips(box, lambda pixels, out: join(self.cut(pixels, number), out))

    def _by_strips(self, box: Box, put: Callable[[Box, Pixels], Any]) -> Pixels:
        """Means inside a box of corners. put: puts those between the pixels inside a box into an array."""
        left, top, right, bottom = box
        result = np.empty((bottom - top, right - left, *self.channels), self.dtype)
        for first in range(top, bottom, _ROWS):
            end = min(first + _ROWS, bottom)
            put((left - 1, first - 1, right, end), result[first - top : end - top])
        return result


def halved(samples: Pixels, edge: Edge) -> Pixels:
    """Means of 2 × 2 pixels; odd sizes are padded at the right and bottom."""
    height, width = samples.shape[:2]
    even = samples
    if height % 2 or width % 2:
        even = cv2.copyMakeBorder(samples, 0, height % 2, 0, width % 2, BORDERS[edge], value=(0, 0, 0, 0))
    half: Pixels = cv2.resize(even, ((width + 1) // 2, (height + 1) // 2), interpolation=cv2.INTER_AREA)
    return half


def corner_means(samples: Pixels, out: Pixels | None = None) -> Pixels:
    """Means of the 2 × 2 pixels around each corner that four of them share: (h, w[, 4]) → (h − 1, w − 1[, 4])."""
    rows = cv2.addWeighted(samples[:-1], 0.5, samples[1:], 0.5, 0.0)
    return cv2.addWeighted(rows[:, :-1], 0.5, rows[:, 1:], 0.5, 0.0, dst=out)


def quartered(samples: Pixels, out: Pixels | None = None) -> Pixels:
    """Samples at a quarter of full scale, uint16, halves to the even number."""
    return cv2.addWeighted(samples, 0.25, samples, 0.0, 0.0, dst=out)


def corner_sums(quarters: Pixels, out: Pixels | None = None) -> Pixels:
    """Of quartered samples what `corner_means` is of samples, within 2 of 65535, in half the time."""
    rows = cv2.add(quarters[:-1], quarters[1:])
    return cv2.add(rows[:, :-1], rows[:, 1:], dst=out)


def _sums_of_quarters(samples: Pixels, out: Pixels) -> Pixels:
    return corner_sums(quartered(samples), out)


def content_box(coverage: Pixels) -> tuple[int, int, int, int]:
    """(left, top, right, bottom) of the samples > 0 of one channel (h, w); (0, 0, 0, 0) where there is none."""
    covered = coverage if coverage.dtype == np.uint8 else (coverage > 0).view(np.uint8)
    left, top, width, height = cv2.boundingRect(covered)
    return left, top, left + width, top + height
