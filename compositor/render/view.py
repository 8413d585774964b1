"""Which part of the full frame is drawn, and how large."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.colour.coding import decode, opaque_codes, opaque_light
from compositor.colour.space import Space
from compositor.pixels.footprint import NEAR, Window
from compositor.pixels.mips import Mips
from compositor.pixels.shrinking import Grid, Shrunk
from compositor.pixels.softened import Softened
from compositor.pixels.strips import STRIP_ROWS, for_strips
from compositor.pixels.warp import warp


@dataclass(frozen=True)
class View:
    """A window of the full frame at an output scale.

    left_px, top_px: its corner in the full frame, fractions allowed. scale_ratio: output px per frame px.
    size_px: (width, height) of the output.
    """

    left_px: float
    top_px: float
    scale_ratio: float
    size_px: tuple[int, int]

    @classmethod
    def of_frame(cls, size_px: tuple[int, int]) -> "View":
        """The full frame as it is."""
        return cls(0.0, 0.0, 1.0, size_px)

    @classmethod
    def of_window(cls, window_px: tuple[float, float, float, float], size_px: tuple[int, int]) -> "View":
        """A window (left, top, width, height) of the frame at an output size; its width decides the scale."""
        left, top, width, _ = window_px
        return cls(left, top, size_px[0] / width, size_px)

    @property
    def matrix(self) -> Floats:
        """3×3: full frame px to output px."""
        s = self.scale_ratio
        return np.array([[s, 0.0, -s * self.left_px], [0.0, s, -s * self.top_px], [0.0, 0.0, 1.0]])

    @property
    def grid(self) -> Grid:
        """Its pixels over the full frame."""
        return Grid(self.left_px, self.top_px, 1.0 / self.scale_ratio, self.size_px[0])

    @property
    def cut_px(self) -> tuple[int, int] | None:
        """(left, top) where the view is nothing but a cut along whole pixels, which needs no sampling; else None."""
        left, top = round(self.left_px), round(self.top_px)
        same = self.scale_ratio == 1.0 and left == self.left_px and top == self.top_px
        return (left, top) if same else None


@dataclass(frozen=True)
class Sampled:
    """The plate as a view samples it: linear, opaque (h, w, 4), uint16 for a uint8 plate, float32 for a uint16 one.

    shape, dtype: of the encoded picture (h, w, 3) that it stands for. rows: gives the rows from one, a multiple of
    rows_at_once, up to, but not with, another, rows_at_once at most; they belong to who asked. held: all of them,
    where they are held.
    """

    shape: tuple[int, ...]
    dtype: np.dtype[np.generic]
    rows_at_once: int
    rows: Callable[[int, int], Pixels]
    held: Pixels | None = None

    def whole(self) -> "Sampled":
        """The same, held."""
        if self.held is not None:
            return self
        samples = np.empty((*self.shape[:2], 4), np.uint16 if self.dtype == np.uint8 else np.float32)

        def strip(top: int, bottom: int) -> None:
            samples[top:bottom] = self.rows(top, bottom)

        for_strips(len(samples), strip, self.rows_at_once)
        return _held(samples, self.dtype, self.rows_at_once)

    def part(self, box: tuple[int, int, int, int]) -> Pixels:
        """The samples inside a box (left, top, right, bottom)."""
        left, top, right, bottom = box
        first = top - top % self.rows_at_once
        tops = range(first, bottom, self.rows_at_once)
        strips = [self.rows(top, min(top + self.rows_at_once, self.shape[0])) for top in tops]
        return np.concatenate(strips)[top - first : bottom - first, left:right]


def _held(samples: Pixels, dtype: np.dtype[np.generic], rows_at_once: int = STRIP_ROWS) -> Sampled:
    return Sampled((*samples.shape[:2], 3), dtype, rows_at_once, partial(_copied_rows, samples), samples)


def _copied_rows(samples: Pixels, top: int, bottom: int) -> Pixels:
    return samples[top:bottom].copy()


def view_plate(plate: Pixels, space: Space, view: View, softened: Softened | None = None) -> Pixels | Sampled:
    """The encoded plate (h, w, 3), uint8 or uint16, as a view shows it.

    A cut along whole pixels is that part of the plate itself, encoded, not a copy. Anything else is sampled in linear
    light, as by `sample_plate`.
    """
    return sample_plate(plate, space, view, softened) if view.cut_px is None else _cut(plate, view)


def sample_plate(plate: Pixels, space: Space, view: View, softened: Softened | None = None) -> Sampled:
    """The encoded plate (h, w, 3), uint8 or uint16, as a view shows it, in linear light.

    softened: of the whole plate (`softened_plate`), for who has many views of it; the result is the same.
    """
    if view.grid.step_px <= NEAR:
        left, top, right, bottom = _needed(plate, view)
        linear = decode_opaque(plate[top:bottom, left:right], space)
        moved = view.matrix @ np.array([[1.0, 0.0, left], [0.0, 1.0, top], [0.0, 0.0, 1.0]])
        return _held(warp(Mips(linear, "replicate"), moved, Window(0, 0, *view.size_px)), plate.dtype)
    shrunk = Shrunk(softened or softened_plate(plate, space), view.grid)
    return Sampled((*view.size_px[::-1], 3), plate.dtype, shrunk.rows_at_once, shrunk.rows)


def light_in(shown: Pixels | Sampled, space: Space, box: tuple[int, int, int, int]) -> Pixels:
    """Linear, opaque samples (h, w, 4) of the plate as a view shows it, inside a box (left, top, right, bottom)."""
    left, top, right, bottom = box
    return shown.part(box) if isinstance(shown, Sampled) else decode_opaque(shown[top:bottom, left:right], space)


def softened_plate(plate: Pixels, space: Space, kept: bool = False) -> Softened:
    """What views of an encoded plate (h, w, 3) look into where they show it smaller. kept: for many views."""
    return Softened(
        (plate.shape[1], plate.shape[0]), lambda box: decode(plate[box[1] : box[3], box[0] : box[2]], space), kept
    )


def view_coverage(coverage: Pixels, view: View) -> Pixels:
    """A coverage (h, w) of the full frame, uint16 or float32, as a view shows it."""
    if view.cut_px is not None:
        return _cut(coverage, view)
    if view.grid.step_px <= NEAR:
        return warp(Mips(coverage, "replicate"), view.matrix, Window(0, 0, *view.size_px))
    size_px = coverage.shape[1], coverage.shape[0]
    shrunk = Shrunk(Softened(size_px, lambda box: coverage[box[1] : box[3], box[0] : box[2]]), view.grid)
    shown = np.empty(view.size_px[::-1], coverage.dtype)

    def strip(top: int, bottom: int) -> None:
        shown[top:bottom] = shrunk.rows(top, bottom)

    for_strips(len(shown), strip, shrunk.rows_at_once)
    return shown


def decode_opaque(samples: Pixels, space: Space) -> Pixels:
    """Encoded (h, w, 3) to linear (h, w, 4) with a full fourth channel: uint8 to uint16, uint16 to float32."""
    kind = np.uint16 if samples.dtype == np.uint8 else np.float32
    linear = np.empty((*samples.shape[:2], 4), kind)

    def strip(top: int, bottom: int) -> None:
        opaque_light(samples[top:bottom], space, linear[top:bottom])

    for_strips(len(samples), strip)
    return linear


def encode_opaque(linear: Pixels, space: Space, depth_bits: int) -> Pixels:
    """Linear (h, w, 4) to encoded (h, w, 3); the fourth channel is dropped."""
    encoded = np.empty((*linear.shape[:2], 3), np.uint8 if depth_bits == 8 else np.uint16)

    def strip(top: int, bottom: int) -> None:
        opaque_codes(linear[top:bottom], space, encoded[top:bottom])

    for_strips(len(linear), strip)
    return encoded


def _cut(samples: Pixels, view: View) -> Pixels:
    left, top = round(view.left_px), round(view.top_px)
    width, height = view.size_px
    part = samples[max(top, 0) : top + height, max(left, 0) : left + width]
    if left < 0 or top < 0 or part.shape[:2] != (height, width):
        raise ValueError("the view reaches beyond the frame")
    return part


def _needed(plate: Pixels, view: View) -> tuple[int, int, int, int]:
    """The part of the plate (left, top, right, bottom) that a view looks at."""
    margin = int(np.ceil(4.0 / min(view.scale_ratio, 1.0))) + 4
    height, width = plate.shape[:2]
    left, top = int(np.floor(view.left_px)) - margin, int(np.floor(view.top_px)) - margin
    right = int(np.ceil(view.left_px + view.size_px[0] / view.scale_ratio)) + margin
    bottom = int(np.ceil(view.top_px + view.size_px[1] / view.scale_ratio)) + margin
    return max(left, 0), max(top, 0), min(right, width), min(bottom, height)
