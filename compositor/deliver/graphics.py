"""Graphics laid on a delivery, in its own encoded values: as programs for page design do, so that copy looks as drawn.

Light letters mixed in linear light would swell, dark ones wither; type is drawn for the other way.
"""

from collections.abc import Callable, Sequence

import numpy as np

from compositor.base.arrays import Pixels
from compositor.colour.coding import convert_linear, decode_float, encode_float
from compositor.colour.space import SRGB, Space
from compositor.files.typeface import OpenTypeface
from compositor.pixels.footprint import Window
from compositor.pixels.mips import Mips
from compositor.pixels.picture import Picture
from compositor.pixels.warp import warp
from compositor.plan.model import PlacedGraphic

Faces = Callable[[str], OpenTypeface]
Artwork = Callable[[str], Picture]
"""Flat artwork by its file: float32, in the primaries of the plate."""


class Easel:
    """A delivery's picture and what graphics are drawn with. samples: encoded (h, w, 3), changed in place."""

    def __init__(self, samples: Pixels, space: Space, faces: Faces, artwork: Artwork, artwork_space: Space) -> None:
        self.samples, self.space = samples, space
        self.faces, self.artwork, self.artwork_space = faces, artwork, artwork_space
        self.full = float(np.iinfo(samples.dtype).max)

    def draw(self, graphics: Sequence[PlacedGraphic]) -> None:
        """Lay graphics on, one over the other."""
        for graphic in graphics:
            if graphic.kind == "image":
                self._image(graphic)
            elif graphic.kind == "fill":
                self._fill(graphic)
            else:
                self._text(graphic)

    def _text(self, graphic: PlacedGraphic) -> None:
        colour, opacity = self._colour(graphic)
        face = self.faces(graphic.file or "")
        for line in graphic.lines:
            if line.text:
                pen_px = (line.left_px, line.base_px)
                mask, left, top = face.draw(line.text, graphic.rightwards, graphic.type_px, pen_px)
                self._lay(colour, mask.astype(np.float32)[..., np.newaxis] * np.float32(opacity / 255), (left, top))

    def _fill(self, graphic: PlacedGraphic) -> None:
        colour, opacity = self._colour(graphic)
        left, top, right, bottom = graphic.box_px
        across, x = _covered(left, right)
        down, y = _covered(top, bottom)
        self._lay(colour, (down[:, np.newaxis] * across * opacity)[..., np.newaxis].astype(np.float32), (x, y))

    def _image(self, graphic: PlacedGraphic) -> None:
        picture = self.artwork(graphic.file or "")
        left, top, right, bottom = graphic.box_px
        scale_x, scale_y = (right - left) / picture.size_px[0], (bottom - top) / picture.size_px[1]
        matrix = np.array([[scale_x, 0.0, left], [0.0, scale_y, top], [0.0, 0.0, 1.0]])
        x, y = int(np.floor(left)) - 1, int(np.floor(top)) - 1
        window = Window(x, y, int(np.ceil(right)) + 1 - x, int(np.ceil(bottom)) + 1 - y)
        shown = warp(Mips(picture.samples), matrix, window)
        alpha = shown[..., 3:]
        straight = np.ascontiguousarray(shown[..., :3] / np.maximum(alpha, 1e-6), dtype=np.float32)
        self._lay(encode_float(convert_linear(straight, self.artwork_space, self.space), self.space), alpha, (x, y))

    def _colour(self, graphic: PlacedGraphic) -> tuple[Pixels, float]:
        """The colour in the delivery's encoding, (1, 1, 3) 0..1, and the opacity."""
        red, green, blue, opacity = graphic.colour or (0.0, 0.0, 0.0, 1.0)
        codes = np.rint(np.array([[[red, green, blue]]]) * 255).astype(np.uint8)
        linear = convert_linear(decode_float(codes, SRGB), SRGB, self.space)
        return encode_float(linear, self.space), opacity

    def _lay(self, colour: Pixels, alpha: Pixels, corner_px: tuple[int, int]) -> None:
        """Mix a colour (h or 1, w or 1, 3) in by its alpha (h, w, 1), both 0..1, as far as it is inside."""
        (left, top), (height, width) = corner_px, alpha.shape[:2]
        x0, y0 = max(-left, 0), max(-top, 0)
        x1, y1 = min(width, self.samples.shape[1] - left), min(height, self.samples.shape[0] - top)
        if x1 <= x0 or y1 <= y0:
            return
        there = self.samples[top + y0 : top + y1, left + x0 : left + x1]
        part = alpha[y0:y1, x0:x1]
        over = colour if colour.shape[:2] == (1, 1) else colour[y0:y1, x0:x1]
        mixed = there * (1.0 - part) + over * (part * self.full)
        there[...] = np.rint(np.clip(mixed, 0, self.full))


def _covered(start: float, end: float) -> tuple[Pixels, int]:
    """How much of each pixel a stretch covers, and its first pixel."""
    first, last = int(np.floor(start)), int(np.ceil(end))
    edges = np.arange(first, last)
    return np.clip(np.minimum(edges + 1, end) - np.maximum(edges, start), 0.0, 1.0), first
