"""Footprints, solids and what light passes through them, against shapes whose geometry is known."""

from math import cos, degrees, hypot, radians, sin

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from compositor.base.errors import GeometryError
from compositor.geometry.camera import Camera
from compositor.geometry.planes import Plane, facing
from compositor.geometry.shadow import Throw, frame_of, sky_luminance, sky_patches, sunward_ground
from compositor.geometry.solid import Build, flat_solid, solid_of
from compositor.geometry.standing import footprint
from compositor.geometry.sun import Sun, shadow_tip
from compositor.geometry.sweep import Sweep, towards

UP = np.array([0.0, 0.0, 1.0])
CAMERA = Camera(2000.0, (600.0, 500.0), (1200, 1000), -9.0, 1.5, 1.5)
CONTACT = (0.4, 5.0)


def subject_pixels() -> np.ndarray:
    frame = frame_of(facing(CONTACT), CAMERA.position_m)
    axes = np.column_stack([[*axis, 0.0] for axis in (frame.right, frame.back, frame.up)])
    return CAMERA.matrix @ np.column_stack([axes, [*frame.origin_m, 1.0]])


def silhouette(corners: np.ndarray) -> tuple[tuple[float, float], ...]:
    """Convex hull in the picture of points (n, 3) in subject coordinates."""
    mapped = np.column_stack([corners, np.ones(len(corners))]) @ subject_pixels().T
    points = (mapped[:, :2] / mapped[:, 2:]).astype(np.float32)
    return tuple((float(u), float(v)) for u, v in cv2.convexHull(points).reshape(-1, 2))


def box(width: float, depth: float, height: float, yaw_deg: float) -> np.ndarray:
    c, s = cos(radians(yaw_deg)), sin(radians(yaw_deg))
    return np.array(
        [
            (c * x - s * y, s * x + c * y, z)
            for x in (-width / 2, width / 2)
            for y in (0.0, depth)
            for z in (0.0, height)
        ]
    )


@pytest.mark.parametrize("yaw_deg", [-35.0, -20.0, 18.0, 30.0])
def test_a_box_tells_how_it_is_turned_and_how_deep_it_is(yaw_deg: float) -> None:
    solid = solid_of(subject_pixels(), silhouette(box(0.7, 0.45, 0.8, yaw_deg)), None)
    assert solid.yaw_deg == pytest.approx(yaw_deg, abs=0.05)
    assert solid.depth_m == pytest.approx(0.45, abs=0.005)
    stated = solid_of(subject_pixels(), silhouette(box(0.7, 0.45, 0.8, yaw_deg)), 0.6)
    assert stated.depth_m == 0.6


def test_a_parasol_tells_nothing_and_is_centred_on_its_foot() -> None:
    angles = np.linspace(0.0, 2.0 * np.pi, 40, endpoint=False)
    foot = np.column_stack([0.2 * np.cos(angles), 0.2 + 0.2 * np.sin(angles), np.zeros(40)])
    canopy = np.column_stack([1.2 * np.cos(angles), 0.2 + 1.2 * np.sin(angles), np.full(40, 2.1)])
    found = footprint(subject_pixels(), silhouette(np.concatenate([foot, canopy])))
    assert found.span_m < 0.5 * found.width_m
    solid = solid_of(subject_pixels(), silhouette(np.concatenate([foot, canopy])), None)
    assert solid.yaw_deg == 0.0
    assert solid.is_round and solid.depth_m == pytest.approx(2.4, rel=0.05)
    assert solid.middle_m == pytest.approx(0.2, abs=0.05)


def test_thin_parts_stay_thin() -> None:
    """A board of half a metre, seen from the front: nothing tells its depth but the breadth of its parts."""
    board = silhouette(box(1.0, 0.001, 0.9, 20.0))
    solid = solid_of(subject_pixels(), board, None, Build(20.0, 0.0))
    assert solid.yaw_deg == pytest.approx(20.0, abs=0.1)
    assert solid.depth_m < 0.08


@settings(max_examples=60, deadline=None)
@given(st.floats(-180, 180), st.floats(4, 88), st.floats(-0.35, 0.35), st.floats(0.05, 0.45), st.floats(0.05, 1.45))
def test_every_point_of_the_solid_throws_its_shadow_by_the_equation(
    azimuth: float, elevation: float, right: float, back: float, up: float
) -> None:
    """(x, y, z) falls on (x, y) - z·cot(el)·(sin az, cos az), from whichever side the light comes."""
    sun = Sun(azimuth, elevation)
    plate = Camera(1500.0, (800.0, 400.0), (1600, 1000), -5.0, -2.0, 1.7)
    solid = solid_of(subject_pixels(), silhouette(box(0.8, 0.5, 1.5, 0.0)), None)
    frame = frame_of(facing((-1.2, 6.0), 0.05), plate.position_m)
    plane = sunward_ground((-1.2, 6.0), sun.direction)
    sweep = Sweep(Throw(solid, frame, sun.direction, plane, UP))
    point = np.array([right, back, up])
    x, y, z = (float(value) for value in frame.to_world(point[np.newaxis])[0])
    offset = np.array([*shadow_tip((x, y, z), sun), 0.0]) - np.array(plane.origin_m)
    wanted = np.array([offset @ np.array(plane.right), offset @ np.array(plane.up)]) - sweep.centre_m
    lines, rows = sweep.lines_in(np.array([np.arctan2(wanted[1], wanted[0])]), (-500.0, -500.0, 2000.0, 2000.0))
    assert len(rows) == 1
    first, last = lines.points_px[:, 0]
    seen = solid.matrix @ [*point, 1.0]
    along, run = seen[:2] / seen[2] - first, last - first
    share = float(along @ run / (run @ run))
    scale, lean, back = (
        ends[0, 0] + share * (ends[1, 0] - ends[0, 0]) for ends in (lines.scale, lines.lean, lines.back)
    )
    assert abs(along[0] * run[1] - along[1] * run[0]) / np.hypot(*run) < 0.01  # px off the line
    behind = float(solid.normal @ (point - [*solid.front_m, 0.0])) + sweep.to_front_m
    assert behind * scale / back == pytest.approx(np.hypot(*wanted), rel=1e-4, abs=2e-3)
    towards_m = towards(*(np.array([value]) for value in (behind, lean / back, sweep.depth_m)))
    assert towards_m[0] == pytest.approx(z / sin(radians(elevation)), rel=1e-3, abs=5e-3)


