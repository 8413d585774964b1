"""Layers: what is drawn over the plate, one storey each, and how the plan's storeys become layers."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.colour.space import Space
from compositor.geometry.polygons import in_front
from compositor.pixels.blend import masked
from compositor.pixels.footprint import Window
from compositor.pixels.mips import Mips, content_box
from compositor.pixels.picture import Picture
from compositor.pixels.warp import warp
from compositor.plan.model import PlacedElement, Plan, Source
from compositor.render.view import View, decode_opaque, view_coverage

Kind = Literal["plate", "element", "shadow", "contact", "holdout"]
Operator = Literal["over", "multiply"]


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


@dataclass(frozen=True)
class Pictures:
    """Where the pixels of a plan come from, prepared by whoever opens files.

    element: the pyramid of a source (linear light in the plate's primaries, premultiplied, distortion removed).
    matte: the coverage of a holdout in the full frame, (h, w), uint16 or float32 like the elements.
    """

    element: Callable[[Source], Mips]
    matte: Callable[[str], Pixels]


def render_layers(plan: Plan, pictures: Pictures, plate: Pixels, space: Space, view: View) -> list[Layer]:
    """The layers of a plan, bottom to top, without the plate itself.

    plate: encoded (h, w, 3) as the view shows it (:func:`compositor.render.view.view_plate`).
    """
    layers: list[Layer] = []
    for item in plan.stack:
        if item.kind == "element":
            element = plan.element(item.name)
            layer = element_layer(element, pictures.element(element.source), view)
        else:
            coverage = view_coverage(pictures.matte(plan.holdout(item.name).matte), view)
            layer = holdout_layer(item.name, coverage, layers, plate, space)
        if layer is not None:
            layers.append(layer)
    return layers


def element_layer(element: PlacedElement, mips: Mips, view: View) -> Layer | None:
    """An element in its place; None where nothing of it is in the view."""
    homography = view.matrix @ element.homography_matrix
    window = covered_window(homography, mips.content_px, view.size_px)
    if window is None:
        return None
    samples = warp(mips, homography, window)
    return cropped(element.name, "element", "over", (window.left, window.top), samples)


def holdout_layer(name: str, coverage: Pixels, below: list[Layer], plate: Pixels, space: Space) -> Layer | None:
    """The plate's own pixels where a holdout stands in front of layers that are drawn already.

    coverage (h, w) and plate (h, w, 3, encoded) as the view shows them. Where nothing was drawn below, the layer
    is empty and the plate stays as it is, bit by bit.
    """
    left, top, right, bottom = content_box(coverage)
    touched = np.zeros((bottom - top, right - left), bool)
    for layer in below:
        _mark(touched, layer, (left, top))
    needed = np.where(touched, coverage[top:bottom, left:right], 0)
    x0, y0, x1, y1 = content_box(needed) if needed.size else (0, 0, 0, 0)
    if x1 == x0:
        return None
    linear = decode_opaque(plate[top + y0 : top + y1, left + x0 : left + x1], space)
    cut_out = masked(linear, np.ascontiguousarray(needed[y0:y1, x0:x1]))
    return Layer(name, "holdout", "over", (left + x0, top + y0), Picture(cut_out))


def cropped(name: str, kind: Kind, operator: Operator, offset_px: tuple[int, int], samples: Pixels) -> Layer | None:
    """A layer cropped to its content; None where it has none."""
    left, top, right, bottom = content_box(samples[..., 3])
    if right == left:
        return None
    part = np.ascontiguousarray(samples[top:bottom, left:right])
    return Layer(name, kind, operator, (offset_px[0] + left, offset_px[1] + top), Picture(part))


def covered_window(
    homography: Floats, content_px: tuple[int, int, int, int], view_px: tuple[int, int]
) -> Window | None:
    """The window of the view that a rectangle of the source may cover, once warped; None where there is none."""
    left, top, right, bottom = content_px
    corners = np.array([[left, top, 1], [right, top, 1], [right, bottom, 1], [left, bottom, 1]]) @ homography.T
    visible = in_front(corners)
    if right == left or len(visible) == 0:
        return None
    points = visible[:, :2] / visible[:, 2:3]
    low = np.clip(np.floor(points.min(axis=0)) - 2, 0, view_px).astype(int)
    high = np.clip(np.ceil(points.max(axis=0)) + 2, 0, view_px).astype(int)
    if np.any(high <= low):
        return None
    return Window(int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1]))


def _mark(touched: Pixels, layer: Layer, corner_px: tuple[int, int]) -> None:
    """Set the pixels of an area of the view, by its corner, that a layer changes."""
    x, y = layer.offset_px[0] - corner_px[0], layer.offset_px[1] - corner_px[1]
    width, height = layer.picture.size_px
    left, right = max(x, 0), min(x + width, touched.shape[1])
    top, bottom = max(y, 0), min(y + height, touched.shape[0])
    if left < right and top < bottom:
        touched[top:bottom, left:right] |= layer.picture.samples[top - y : bottom - y, left - x : right - x, 3] > 0
