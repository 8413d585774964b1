"""Grain: noise as the plate has it, laid in the full frame, so that it is the same whatever part of it is drawn.

There is one field of noise for a whole frame, as one sensor makes it: its value at a pixel depends on the pixel's place
alone, not on runs, threads or other elements.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.measure.noise import Noise
from compositor.pixels.blur import bell_blurred
from compositor.pixels.footprint import Window
from compositor.pixels.mips import Mips
from compositor.pixels.warp import warp
from compositor.render.view import View

_CELL_PX = 64
_KEY = 0x67726169
_MARGIN_PX = 8
_LEAST_ALPHA = 1e-4
_LEVELS = 4096
_GRAIN_GONE_PX = 0.5
"""A bell that wide leaves nothing of an element's own noise that would be seen (a seventh of it)."""


@dataclass(frozen=True)
class Lacking:
    """What an element lacks of a plate's noise. table: deviations (2, 3, n) of R, G, B by their light 0..1 in even
    steps, of what is as it was photographed and of what is so blurred that none of its own noise is left."""

    noise: Noise
    table: Pixels


def lacking_grain(noise: Noise, own: Noise | None) -> Lacking | None:
    """What is lacking of a plate's noise where an element has its own (None = none); None where nothing is. Deviations
    add in squares."""
    light = np.linspace(0.0, 1.0, _LEVELS)[:, np.newaxis].repeat(3, axis=1)
    wanted = noise.at(light)
    had = np.zeros_like(wanted) if own is None else own.at(light)
    table = np.stack([np.sqrt(np.maximum(wanted**2 - had**2, 0.0)).T, wanted.T])
    return Lacking(noise, table) if table.any() else None


def grained(samples: Pixels, place: tuple[View, Window], lacking: Lacking, blurred_px: Floats | float) -> Pixels:
    """Premultiplied samples (h, w, 4) float32 in a window of a view with the noise that they lack.

    blurred_px: deviation of what they were blurred by since they were photographed, (h, w) or one for all.
    """
    alpha = samples[..., 3:]
    straight = samples[..., :3] / np.maximum(alpha, _LEAST_ALPHA)
    steps = np.clip(straight * np.float32(_LEVELS - 1) + np.float32(0.5), 0, _LEVELS - 1).astype(np.intp)
    gone = np.where(np.asarray(blurred_px) >= _GRAIN_GONE_PX, 1, 0)[..., np.newaxis]
    deviation = lacking.table[gone, np.arange(3), steps]
    if not deviation.any():
        return samples
    # At the ends of the scale noise is cut off on one side; as much less of it keeps the mean.
    room = np.clip(np.minimum(straight, 1.0 - straight) / np.maximum(2.0 * deviation, 1e-6), 0.0, 1.0)
    result = samples.copy()
    result[..., :3] += _seen(lacking.noise, place[1], place[0]) * deviation * room * alpha
    np.clip(result[..., :3], 0.0, alpha, out=result[..., :3])
    return result


def _seen(noise: Noise, window: Window, view: View) -> Pixels:
    """The field (h, w, 3) in a window of a view: cut where the view is a cut of the frame, else sampled as the plate
    itself is."""
    if view.cut_px is not None:
        return field_of(noise, window.left + view.cut_px[0], window.top + view.cut_px[1], (window.width, window.height))
    margin = int(np.ceil(4.0 / min(view.scale_ratio, 1.0))) + 4
    left = int(np.floor(window.left / view.scale_ratio + view.left_px)) - margin
    top = int(np.floor(window.top / view.scale_ratio + view.top_px)) - margin
    size = tuple(int(np.ceil(side / view.scale_ratio)) + 2 * margin for side in (window.width, window.height))
    field = field_of(noise, left, top, (size[0], size[1]))
    moved = view.matrix @ np.array([[1.0, 0.0, left], [0.0, 1.0, top], [0.0, 0.0, 1.0]])
    channels = [warp(Mips(np.ascontiguousarray(field[..., c]), "replicate"), moved, window) for c in range(3)]
    return np.stack(channels, axis=-1)


def field_of(noise: Noise, left_px: int, top_px: int, size_px: tuple[int, int]) -> Pixels:
    """Noise (h, w, 3) float32 of a part of the full frame, as coarse and as alike between the channels as a plate's, of
    deviation 1 under the mask that measures it."""
    width, height = size_px
    left, top = left_px - _MARGIN_PX, top_px - _MARGIN_PX
    right, bottom = left_px + width + _MARGIN_PX, top_px + height + _MARGIN_PX
    cells = [
        [_cell(column, row) for column in range(left // _CELL_PX, -(-right // _CELL_PX))]
        for row in range(top // _CELL_PX, -(-bottom // _CELL_PX))
    ]
    whole = np.concatenate([np.concatenate(line, axis=1) for line in cells])
    y, x = top - top // _CELL_PX * _CELL_PX, left - left // _CELL_PX * _CELL_PX
    white = whole[y : y + bottom - top, x : x + right - left] @ _mixture(noise.together).T
    coarse = bell_blurred(np.ascontiguousarray(white), noise.grain_px) / np.float32(_left_by_mask(noise.grain_px))
    return coarse[_MARGIN_PX : _MARGIN_PX + height, _MARGIN_PX : _MARGIN_PX + width]


@lru_cache(maxsize=512)
def _cell(column: int, row: int) -> Pixels:
    """White noise (64, 64, 3) of a cell of the frame."""
    key = np.array([_KEY, ((row & 0xFFFFFFFF) << 32) | (column & 0xFFFFFFFF)], dtype=np.uint64)
    generator = np.random.Generator(np.random.Philox(key=key))
    return generator.standard_normal((_CELL_PX, _CELL_PX, 3), dtype=np.float32)


def _mixture(together: Floats) -> Pixels:
    """A 3×3 that gives white noise of three channels this correlation."""
    values, axes = np.linalg.eigh(together)
    root: Pixels = (axes * np.sqrt(np.maximum(values, 0.0))) @ axes.T
    return root.astype(np.float32)


def _left_by_mask(grain_px: float) -> float:
    """Deviation that Immerkær's mask leaves of white noise under a bell."""
    at = np.arange(-_MARGIN_PX, _MARGIN_PX + 1)
    impulse = (at[:, np.newaxis] == 0) & (at[np.newaxis, :] == 0)
    bell = bell_blurred(impulse.astype(np.float32), grain_px)
    line = bell[:-2] - 2.0 * bell[1:-1] + bell[2:]
    both = line[:, :-2] - 2.0 * line[:, 1:-1] + line[:, 2:]
    return float(np.sqrt((both**2).sum()) / 6.0)
