"""Rules about the ground: two elements in one place."""

from collections.abc import Iterator
from itertools import combinations
from math import hypot

import numpy as np

from compositor.audit.consequences import move
from compositor.audit.findings import Case, Finding, Remedy, ranked
from compositor.audit.sight import moved
from compositor.audit.wording import place
from compositor.base.arrays import Floats, apply_homography, fixed
from compositor.base.sameness import once_for_each
from compositor.geometry.ground import ground_point
from compositor.geometry.planes import facing, frontal
from compositor.geometry.polygons import overlap
from compositor.geometry.solid import DEPTH_RATIO
from compositor.plan.model import PlacedElement, Plan, Point

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
    left_m, right_m = _foot(element)
    right, origin = np.array(element.plane.right[:2]), np.array(element.plane.origin_m[:2])
    depth_m = DEPTH_RATIO * (right_m - left_m) if element.depth_m is None else element.depth_m
    across: Floats = np.array([-float(right[1]), float(right[0])])
    away: Floats = across * float(np.sign(across @ origin))
    near = np.array([origin + left_m * right, origin + right_m * right])
    return fixed(np.concatenate([near, near[::-1] + depth_m * away]))


def _foot(element: PlacedElement) -> tuple[float, float]:
    """Where it begins and ends in its plane, metres, at a tenth of its height."""
    matrix = _to_plane(element)
    hull = apply_homography(matrix, np.array(element.own_hull_px).reshape(-1, 2)).tolist()
    contact = apply_homography(matrix, element.own_contact_px)[0]
    level = _FOOT * element.height_m
    found: list[float] = [float(contact[0])]
    for (s1, z1), (s2, z2) in zip(hull, [*hull[1:], *hull[:1]], strict=True):
        if min(z1, z2) <= level <= max(z1, z2) and z1 != z2:
            found.append(s1 + (level - z1) / (z2 - z1) * (s2 - s1))
    return min(found), max(found)


def _to_plane(element: PlacedElement) -> Floats:
    """Own pixels to metres in its plane, by two points and the plane's own homography."""
    if element.own_camera is None:
        (width_m, height_m), (width, height) = element.artwork_m or (1.0, 1.0), element.own_size_px
        (u, v), across, up = element.own_contact_px, width_m / width, height_m / height
        return np.array([[across, 0.0, -u * across], [0.0, -up, v * up], [0.0, 0.0, 1.0]])
    make = frontal if element.source.outline_px is not None else facing
    own = make(ground_point(element.own_camera, element.own_contact_px)).homography(element.own_camera)
    return np.asarray(np.linalg.inv(own), dtype=np.float64)


def _overlap(first: PlacedElement, second: PlacedElement) -> tuple[float, Floats]:
    """(depth in metres, unit direction in which the second leaves the first); none where one is above the other."""
    low, high = max(first.raise_m, second.raise_m), min(_head_m(first), _head_m(second))
    if high <= low:
        return 0.0, np.zeros(2)
    return overlap(footprint(first), footprint(second))


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
