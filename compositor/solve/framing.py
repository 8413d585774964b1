"""The window of the full frame that a delivery shows."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil, floor

from compositor.base.errors import Fault, FaultyScene

Box = tuple[float, float, float, float]
"""Left, top, right, bottom in px."""


@dataclass(frozen=True)
class Window:
    """Left, top, width, height in px of the full frame, and by how many px the wanted margin could not be kept."""

    left: float
    top: float
    width: float
    height: float
    margin_short_px: float = 0.0


def window(
    frame_px: tuple[int, int], size_px: tuple[int, int] | None, box: Box | None, margin_fraction: float
) -> Window:
    """The window for a delivery of a size (None: as large as its window) around a box (None: the whole frame).

    With a box: as narrow as keeps the box and its margin whole, but no narrower than the delivery has pixels, moved
    inside the frame. Without one: the largest window of the delivery's shape, in the middle.
    Raises FaultyScene (keys `size`, `around`) where the box cannot be kept whole in this shape.
    """
    wide, high = float(frame_px[0]), float(frame_px[1])
    if box is None:
        if size_px is None:
            return Window(0.0, 0.0, wide, high)
        scale = min(wide / size_px[0], high / size_px[1])
        placed = _placed(frame_px, size_px[0] * scale, size_px[1] * scale, (wide / 2.0, high / 2.0))
        box = (wide / 2.0, high / 2.0, wide / 2.0, high / 2.0)
        return _settled(placed, box, 0.0)
    left, top, right, bottom = box
    centre = ((left + right) / 2.0, (top + bottom) / 2.0)
    need_wide, need_high = right - left, bottom - top
    keep = 1.0 - 2.0 * margin_fraction
    if size_px is None:
        return _loose(frame_px, box, margin_fraction)
    shape = size_px[0] / size_px[1]
    largest = min(wide, high * shape)
    if largest < max(need_wide, need_high * shape) * (1.0 - 1e-9):
        over_px = max(need_wide - largest, need_high - largest / shape)
        what = f"a window of this shape cannot keep them whole: the frame is {over_px:.0f} px short; extend the plate"
        raise FaultyScene([Fault(("size",), what, f"[{size_px[0]}, {size_px[1]}]")])
    wanted = max(need_wide / keep, need_high / keep * shape)
    width = min(max(wanted, float(size_px[0])), largest)
    return _settled(_placed(frame_px, width, width / shape, centre), box, margin_fraction)


def union(boxes: Sequence[Box]) -> Box:
    """The smallest box around boxes (at least one)."""
    left, top, right, bottom = zip(*boxes, strict=True)
    return min(left), min(top), max(right), max(bottom)


def _loose(frame_px: tuple[int, int], box: Box, margin_fraction: float) -> Window:
    """A window of the box's own shape: the box, its margin, whole pixels, cut at the frame's edges."""
    left, top, right, bottom = box
    across = (right - left) * margin_fraction / (1.0 - 2.0 * margin_fraction)
    down = (bottom - top) * margin_fraction / (1.0 - 2.0 * margin_fraction)
    x0, y0 = max(0, int(left - across)), max(0, int(top - down))
    x1 = min(frame_px[0], -int(-(right + across) // 1))
    y1 = min(frame_px[1], -int(-(bottom + down) // 1))
    placed = Window(float(x0), float(y0), float(x1 - x0), float(y1 - y0))
    return replace(placed, margin_short_px=_short(placed, box, margin_fraction))


def _placed(frame_px: tuple[int, int], width: float, height: float, centre: tuple[float, float]) -> Window:
    """A window of that size about a centre, moved inside the frame."""
    left = min(max(centre[0] - width / 2.0, 0.0), frame_px[0] - width)
    top = min(max(centre[1] - height / 2.0, 0.0), frame_px[1] - height)
    return Window(left, top, width, height)


def _settled(placed: Window, box: Box, margin_fraction: float) -> Window:
    """The window on whole pixels where that keeps the box, with what its margin lacks."""
    left = _on_pixels(placed.left, placed.width, box[0], box[2])
    top = _on_pixels(placed.top, placed.height, box[1], box[3])
    placed = Window(left, top, placed.width, placed.height)
    return replace(placed, margin_short_px=_short(placed, box, margin_fraction))


def _on_pixels(start: float, length: float, low: float, high: float) -> float:
    """A window's start on a whole pixel, where its length is whole too and low..high stays inside; else as it is.

    An unscaled window on whole pixels shows the plate's own pixels, not means of neighbours.
    """
    if length != round(length):
        return start
    for whole in (round(start), floor(start), ceil(start)):
        if whole <= low and high <= whole + length:
            return float(whole)
    return start


def _short(placed: Window, box: Box, margin_fraction: float) -> float:
    """By how much the margin falls short on the worst side, px; less than a pixel counts as kept."""
    left, top, right, bottom = box
    free_across = min(left - placed.left, placed.left + placed.width - right)
    free_down = min(top - placed.top, placed.top + placed.height - bottom)
    short = max(margin_fraction * placed.width - free_across, margin_fraction * placed.height - free_down)
    return short if short > 1.0 else 0.0
