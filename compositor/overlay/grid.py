"""The grid on the ground: squares whose side follows a 1–2–5 ladder and grows with distance."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from math import ceil, floor, log10

import numpy as np

from compositor.base.arrays import Floats
from compositor.geometry.camera import Camera
from compositor.overlay.boxes import Point, chord, cut

CLOSER_RATIO = 0.6
"""By eye: where the step changes, the next round distance may come this much of the gap sooner."""

MOST_LINES = 60
"""Lines across at most, and lines in depth per zone at most: a guard for cameras that look straight down."""


@dataclass(frozen=True)
class GroundLine:
    """A straight line on the ground, in pixels. distance_m: of a line across; None: a line in depth."""

    start_px: Point
    end_px: Point
    distance_m: float | None


def ground_grid(camera: Camera, gap_px: float) -> tuple[GroundLine, ...]:
    """The grid in a camera's picture, with lines across about gap_px apart or more, everything within the frame.

    Nothing nearer to the horizon than gap_px is drawn; without ground in the picture there are no lines.
    """
    window_m = ground_window_m(camera, gap_px)
    if len(window_m) < 3:
        return ()
    nearest_m, farthest_m = float(window_m[:, 1].min()), float(window_m[:, 1].max())
    distances = tuple(zone_distances_m(camera, nearest_m, farthest_m, gap_px))
    across = [_across(camera, window_m, distance_m) for distance_m, _ in distances]
    zones = _zones(distances, nearest_m)
    in_depth = [line for zone in zones for line in _in_depth(camera, window_m, *zone)]
    return tuple(line for line in (*across, *in_depth) if line is not None)


def ground_window_m(camera: Camera, margin_px: float) -> Floats:
    """The ground (X, Y) in metres that the frame shows up to a margin below the horizon: a convex polygon (n, 2)."""
    width, height = camera.size_px
    frame = np.array([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]])
    polygon = cut(frame, camera.horizon_line() - [0.0, 0.0, margin_px])
    if len(polygon) < 3:
        return np.empty((0, 2))
    rays = camera.rays(polygon)
    found: Floats = rays[:, :2] * (camera.height_m / -rays[:, 2:3])
    return found


def ladder_m(at_least_m: float) -> Iterator[float]:
    """The steps 1, 2 and 5 times powers of ten, from the first that is not smaller, upwards without end."""
    exponent = floor(log10(at_least_m))
    while True:
        for digit in (1, 2, 5):
            step = float(f"{digit}e{exponent}")
            if step >= at_least_m * (1 - 1e-9):
                yield step
        exponent += 1


def zone_distances_m(
    camera: Camera, nearest_m: float, farthest_m: float, gap_px: float
) -> Iterator[tuple[float, float]]:
    """Distances of the lines across, near to far, each with the step that led to it.

    The first step is a quarter of the camera's height or more; steps never shrink, every distance is a multiple
    of its step, and neighbours are gap_px apart or more, CLOSER_RATIO of it where the step changes.
    """
    last, smallest_m = nearest_m, camera.height_m / 4.0
    for _ in range(MOST_LINES):
        for step in ladder_m(smallest_m):
            if last + step > farthest_m:
                return
            if apart_px(camera, last, last + step) >= gap_px:
                break
        following = (floor(last / step + 1e-9) + 1) * step
        if apart_px(camera, last, following) < CLOSER_RATIO * gap_px:
            following += step
        if following > farthest_m:
            return
        yield following, step
        last, smallest_m = following, step


def apart_px(camera: Camera, near_m: float, far_m: float) -> float:
    """How far apart two lines across lie in the picture, square to the horizon (they are parallel to it)."""
    near, far = camera.project([[0.0, near_m, 0.0], [0.0, far_m, 0.0]])
    a, b, _ = camera.horizon_line()
    return float((near - far) @ [a, b])


def _zones(distances: tuple[tuple[float, float], ...], nearest_m: float) -> Iterator[tuple[float, float, float]]:
    """Stretches of equal step: from, to, step."""
    begin = nearest_m
    for step, group in groupby(distances, key=lambda line: line[1]):
        end = list(group)[-1][0]
        yield begin, end, step
        begin = end


def _across(camera: Camera, window_m: Floats, distance_m: float) -> GroundLine | None:
    span = chord(window_m, 1, distance_m)
    if span is None:
        return None
    return _line(camera, (span[0], distance_m), (span[1], distance_m), distance_m)


def _in_depth(camera: Camera, window_m: Floats, near_m: float, far_m: float, step_m: float) -> Iterator[GroundLine]:
    zone = cut(cut(window_m, np.array([0.0, 1.0, -near_m])), np.array([0.0, -1.0, far_m]))
    if len(zone) < 3:
        return
    first, last = ceil(zone[:, 0].min() / step_m), floor(zone[:, 0].max() / step_m)
    for index in range(max(first, -MOST_LINES), min(last, MOST_LINES) + 1):
        span = chord(zone, 0, index * step_m)
        if span is not None:
            yield _line(camera, (index * step_m, span[0]), (index * step_m, span[1]), None)


def _line(camera: Camera, start_m: Point, end_m: Point, distance_m: float | None) -> GroundLine:
    start, end = camera.project([[*start_m, 0.0], [*end_m, 0.0]])
    return GroundLine((float(start[0]), float(start[1])), (float(end[0]), float(end[1])), distance_m)
