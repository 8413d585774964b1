"""How much memory rendering a variant takes besides what is kept on the shelf, told from sizes alone."""

from math import ceil, floor

from compositor.geometry.polygons import in_front
from compositor.plan.model import PlacedElement, Plan
from compositor.plan.outline import outline_of
from compositor.render.view import View

# Bytes per pixel, from the arrays that exist at once (16-bit work takes twice as much).
_VIEW = 3 + 3 + 8  # the plate's view, the picture, what is encoded of them
_LINEAR_VIEW = 8  # of a plate's window that is not a plain cut
_SHADED = 8  # sun and sky that are taken already, float32
_LAYER = 8 + 8  # a layer, and the samples that it is cut out of
_LAYERED = 16  # all layers once more, encoded, and the file


def rendering_bytes(plan: Plan, without: frozenset[str]) -> int:
    """At most about so much is in use at once while a variant is rendered. without: see Rendering."""
    frame = View.of_frame(plan.plate.size_px)
    views = [View.of_window(delivery.window_px, delivery.size_px) for delivery in plan.deliveries]
    whole = not {"overlay", "layers"} <= without or frame in views
    largest = max((_view_bytes(plan, view) for view in views if view != frame), default=0)
    frame_bytes = _view_bytes(plan, frame) if whole else 0
    if "layers" not in without:
        frame_bytes += _LAYERED * sum(_covered_px(element, frame) for element in plan.elements)
        frame_bytes += _LAYERED * frame.size_px[0] * frame.size_px[1]
    return largest + frame_bytes


def _view_bytes(plan: Plan, view: View) -> int:
    pixels = view.size_px[0] * view.size_px[1]
    per_pixel = _VIEW + (0 if plan.light is None else _SHADED) + (0 if view.cut_px is not None else _LINEAR_VIEW)
    layers = sum(_covered_px(element, view) for element in plan.elements)
    return per_pixel * pixels + _LAYER * layers


def _covered_px(element: PlacedElement, view: View) -> int:
    """Pixels of the box around what a view shows of an element."""
    ahead = in_front(outline_of(element).hull @ view.matrix.T)
    if len(ahead) == 0:
        return 0
    points = ahead[:, :2] / ahead[:, 2:]
    low: list[float] = points.min(axis=0).tolist()
    high: list[float] = points.max(axis=0).tolist()
    width, height = (
        ceil(min(max(end, 0), side)) - floor(min(max(start, 0), side))
        for start, end, side in zip(low, high, view.size_px, strict=True)
    )
    return width * height
