"""The height bar of an element: from its contact up to its top, with a metric scale in true perspective."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil, floor, hypot, remainder

import numpy as np

from compositor.base.arrays import Floats, apply_homography
from compositor.geometry.camera import Camera
from compositor.overlay.boxes import Point
from compositor.overlay.marks import Mark, Ring, Stroke
from compositor.overlay.style import Kind, Scale
from compositor.plan.model import PlacedElement

STEPS_M = (0.1, 0.5, 1.0, 5.0, 10.0, 50.0, 100.0)
"""Ticks stand at the first of these that leaves room between them; those of the two after it stand out."""

CONTACT_RING = 4.2
"""Radius of the ring around a contact, in thousandths of the diagonal."""

_TICKS = {0.1: 2.0, 0.5: 3.6}
_LONGEST_TICK = 5.4  # of one metre and more


@dataclass(frozen=True)
class Tick:
    """A tick of the scale: height_m above the contact, where the bar is, and the largest step it belongs to."""

    height_m: float
    at_px: Point
    step_m: float


@dataclass(frozen=True)
class HeightBar:
    """The bar in pixels, its ticks, and the unit direction in which ticks point (the plane's right)."""

    contact_px: Point
    head_px: Point
    top_px: Point
    ticks: tuple[Tick, ...]
    right: Point


def height_bar(element: PlacedElement, camera: Camera, scale: Scale) -> HeightBar:
    """The bar from the contact straight up in the element's plane to the height of its top.

    What lies flat gets the same along the ground. The scale counts metres in the plane from the contact.
    """
    matrix = element.plane.homography(camera)
    (s_m, foot_m), (_, top_m) = apply_homography(np.linalg.inv(matrix), [element.contact_px, element.top_px])
    head = _at(matrix, s_m, top_m)
    side = np.array(_at(matrix, s_m + 0.01, foot_m)) - np.array(element.contact_px)
    right = side / max(float(np.hypot(*side)), 1e-12)
    reach_m = float(top_m - foot_m)
    length_px = hypot(head[0] - element.contact_px[0], head[1] - element.contact_px[1])
    steps = tick_steps_m(abs(reach_m), length_px, scale.px(2.6))
    ticks = tuple(
        Tick(height_m, _at(matrix, s_m, foot_m + height_m), step_m)
        for height_m, step_m in tick_heights_m(reach_m, steps)
    )
    return HeightBar(element.contact_px, head, element.top_px, ticks, (float(right[0]), float(right[1])))


def tick_steps_m(reach_m: float, length_px: float, room_px: float) -> tuple[float, ...]:
    """The finest step whose ticks keep room_px between them (on average), and the two coarser ones."""
    for index, step in enumerate(STEPS_M):
        if length_px * step >= room_px * reach_m:
            return STEPS_M[index : index + 3]
    return ()


def tick_heights_m(reach_m: float, steps: tuple[float, ...]) -> Iterator[tuple[float, float]]:
    """Heights of the ticks from the contact to reach_m (either sign), each with the coarsest step it belongs to."""
    if not steps:
        return
    low, high = min(0.0, reach_m), max(0.0, reach_m)
    for index in range(ceil(low / steps[0] - 1e-9), floor(high / steps[0] + 1e-9) + 1):
        height_m = index * steps[0]
        if index != 0:
            yield height_m, max(step for step in steps if abs(remainder(height_m, step)) < 1e-6 * step)


def bar_marks(bar: HeightBar, scale: Scale) -> tuple[Mark, ...]:
    """The bar as lines: contact ring with its centre, shaft, head, ticks, and the way from the head to the top."""
    kind, (u, v) = Kind.ELEMENT, bar.contact_px
    marks: list[Mark] = [Stroke(kind, bar.contact_px, bar.head_px)]
    for tick in bar.ticks:
        length = scale.px(_TICKS.get(tick.step_m, _LONGEST_TICK))
        marks.append(Stroke(kind, tick.at_px, _along(tick.at_px, bar.right, length), width_ratio=0.7))
    cap = scale.px(4.0)
    marks.append(Stroke(kind, _along(bar.head_px, bar.right, -cap), _along(bar.head_px, bar.right, cap)))
    if hypot(bar.top_px[0] - bar.head_px[0], bar.top_px[1] - bar.head_px[1]) > cap:
        marks.append(Stroke(kind, bar.head_px, bar.top_px, width_ratio=0.5))
        marks.append(Ring(kind, bar.top_px, scale.px(1.1), filled=True))
    marks.append(Ring(kind, (u, v), scale.px(CONTACT_RING)))
    marks.append(Ring(kind, (u, v), scale.px(1.3), filled=True))
    return tuple(marks)


def _at(matrix: Floats, s_m: float, z_m: float) -> Point:
    point = apply_homography(matrix, (s_m, z_m))[0]
    return float(point[0]), float(point[1])


def _along(start: Point, direction: Point, length_px: float) -> Point:
    return start[0] + length_px * direction[0], start[1] + length_px * direction[1]
