"""Maps of shadows against shapes whose shadows are plain geometry."""

from math import radians, sin, tan

import cv2
import numpy as np
import pytest

from compositor.geometry.camera import Camera
from compositor.geometry.planes import facing
from compositor.geometry.shadow import Throw, frame_of, sunward_ground
from compositor.geometry.solid import Solid, flat_solid
from compositor.geometry.sun import Sun, shadow_tip
from compositor.pixels.mips import Mips
from compositor.render.silhouette import Silhouette
from compositor.render.throwing import Grid, grid_over, thrown

UP = np.array([0.0, 0.0, 1.0])
OWN = Camera(1800.0, (300.0, 400.0), (600, 800), -8.0, 0.0, 1.4)
CONTACT = (0.0, 5.0)
PLACE = (1.0, 7.0)
FRAME = frame_of(facing(PLACE), np.array([0.0, 0.0, 1.6]))


def own_pixels() -> np.ndarray:
    frame = frame_of(facing(CONTACT), OWN.position_m)
    axes = np.column_stack([[*axis, 0.0] for axis in (frame.right, frame.back, frame.up)])
    return OWN.matrix @ np.column_stack([axes, [*frame.origin_m, 1.0]])


def pixels_of(points: np.ndarray) -> np.ndarray:
    mapped = np.column_stack([points, np.ones(len(points))]) @ own_pixels().T
    return mapped[:, :2] / mapped[:, 2:]