def test_bounds_hold_the_whole_shadow() -> None:
    corners = box(0.8, 0.5, 1.5, 25.0)
    solid = solid_of(subject_pixels(), silhouette(corners), 0.5)
    frame = frame_of(facing((1.0, 7.0)), CAMERA.position_m)
    sun = Sun(70.0, 25.0)
    plane = sunward_ground((1.0, 7.0), sun.direction)
    low, high = Throw(solid, frame, sun.direction, plane, UP).bounds_m()
    for world in frame.to_world(corners):
        x, y = shadow_tip((float(world[0]), float(world[1]), float(world[2])), sun)
        offset = np.array([x, y, 0.0]) - np.array(plane.origin_m)
        place = np.array([offset @ np.array(plane.right), offset @ np.array(plane.up)])
        assert np.all(place >= low - 0.01)
        assert np.all(place <= high + 0.01)


def test_no_light_from_behind_a_plane() -> None:
    solid = flat_solid(subject_pixels(), silhouette(box(0.8, 0.5, 1.5, 0.0)), 0.02)
    frame = frame_of(facing((0.0, 6.0)), CAMERA.position_m)
    wall = Plane((-2.0, 8.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0))
    with pytest.raises(GeometryError, match="behind"):
        Throw(solid, frame, Sun(0.0, 30.0).direction, wall, np.array([0.0, -1.0, 0.0]))


def test_what_stands_on_feet_stands_behind_their_tips() -> None:
    board = silhouette(box(0.5, 0.001, 1.7, 10.0))
    pixels = Build(80.0, 0.5)
    on_feet, whole = (solid_of(subject_pixels(), board, None, Build(80.0, apart)) for apart in (0.5, 0.0))
    assert on_feet.depth_m == whole.depth_m < 0.25
    assert whole.middle_m == pytest.approx(whole.depth_m / 2.0)
    assert on_feet.middle_m == pytest.approx(0.75 * on_feet.depth_m)
    assert solid_of(subject_pixels(), board, 0.1, pixels).middle_m == pytest.approx(0.075)


def test_a_turned_box_ends_at_its_far_sides() -> None:
    corners = box(0.7, 0.45, 0.8, 30.0)
    solid = solid_of(subject_pixels(), silhouette(corners), None)
    (_, corner), _ = solid.far_m
    assert min(hypot(*(corner - point[:2])) for point in corners) < 0.02


def test_patches_of_the_sky_light_the_ground_equally() -> None:
    """Nusselt's analogue: equal areas of the projected sky. Their mean, seen on the unit disc, is its centre, and their
    mean square distance from it that of a disc, 1/2."""
    flat = np.array([patch.direction[:2] for patch in sky_patches(None)])
    assert np.allclose(flat.mean(axis=0), 0.0, atol=1e-9)
    assert np.mean(np.sum(flat**2, axis=1)) == pytest.approx(0.5, abs=0.01)
    for patch in sky_patches(Sun(30.0, 40.0).direction):
        assert hypot(*patch.direction[:2]) < 1.0 and 0.0 < patch.half_angle_deg < degrees(0.6)
    assert sum(patch.share for patch in sky_patches(Sun(30.0, 40.0).direction)) == pytest.approx(1.0)


def test_the_sky_is_as_bright_as_the_standard_says() -> None:
    """ISO 15469:2004 (CIE S 011), values worked from its formulas. Overcast, type 1: the horizon has about a third of
    the zenith's luminance. Clear, type 12: beside the sun more than ten times that of the darkest part, which lies
    opposite, about a right angle away from it."""
    zenith, level = np.array([0.0, 0.0, 1.0]), Sun(0.0, 0.5).direction
    assert sky_luminance(level, None) / sky_luminance(zenith, None) == pytest.approx(1.0 / 3.0, abs=0.01)
    sun = Sun(0.0, 40.0).direction
    beside, opposite = (sky_luminance(Sun(a, e).direction, sun) for a, e in ((5.0, 40.0), (180.0, 50.0)))
    assert beside / opposite > 10.0
    low = [sky_luminance(Sun(180.0, e).direction, sun) for e in (20.0, 50.0, 80.0)]
    assert low[1] == min(low)
