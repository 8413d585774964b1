"""Rules about the ground: two elements in one place."""

from collections.abc import Iterator
from functools import lru_cache
from itertools import combinations
from math import copysign, hypot

import numpy as np

from compositor.audit.consequences import move
from compositor.audit.findings import Case, Finding, Remedy, ranked
from compositor.audit.sight import moved
from compositor.audit.wording import place
from compositor.base.arrays import Floats, fixed
from compositor.base.sameness import MOST_KEPT, SameParts, once_for_each
from compositor.geometry.ground import ground_point
from compositor.geometry.homography import carried, inverse
from compositor.geometry.planes import facing, frontal
from compositor.geometry.polygons import overlap
from compositor.geometry.solid import DEPTH_RATIO
from compositor.plan.model import Matrix, PlacedElement, Plan, Point
from compositor.plan.own import by_itself

_FOOT = 0.1  # of the height: where the width near the ground is taken
_TRIES = 12


def intersecting(case: Case) -> Iterator[Finding]:
    """Two upright elements whose footprints overlap at the same height."""
    plan = case.plan
    standing = [element for element in plan.elements if element.stance == "upright"]
    for first, second in combinations(standing, 2):
        depth_m, _ = _overlap(first, second)
        if depth_m <= plan.tolerances.overlap_m:
            continue
        yield Finding(
            "intersecting",
            "warning",
            second.name,
            f"{first.name} and {second.name} stand in one another: their footprints overlap by {depth_m:.2f} m.",
            ranked([_parted(plan, first, second), _parted(plan, second, first)]),
            f"stands {depth_m:.2f} m into {first.name}",
        )


@once_for_each
def footprint(element: PlacedElement) -> Floats:
    """The ground (4, 2) in metres that it stands on: its width near the ground, and a depth behind its contact."""
    return fixed(np.array(_corners(element)))


@once_for_each
def _corners(element: PlacedElement) -> list[Point]:
    left_m, right_m = _foot(by_itself(element))
    (x, y, _), (rx, ry, _) = element.plane.origin_m, element.plane.right
    depth_m = DEPTH_RATIO * (right_m - left_m) if element.depth_m is None else element.depth_m
    away = copysign(depth_m, rx * y - ry * x)  # across the plane, to the side that is turned from the camera
    ends = [(x + along * rx, y + along * ry) for along in (left_m, right_m)]
    return [*ends, *((u - away * ry, v + away * rx) for u, v in reversed(ends))]


@lru_cache(MOST_KEPT)
def _foot(placed: SameParts[PlacedElement]) -> tuple[float, float]:
    """Where it begins and ends in its plane, metres, at a tenth of its height."""
    element = placed.value
    matrix = _to_plane(element)
    hull = [carried(matrix, point) for point in element.own_hull_px]
    level = _FOOT * element.height_m
    found = [carried(matrix, element.own_contact_px)[0]]
    for (s1, z1), (s2, z2) in zip(hull, [*hull[1:], *hull[:1]], strict=True):
        if min(z1, z2) <= level <= max(z1, z2) and z1 != z2:
            found.append(s1 + (level - z1) / (z2 - z1) * (s2 - s1))
    return min(found), max(found)


def _to_plane(element: PlacedElement) -> Matrix:
    """Own pixels to metres in its plane, by two points and the plane's own homography."""
    if element.own_camera is None:
        (width_m, height_m), (width, height) = element.artwork_m or (1.0, 1.0), element.own_size_px
        (u, v), across, up = element.own_contact_px, width_m / width, height_m / height
        return (across, 0.0, -u * across), (0.0, -up, v * up), (0.0, 0.0, 1.0)
    make = frontal if element.source.outline_px is not None else facing
    return inverse(make(ground_point(element.own_camera, element.own_contact_px)).to_pixels(element.own_camera))


def _overlap(first: PlacedElement, second: PlacedElement) -> tuple[float, Floats]:
    """(depth in metres, unit direction in which the second leaves the first); none where one is above the other."""
    low, high = max(first.raise_m, second.raise_m), min(_head_m(first), _head_m(second))
    (left, near, right, far), (left2, near2, right2, far2) = _reach(first), _reach(second)
    if high <= low or left >= right2 or left2 >= right or near >= far2 or near2 >= far:
        return 0.0, np.zeros(2)
    return overlap(footprint(first), footprint(second))


@once_for_each
def _reach(element: PlacedElement) -> tuple[float, float, float, float]:
    """Least X and Y, and greatest X and Y, of its footprint."""
    xs, ys = zip(*_corners(element), strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def _head_m(element: PlacedElement) -> float:
    return element.raise_m + element.height_m


def _parted(plan: Plan, stays: PlacedElement, goes: PlacedElement) -> Remedy | None:
    """One of them moved out of the other, by the shortest way."""
    after: PlacedElement | None = goes
    for _ in range(_TRIES):
        if after is None:
            return None
        depth_m, way = _overlap(stays, after)
        if depth_m <= 0.9 * plan.tolerances.overlap_m:
            break
        ground_m: Point = (
            after.offset_m + float(way[0]) * (depth_m + 0.01),
            after.distance_m + float(way[1]) * (depth_m + 0.01),
        )
        after = moved(plan, after, ground_m)
    if after is None or after is goes or _overlap(stays, after)[0] > plan.tolerances.overlap_m:
        return None
    way_m = hypot(after.offset_m - goes.offset_m, after.distance_m - goes.distance_m)
    where = place((after.offset_m, after.distance_m))
    return move(plan, goes, after, f"Move {goes.name} by {way_m:.2f} m, to {where}")