def picture(outline: np.ndarray, coverage: float = 1.0) -> Mips:
    alpha = np.zeros((800, 600), np.uint8)
    cv2.fillPoly(alpha, [np.rint(outline * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
    samples = np.zeros((800, 600, 4), np.uint16)
    samples[..., 3] = np.rint(alpha.astype(float) / 255 * coverage * 65535)
    return Mips(samples)


def map_of(solid: Solid, source: Mips, sun: Sun) -> tuple[np.ndarray, Grid]:
    throw = Throw(solid, FRAME, sun.direction, sunward_ground(PLACE, sun.direction), UP)
    grid = grid_over(*throw.bounds_m(), (160.0, 160.0), 200_000)
    return thrown(Silhouette(source, solid), throw, grid, 0.01), grid


def shadow_polygon(points: np.ndarray, sun: Sun, grid: Grid) -> np.ndarray:
    plane = sunward_ground(PLACE, sun.direction)
    tips = [shadow_tip((float(x), float(y), float(z)), sun) for x, y, z in FRAME.to_world(points)]
    offset = np.array([[x, y, 0.0] for x, y in tips]) - np.array(plane.origin_m)
    flat = np.column_stack([offset @ np.array(plane.right), offset @ np.array(plane.up)])
    return (flat - np.array(grid.low_m)) * np.array(grid.per_m)


def filled(polygon: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    mask = np.zeros(shape, np.uint8)
    cv2.fillPoly(mask, [np.rint(cv2.convexHull(polygon.astype(np.float32)) * 16 - 8).astype(np.int32)], 255, 16, 4)
    return mask / 255.0


@pytest.mark.parametrize("azimuth", [0.0, 3.0, 60.0, 150.0, 180.0, -120.0, -20.0])
@pytest.mark.parametrize("elevation", [12.0, 35.0, 70.0])
def test_a_cards_shadow_is_the_polygon_of_its_corners(azimuth: float, elevation: float) -> None:
    """From before, behind (the sun is then seen in the card's own picture) and beside: the equation for each corner."""
    corners = np.array([[-0.4, 0.0, 0.05], [0.4, 0.0, 0.05], [0.4, 0.0, 1.2], [-0.4, 0.0, 1.2]])
    outline = pixels_of(corners)
    solid = flat_solid(own_pixels(), tuple((float(u), float(v)) for u, v in outline), 0.005)
    sun = Sun(azimuth, elevation)
    share, grid = map_of(solid, picture(outline), sun)
    true = filled(shadow_polygon(corners, sun, grid), share.shape)
    assert np.minimum(share, true).sum() / np.maximum(share, true).sum() > 0.93
    if abs(sin(radians(azimuth - 8.0))) < 0.7:
        assert share.max() > 0.99


@pytest.mark.parametrize("azimuth", [0.0, 90.0, 150.0, -100.0])
def test_artwork_that_no_eye_saw_throws_the_same_shadow(azimuth: float) -> None:
    """A drawing has no camera: all of its rays are parallel."""
    corners = np.array([[-0.4, 0.0, 0.05], [0.4, 0.0, 0.05], [0.4, 0.0, 1.2], [-0.4, 0.0, 1.2]])
    drawn = np.array([[500.0, 0.0, 0.0, 300.0], [0.0, 0.0, -500.0, 700.0], [0.0, 0.0, 0.0, 1.0]])
    outline = (np.column_stack([corners, np.ones(4)]) @ drawn.T)[:, :2]
    solid = flat_solid(drawn, tuple((float(u), float(v)) for u, v in outline), 0.005)
    sun = Sun(azimuth, 35.0)
    share, grid = map_of(solid, picture(outline), sun)
    true = filled(shadow_polygon(corners, sun, grid), share.shape)
    assert np.minimum(share, true).sum() / np.maximum(share, true).sum() > 0.93


def test_what_lets_light_through_lets_it_through_in_its_shadow() -> None:
    corners = np.array([[-0.4, 0.0, 0.05], [0.4, 0.0, 0.05], [0.4, 0.0, 1.2], [-0.4, 0.0, 1.2]])
    outline = pixels_of(corners)
    hull = tuple((float(u), float(v)) for u, v in outline)
    for depth in (0.01, 0.4):
        share, _ = map_of(flat_solid(own_pixels(), hull, depth), picture(outline, 0.4), Sun(160.0, 40.0))
        assert np.median(share[share > 0.05]) == pytest.approx(0.4, abs=0.02)


@pytest.mark.parametrize("azimuth", [90.0, -90.0, 45.0])
def test_a_post_throws_a_strip_as_broad_as_itself(azimuth: float) -> None:
    """Round and upright, 0.2 m across: so broad is its shadow from any side, and height / tan(elevation) long."""
    height, radius, elevation = 1.4, 0.1, 30.0
    outline = pixels_of(np.array([[-radius, 0, 0], [radius, 0, 0], [radius, 0, height], [-radius, 0, height]]))
    hull = tuple((float(u), float(v)) for u, v in outline)
    rows = tuple((float(a), float(b), float(c), float(d)) for a, b, c, d in own_pixels())
    post = Solid(rows, hull, (0.0, 0.0), 0.0, 2 * radius, 0.0)
    share, grid = map_of(post, picture(outline), Sun(azimuth, elevation))
    broad = share.sum(axis=1) / grid.per_m[0]
    inside = broad > 0.1
    assert np.median(broad[inside]) == pytest.approx(2 * radius, rel=0.08)
    length = inside.sum() / grid.per_m[1]
    assert length == pytest.approx(height / tan(radians(elevation)) + radius, rel=0.05)


@pytest.mark.parametrize("height", [0.2, 0.6, 1.0])
@pytest.mark.parametrize("along", [-0.35, -0.2, -0.03, 0.03, 0.2, 0.35])
def test_what_a_pixel_shows_lies_between_the_sides_that_its_ray_meets(along: float, height: float) -> None:
    """Plain geometry: points of the sides, seen by the eye, and the lines of sight over the plan behind them."""
    left, front, right, behind = (-0.4, 0.2), (0.0, 0.0), (0.4, 0.3), (0.0, 0.6)
    outline = pixels_of(np.array([[*at, z] for at in (left, right) for z in (0.02, 1.2)]))[[0, 1, 3, 2]]
    hull = tuple((float(u), float(v)) for u, v in outline)
    rows = tuple((float(a), float(b), float(c), float(d)) for a, b, c, d in own_pixels())
    solid = Solid(rows, hull, front, 0.0, 9.0, None, ((left, front), (front, right)), ((left, behind), (behind, right)))
    covered = np.zeros((800, 600, 4), np.uint16)
    covered[..., 3] = 65535
    seen = Silhouette(Mips(covered), solid).seen(1e4)
    assert seen.level == 0
    side = right if along > 0 else left
    point = np.array([along, along / side[0] * side[1]])
    u, v = pixels_of(np.array([[*point, height]]))[0]
    _, enters, ends, _ = seen.least_m + seen.step_m * seen.channels[int(v), int(u)].astype(float)
    assert enters == pytest.approx(point[1], abs=0.004)
    frame = frame_of(facing(CONTACT), OWN.position_m)
    eye = (frame.rotation @ (np.array(OWN.position_m) - np.array(frame.origin_m)))[:2]
    leaves = []
    for end in (left, right):
        ray, run = point - eye, np.array(behind) - np.array(end)
        share = np.linalg.solve(np.column_stack([ray, -run]), np.array(end) - eye)[0]
        leaves.append(float((eye + share * ray)[1]))
    assert ends == pytest.approx(min(leaves), abs=0.008)


def test_what_is_as_thin_as_a_sheet_lies_where_it_stands() -> None:
    """A matte without broad parts tells no depth at all."""
    rows = tuple((float(a), float(b), float(c), float(d)) for a, b, c, d in own_pixels())
    solid = Solid(rows, ((0.0, 0.0), (600.0, 0.0), (600.0, 800.0), (0.0, 800.0)), (0.0, 0.0), 0.0, 0.0, 0.3)
    seen = Silhouette(Mips(np.full((800, 600), 65535, np.uint16)), solid).seen(1e4)
    _, near, far, _ = seen.least_m + seen.step_m * seen.channels[400, 300].astype(float)
    assert (near, far) == pytest.approx((0.3, 0.3), abs=1e-3)


@pytest.mark.parametrize("azimuth", [90.0, 150.0, -60.0, 20.0])
@pytest.mark.parametrize(("depth_m", "middle_m", "is_round"), [(0.4, 0.1, True), (2.0, 0.0, True), (0.45, 0.3, False)])
def test_a_trimmed_cut_out_throws_the_same_shadow(
    azimuth: float, depth_m: float, middle_m: float, is_round: bool
) -> None:
    """As one with room around it. What a pixel shows does not depend on where its picture ends (no source needed)."""
    corners = pixels_of(np.array([[-0.2, 0.0, 0.0], [0.2, 0.0, 0.0], [0.2, 0.0, 0.6], [-0.2, 0.0, 0.6]]))
    (left, top), (right, bottom) = np.rint(corners.min(axis=0)), np.rint(corners.max(axis=0))
    alpha = np.full((int(bottom - top), int(right - left)), 65535, np.uint16)
    shares = []
    for room in (0, 24):
        hull = [(room, room), (room + right - left, room), (room + right - left, room + bottom - top)]
        hull.append((room, room + bottom - top))
        moved = np.array([[1, 0, room - left], [0, 1, room - top], [0, 0, 1.0]]) @ own_pixels()
        rows = tuple(tuple(float(value) for value in row) for row in moved)
        outline = tuple((float(u), float(v)) for u, v in hull)
        solid = Solid(rows, outline, (0.0, 0.0), 0.0, depth_m, middle_m, is_round=is_round)
        share, _ = map_of(solid, Mips(np.pad(alpha, room)), Sun(azimuth, 30.0))
        shares.append(share)
    assert shares[0].shape == shares[1].shape and shares[0].max() > 0.9
    assert np.abs(shares[0] - shares[1]).max() < 0.02
