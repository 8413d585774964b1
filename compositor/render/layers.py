"""Layers: what is drawn over the plate, one storey each, and how the plan's storeys become layers."""

import numpy as np

from compositor.base.arrays import Pixels
from compositor.colour.space import Space
from compositor.pixels.blend import masked
from compositor.pixels.mips import Mips, content_box
from compositor.pixels.picture import Picture
from compositor.pixels.warp import warp
from compositor.plan.model import PlacedElement, Plan
from compositor.render.finish import Finishing
from compositor.render.layer import Layer as Layer
from compositor.render.layer import covered_window, cropped
from compositor.render.pictures import Pictures
from compositor.render.shadows import lies, shadow_layers
from compositor.render.shadows_in_air import through_air
from compositor.render.shaping import element_shape, shadows_shape
from compositor.render.view import Sampled, View, light_in, view_coverage


def render_layers(plan: Plan, pictures: Pictures, plate: Pixels | Sampled, space: Space, view: View) -> list[Layer]:
    """The layers of a plan, bottom to top, without the plate itself.

    plate: as the view shows it (:func:`compositor.render.view.view_plate`).
    """
    light, elements = plan.light, dict[str, list[Layer]]()
    if pictures.let_go and light is not None and not any(shadow.contact for shadow in light.shadows):
        elements = _elements(plan, pictures, view)  # what they let go serves the shadows, which need no colours
    shadows: list[Layer] = []
    if light is not None:
        shadows = pictures.keep(shadows_shape(plan, view), lambda: _shadows(plan, pictures, plate, view))
    elements = elements or _elements(plan, pictures, view)
    layers: list[Layer] = []
    for item in plan.stack:
        if shadows and not lies(plan, item):  # they fall on the ground and what lies on it, under all that stands
            layers += shadows
            shadows = []
        if item.kind == "element":
            layers += elements[item.name]
        else:
            coverage = view_coverage(pictures.matte(plan.holdout(item.name).matte), view)
            layers += _listed(holdout_layer(item.name, coverage, layers, plate, space))
    return layers


def _shadows(plan: Plan, pictures: Pictures, plate: Pixels | Sampled, view: View) -> list[Layer]:
    kind = np.uint16 if plate.dtype == np.uint8 else np.float32
    found = shadow_layers(plan, pictures, view, kind)
    layers = [layer for layers in found.values() for layer in layers]
    if pictures.surround is None or plan.plate.air is None:
        return layers
    return through_air(layers, plate, view, pictures.surround)


def _elements(plan: Plan, pictures: Pictures, view: View) -> dict[str, list[Layer]]:
    """Layers by the elements' names, drawn in the order of the stack."""
    elements = [plan.element(item.name) for item in plan.stack if item.kind == "element"]
    last = {element.source.image: element.name for element in elements}
    layers: dict[str, list[Layer]] = {}
    for element in elements:
        layers[element.name] = _element(plan, element, pictures, view)
        if pictures.let_go and last[element.source.image] == element.name:
            pictures.element(element.source).let_go()
    return layers


def _element(plan: Plan, element: PlacedElement, pictures: Pictures, view: View) -> list[Layer]:
    finishing = None if pictures.surround is None else Finishing(plan.plate, pictures.surround)
    finished = finishing is not None and finishing.needed(element)

    def make() -> list[Layer]:
        return _listed(element_layer(element, pictures.element(element.source), view, finishing))

    return pictures.keep(element_shape(element, plan.plate, finished, view), make)


def _listed(layer: Layer | None) -> list[Layer]:
    return [] if layer is None else [layer]


def element_layer(element: PlacedElement, mips: Mips, view: View, finishing: Finishing | None = None) -> Layer | None:
    """An element in its place and finished; None where nothing of it is in the view."""
    homography = view.matrix @ element.homography_matrix
    if finishing is not None and finishing.needed(element):
        return _finished_layer(element, mips, view, finishing)
    window = covered_window(homography, mips.content_px, view.size_px)
    if window is None:
        return None
    samples = warp(mips, homography, window)
    return cropped(element.name, "element", "over", (window.left, window.top), samples)


def _finished_layer(element: PlacedElement, mips: Mips, view: View, finishing: Finishing) -> Layer | None:
    homography = view.matrix @ element.homography_matrix
    margin_px = finishing.margin_px(element, mips, view)
    window = covered_window(homography, mips.content_px, view.size_px, margin_px)
    if window is None:
        return None
    samples = finishing.finished(warp(mips, homography, window), element, mips, (view, window))
    left, top = max(window.left, 0), max(window.top, 0)  # what the blur looked at beyond the view is not drawn
    right, bottom = min(window.left + window.width, view.size_px[0]), min(window.top + window.height, view.size_px[1])
    if right <= left or bottom <= top:
        return None
    seen = samples[top - window.top : bottom - window.top, left - window.left : right - window.left]
    return cropped(element.name, "element", "over", (left, top), seen)


def holdout_layer(
    name: str, coverage: Pixels, below: list[Layer], plate: Pixels | Sampled, space: Space
) -> Layer | None:
    """The plate's own pixels where a holdout stands in front of layers that are drawn already.

    coverage (h, w) and plate as the view shows them. Where nothing was drawn below, the layer
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
    linear = light_in(plate, space, (left + x0, top + y0, left + x1, top + y1))
    cut_out = masked(linear, np.ascontiguousarray(needed[y0:y1, x0:x1]))
    return Layer(name, "holdout", "over", (left + x0, top + y0), Picture(cut_out))


def _mark(touched: Pixels, layer: Layer, corner_px: tuple[int, int]) -> None:
    """Set the pixels of an area of the view, by its corner, that a layer changes."""
    x, y = layer.offset_px[0] - corner_px[0], layer.offset_px[1] - corner_px[1]
    width, height = layer.picture.size_px
    left, right = max(x, 0), min(x + width, touched.shape[1])
    top, bottom = max(y, 0), min(y + height, touched.shape[0])
    if left < right and top < bottom:
        touched[top:bottom, left:right] |= layer.picture.samples[top - y : bottom - y, left - x : right - x, 3] > 0
