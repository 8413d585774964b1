"""Windows of deliveries in the full frame, the part of each that nothing will cover, and the boxes of its copy."""

from compositor.overlay.marks import Mark, Stroke
from compositor.overlay.style import Kind
from compositor.plan.model import Delivery

_HARDLY = 0.5  # px: closer to the frame's edge than this a window's side is the edge

Rectangle = tuple[float, float, float, float]
"""Left, top, right, bottom in px of the frame."""


def window_marks(delivery: Delivery, frame_px: tuple[int, int]) -> tuple[Mark, ...]:
    """The window where it is not the whole frame, its free part where bands will be covered, and the boxes of its copy
    where it is the whole frame, as in a delivery's own overlay."""
    left, top, width, height = delivery.window_px
    marks: list[Mark] = []
    box = (left, top, left + width, top + height)
    cropped = _differs(box, (0.0, 0.0, float(frame_px[0]), float(frame_px[1])))
    if cropped:
        marks += _rectangle(box)
    if any(delivery.safe_px):
        a, b, c, d = delivery.safe_px
        free = (float(a), float(b), float(delivery.size_px[0] - c), float(delivery.size_px[1] - d))
        marks += _rectangle(_in_frame(delivery, free), dashed=True)
    for graphic in () if cropped else delivery.graphics:
        marks += _rectangle(_in_frame(delivery, graphic.box_px), width_ratio=0.5)
    return tuple(marks)


def _in_frame(delivery: Delivery, box_px: Rectangle) -> Rectangle:
    """A box of the delivery in the frame's pixels."""
    left, top, width, _ = delivery.window_px
    scale = width / delivery.size_px[0]
    return left + box_px[0] * scale, top + box_px[1] * scale, left + box_px[2] * scale, top + box_px[3] * scale


def _rectangle(box: Rectangle, dashed: bool = False, width_ratio: float = 1.0) -> list[Mark]:
    left, top, right, bottom = box
    corners = [(left, top), (right, top), (right, bottom), (left, bottom)]
    return [
        Stroke(Kind.WINDOW, start, end, dashed, width_ratio)
        for start, end in zip(corners, [*corners[1:], corners[0]], strict=True)
    ]


def _differs(one: Rectangle, other: Rectangle) -> bool:
    return any(abs(a - b) > _HARDLY for a, b in zip(one, other, strict=True))
