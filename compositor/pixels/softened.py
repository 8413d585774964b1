"""A picture as the means of its neighbouring pixels, made where somebody looks: shrinking it takes fewer looks.

The mean of four pixels stands where their corners meet. One look into these means, interpolated linearly, is worth
two by two looks at the pixels themselves, one pixel apart.
"""

import mmap
import threading
from collections.abc import Callable
from functools import partial

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2
from compositor.pixels.mips import Box, corner_means, halved

_OURS_ALONE = {"flags": mmap.MAP_PRIVATE | mmap.MAP_ANONYMOUS} if hasattr(mmap, "MAP_PRIVATE") else {}
"""Memory shared with no other process, which systems hand out faster; Windows has no other."""
_TILE_PX, _LEAST_TILE_PX = (1024, 64), (64, 8)  # (width, height) that stays in the processor's cache while it is made


class Softened:
    """Means of neighbours in an opaque picture, whose edge pixels go on for ever, and in its halved levels.

    size_px: (width, height). pixels: gives the linear samples, uint16 or float32, (h, w) or (h, w, 3), of any box of
    the picture, each pixel by itself. Colours get a full fourth channel, with which looking into them is faster, only
    once they are means. kept: whether what is made stays, for many looks, tile by tile where somebody looked. The
    samples are the same, bit by bit. May be used by several threads.
    """

    def __init__(self, size_px: tuple[int, int], pixels: Callable[[Box], Pixels], kept: bool = False) -> None:
        self.size_px, self.kept = size_px, kept
        self._pixels = pixels
        self._tiles: dict[int, _Tiles] = {}
        self._lock = threading.Lock()

    def level_px(self, level: int) -> tuple[int, int]:
        """(width, height) of the pixels of a level, 0 = the picture itself."""
        width, height = self.size_px
        return ((width - 1) >> level) + 1, ((height - 1) >> level) + 1

    @property
    def held_bytes(self) -> int:
        """Memory of the means, made or to come, on all levels."""
        width, height = self.size_px
        return self.pixels(0, (0, 0, 1, 1)).nbytes * width * height * 4 // 3 if self.kept else 0

    def pixels(self, level: int, box: Box) -> Pixels:
        """The pixels (h, w[, 4]) of a level inside a box (left, top, right, bottom)."""
        if level == 0:
            return _with_fourth(self._pixels(box))
        width, height = self.level_px(level - 1)
        left, top, right, bottom = (2 * edge for edge in box)
        return halved(self.pixels(level - 1, (left, top, min(right, width), min(bottom, height))), "replicate")

    def means(self, level: int, box: Box) -> Pixels:
        """The means (h, w[, 4]) around the corners of a level inside a box (left, top, right, bottom) of corners.

        Corner (x, y) is the upper left one of pixel (x, y); each way there is one corner more than there are pixels.
        """
        if not self.kept:
            return _with_fourth(self._means(level, box))
        with self._lock:
            if level not in self._tiles:
                width, height = self.level_px(level)
                self._tiles[level] = _Tiles((width + 1, height + 1), _tile_px(level), partial(self._means, level))
            return self._tiles[level].part(box)

    def _means(self, level: int, box: Box) -> Pixels:
        (left, top, right, bottom), (width, height) = box, self.level_px(level)
        inside = max(left - 1, 0), max(top - 1, 0), min(right, width), min(bottom, height)
        pixels = self._pixels(inside) if level == 0 else self.pixels(level, inside)
        beyond = int(top == 0), int(bottom > height), int(left == 0), int(right > width)
        if any(beyond):
            pixels = cv2.copyMakeBorder(pixels, *beyond, cv2.BORDER_REPLICATE)
        return corner_means(pixels)


def _with_fourth(samples: Pixels, out: Pixels | None = None) -> Pixels:
    """(h, w, 3) with a full fourth channel; anything else as it is."""
    if samples.ndim == 3 and samples.shape[2] == 3:
        return cv2.cvtColor(samples, cv2.COLOR_RGB2RGBA, dst=out)
    if out is None:
        return samples
    out[:] = samples
    return out


class _Tiles:
    """Samples (height, width[, 4]) that are made tile by tile, and take memory where they are made, only."""

    def __init__(self, size_px: tuple[int, int], tile_px: tuple[int, int], make: Callable[[Box], Pixels]) -> None:
        self._size_px, self._tile_px, self._make = size_px, tile_px, make
        across, down = (-(-size // tile) for size, tile in zip(size_px, tile_px, strict=True))
        self._missing = np.ones((down, across), bool)
        self._samples: Pixels | None = None

    def part(self, box: Box) -> Pixels:
        """The samples inside a box (left, top, right, bottom)."""
        (left, top, right, bottom), (width, height) = box, self._tile_px
        first_row, first_column = top // height, left // width
        for row, column in np.argwhere(
            self._missing[first_row : -(-bottom // height), first_column : -(-right // width)]
        ):
            self._fill(first_row + int(row), first_column + int(column))
        assert self._samples is not None
        return self._samples[top:bottom, left:right]

    def _fill(self, row: int, column: int) -> None:
        left, top = column * self._tile_px[0], row * self._tile_px[1]
        right, bottom = min(left + self._tile_px[0], self._size_px[0]), min(top + self._tile_px[1], self._size_px[1])
        tile = self._make((left, top, right, bottom))
        if self._samples is None:
            self._samples = _reserved((*self._size_px[::-1], *_with_fourth(tile[:1, :1]).shape[2:]), tile.dtype)
        _with_fourth(tile, self._samples[top:bottom, left:right])
        self._missing[row, column] = False


def _tile_px(level: int) -> tuple[int, int]:
    """(width, height) of a level's tiles: of about as many pixels of the picture itself on every level."""
    width, height = (max(whole >> level, least) for whole, least in zip(_TILE_PX, _LEAST_TILE_PX, strict=True))
    return width, height


def _reserved(shape: tuple[int, ...], kind: np.dtype[np.generic]) -> Pixels:
    """An array whose memory is taken from the system page by page, where it is written to: numpy asks for large pages,
    which would take whole rows."""
    memory = mmap.mmap(-1, int(np.prod(shape)) * kind.itemsize, **_OURS_ALONE)
    return np.frombuffer(memory, kind).reshape(shape)
