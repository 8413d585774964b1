"""Marked edges, the vanishing points they run to, and the way to those outside the frame."""

from dataclasses import dataclass
from math import hypot

import numpy as np

from compositor.overlay.boxes import Box, Point, clip
from compositor.overlay.marks import Mark, Ring, Stroke
from compositor.overlay.style import Kind, Scale
from compositor.plan.model import EdgeGroup

_FAR = 1e6
"""Frames away, by eye: a vanishing point farther out than this is as good as at infinity."""


@dataclass(frozen=True)
class Vanishing:
    """A vanishing point as seen from the frame.

    at_px: itself, or where the way to it leaves the frame. direction: unit, from the edges to it.
    outside_px: how far it lies outside the frame; 0 inside, None at infinity.
    """

    at_px: Point
    direction: Point
    outside_px: float | None


def vanishing(group: EdgeGroup, frame: Box) -> Vanishing:
    """Where a group's vanishing point is, or which way it is."""
    middle = np.mean([point for edge in group.edges_px for point in edge], axis=0) if group.edges_px else frame.centre
    x, y, w = group.vanishing_px
    reach = _FAR * hypot(frame.width, frame.height)
    infinite = abs(w) * reach <= hypot(x, y)
    run = np.array([x, y]) if infinite else np.array([x, y]) / w - middle
    length = float(np.hypot(*run))
    if length == 0.0:
        return Vanishing(_pair(middle), (0.0, 0.0), 0.0)
    direction = _pair(run / length)
    if not infinite and frame.holds((x / w, y / w)):
        return Vanishing((x / w, y / w), direction, 0.0)
    far = (float(middle[0] + direction[0] * reach), float(middle[1] + direction[1] * reach))
    seen = clip(_pair(middle), far if infinite else (x / w, y / w), frame)
    border = frame.nearest(_pair(middle)) if seen is None else seen[1]
    return Vanishing(border, direction, None if infinite else _outside_px((x / w, y / w), frame))


def edge_marks(group: EdgeGroup, seen: Vanishing, frame: Box) -> tuple[Mark, ...]:
    """The marked edges unbroken, with their ends, and on towards the vanishing point, dashed, inside the frame."""
    marks: list[Mark] = []
    for edge in group.edges_px:
        marks.append(Stroke(Kind.EDGE, *edge, width_ratio=1.6))
        onward = _onward(edge, group, seen, frame)
        if onward is not None:
            marks.append(Stroke(Kind.EDGE, *onward, dashed=True, fade=(0.8, 0.8)))
    return tuple(marks)


def point_marks(seen: Vanishing, scale: Scale) -> tuple[Mark, ...]:
    """A cross in a ring at a vanishing point inside the frame, an arrow at the border towards one outside."""
    (u, v), (right, down) = seen.at_px, seen.direction
    if seen.outside_px == 0.0:
        arm = scale.px(3.0)
        cross = [((u - arm, v - arm), (u + arm, v + arm)), ((u - arm, v + arm), (u + arm, v - arm))]
        return (*(Stroke(Kind.EDGE, *line) for line in cross), Ring(Kind.EDGE, seen.at_px, scale.px(5.2)))
    length, barb = scale.px(22.0), scale.px(6.0)
    tip = (u - right * scale.px(2.0), v - down * scale.px(2.0))
    tail = (tip[0] - right * length, tip[1] - down * length)
    barbs = [(tip[0] - barb * (right + s * 0.5 * down), tip[1] - barb * (down - s * 0.5 * right)) for s in (-1, 1)]
    return tuple(Stroke(Kind.EDGE, tip, end, width_ratio=1.6) for end in (tail, *barbs))


def point_box(seen: Vanishing, scale: Scale) -> Box:
    """The box around the ring or arrow of a vanishing point."""
    ends = [mark.start_px for mark in point_marks(seen, scale) if isinstance(mark, Stroke)]
    ends += [mark.end_px for mark in point_marks(seen, scale) if isinstance(mark, Stroke)]
    return Box.around(np.array(ends), scale.px(2.5))


def _onward(edge: tuple[Point, Point], group: EdgeGroup, seen: Vanishing, frame: Box) -> tuple[Point, Point] | None:
    """From the end of an edge that is nearer to the vanishing point on to it, inside the frame."""
    x, y, w = group.vanishing_px
    if seen.outside_px is None:
        start = max(edge, key=lambda point: point[0] * seen.direction[0] + point[1] * seen.direction[1])
        far = 2 * hypot(frame.width, frame.height)
        goal = (start[0] + far * seen.direction[0], start[1] + far * seen.direction[1])
    else:
        goal = (x / w, y / w)
        start = min(edge, key=lambda point: hypot(point[0] - goal[0], point[1] - goal[1]))
    return clip(start, goal, frame)


def _outside_px(point: Point, frame: Box) -> float:
    near = frame.nearest(point)
    return hypot(point[0] - near[0], point[1] - near[1])


def _pair(values: object) -> Point:
    u, v = np.asarray(values, dtype=np.float64)
    return float(u), float(v)
