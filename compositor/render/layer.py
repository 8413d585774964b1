"""A layer: one storey of the picture, cropped to its content; and what part of a view a picture covers."""

from dataclasses import dataclass
from math import ceil, floor
from typing import Literal

import numpy as np

from compositor.base.arrays import Floats, Pixels, with_ones
from compositor.base.opencv import cv2
from compositor.geometry.polygons import in_front
from compositor.pixels.footprint import Window
from compositor.pixels.mips import content_box
from compositor.pixels.picture import Picture

Kind = Literal["plate", "element", "shadow", "contact", "holdout"]
Operator = Literal["over", "multiply"]
_WORTH_HOLDING = 7 / 8  # of the memory that a layer was drawn in: beyond that, its content stays where it is


@dataclass(frozen=True)
class Layer:
    """One storey of the picture, cropped to its content.

    operator: "over" is Porter and Duff's source-over; "multiply" darkens what stands below by the layer's
    colour, as far as its alpha reaches. offset_px: (x, y) of its top-left pixel in the view.
    """

    name: str
    kind: Kind
    operator: Operator
    offset_px: tuple[int, int]
    picture: Picture


def cropped(name: str, kind: Kind, operator: Operator, offset_px: tuple[int, int], samples: Pixels) -> Layer | None:
    """A layer cropped to its content; None where it has none. Where hardly anything is cut off, nothing is copied."""
    left, top, right, bottom = content_box(cv2.extractChannel(samples, 3))
    if right == left:
        return None
    part = samples[top:bottom, left:right]
    if part.size < _WORTH_HOLDING * samples.size:
        part = part.copy()
    return Layer(name, kind, operator, (offset_px[0] + left, offset_px[1] + top), Picture(part))


def covered_window(
    homography: Floats, content_px: tuple[int, int, int, int], view_px: tuple[int, int], margin_px: int = 0
) -> Window | None:
    """The window of the view that a rectangle of the source may cover, once warped; None where there is none.

    margin_px: how far it is spread afterwards; the window reaches that far beyond the rectangle and the view.
    """
    left, top, right, bottom = content_px
    if right == left:
        return None
    return window_around(
        np.array([[left, top], [right, top], [right, bottom], [left, bottom]]), homography, view_px, margin_px
    )


def window_around(
    outline_px: Floats, homography: Floats, view_px: tuple[int, int], margin_px: int = 0
) -> Window | None:
    """The same of a convex polygon (n, 2) of the source."""
    visible = in_front(with_ones(outline_px) @ homography.T)
    if len(visible) == 0:
        return None
    points = visible[:, :2] / visible[:, 2:3]
    spare = 2 + margin_px
    (left, right), (top, bottom) = (
        (
            floor(min(max(first, 2), side + margin_px + spare)) - spare,  # no nearer than the margin, no farther
            ceil(min(max(last, -margin_px - spare), side - 2)) + spare,
        )
        for first, last, side in zip(points.min(axis=0).tolist(), points.max(axis=0).tolist(), view_px, strict=True)
    )
    if right <= left or bottom <= top:
        return None
    return Window(left, top, right - left, bottom - top)
