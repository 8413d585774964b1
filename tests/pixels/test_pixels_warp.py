"""Warps: antialiased, sharp, without fringes, and true to a part of a pixel."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference_sampling import (
    aliasing,
    as_uint16,
    box_reference,
    photo_like,
    placed,
    psnr_db,
    window_of,
    zone_plate,
)

from compositor.pixels.footprint import SOFT_FROM, Window
from compositor.pixels.mips import Mips
from compositor.pixels.warp import warp

SIZE_PX = 600


def scaling(scale, left=0.0, top=0.0):
    return np.array([[scale, 0, left], [0, scale, top], [0, 0, 1.0]])


def disc(size, radius, centre=None, colour=(1.0, 1.0, 1.0), hidden=(0.0, 0.0, 0.0)):
    """A straight-alpha disc with an edge of one pixel, made premultiplied the way an opened cut-out is."""
    cx, cy = centre or (size / 2, size / 2)
    y, x = np.mgrid[:size, :size] + 0.5
    alpha = np.clip(radius - np.hypot(x - cx, y - cy) + 0.5, 0, 1)[..., None]
    straight = np.where(alpha > 0, np.array(colour), np.array(hidden))
    return np.concatenate([straight * alpha, alpha], axis=2)


@pytest.mark.parametrize("scale", [0.26, 0.3, 0.42, 0.49, 0.6])
def test_shrunk_photographs_match_brute_force(scale):
    """At least 52 dB against the mean of 16 × 16 looks per output pixel."""
    photo = photo_like(SIZE_PX)
    homography = placed(scale)
    window = window_of(homography, (SIZE_PX, SIZE_PX))
    truth = box_reference(photo, homography, window)
    assert psnr_db(warp(Mips(as_uint16(photo)), homography, window) / 65535, truth) >= 52
    assert psnr_db(warp(Mips(photo.astype(np.float32)), homography, window), truth) >= 52


@pytest.mark.parametrize("scale", [0.26, 0.3, 0.42, 0.49, 0.6])
def test_shrunk_zone_plates_alias_no_more_than_brute_force(scale):
    """Alias energy (reference_sampling.aliasing) at most 1.3 × that of the mean over 16 × 16 looks."""
    zone = zone_plate(SIZE_PX)
    homography = placed(scale)
    window = window_of(homography, (SIZE_PX, SIZE_PX))
    truth = aliasing(box_reference(zone, homography, window), homography, window, SIZE_PX)
    assert aliasing(warp(Mips(as_uint16(zone)), homography, window) / 65535, homography, window, SIZE_PX) <= 1.3 * truth


@pytest.mark.parametrize("footprint_px", [SOFT_FROM, 2.0, 3.0])
def test_tiles_side_by_side_that_are_sampled_in_two_ways_look_alike(footprint_px):
    """At least 53 dB between the two, on either side of a change: no seam shows."""
    mips, window = Mips(as_uint16(photo_like(300))), Window(0, 0, 150, 150)
    finer, coarser = (warp(mips, scaling(1 / (footprint_px + by), 3.3, 2.7), window) / 65535 for by in (-1e-4, 1e-4))
    assert psnr_db(finer, coarser) >= 53


def test_a_floor_graphic_at_a_grazing_angle_keeps_its_stripes_without_aliasing():
    """Squeezed 5 : 1 and more in depth: stripes in depth stay crisp, stripes across turn grey, as by brute force."""
    y, x = np.mgrid[:512, :512]
    checks = np.where(((x // 8) + (y // 8)) % 2 == 0, 0.9, 0.1)
    floor = np.dstack([checks, np.where((x // 16) % 2 == 0, 0.9, 0.1), checks, np.ones_like(checks)])
    homography = np.array([[0.8, -0.75, 300.0], [0.0, -0.02, 60.0], [0.0, -0.0015, 1.0]])
    window = Window(0, 0, 700, 75)
    truth = box_reference(floor, homography, window)
    result = warp(Mips(as_uint16(floor)), homography, window) / 65535
    assert psnr_db(result, truth) >= 38
    assert truth[..., 3].max() == pytest.approx(1.0)


@pytest.mark.parametrize("kind", [np.uint16, np.float32])
def test_a_shift_by_whole_pixels_is_an_exact_copy(kind):
    rng = np.random.default_rng(3)
    alpha = rng.uniform(0, 1, (90, 130, 1))
    source = np.concatenate([rng.uniform(0, 1, (90, 130, 3)) * alpha, alpha], axis=2)
    source = as_uint16(source) if kind is np.uint16 else source.astype(np.float32)
    result = warp(Mips(source), scaling(1.0, 7, -3), Window(0, 0, 150, 100))
    np.testing.assert_array_equal(result[:87, 7:137], source[3:])
    assert not result[:, :7].any() and not result[:, 137:].any() and not result[87:].any()


@pytest.mark.parametrize("scale", [0.13, 0.3, 0.42, 0.5, 0.77, 0.9, 1.0, 1.31, 2.0, 3.7])
@pytest.mark.parametrize("size", [257, 300, 301])
def test_nothing_moves_by_a_hundredth_of_a_pixel(scale, size):
    """The centroid of a disc is where the homography puts its centre: no half-pixel shift, odd sizes included."""
    centre = (size * 0.43, size * 0.52)
    mips = Mips(disc(size, size * 0.3, centre).astype(np.float32))
    result = warp(mips, scaling(scale, 5.37, 2.81), Window(0, 0, int(size * scale) + 12, int(size * scale) + 8))
    alpha = result[..., 3].astype(np.float64)
    y, x = np.mgrid[: alpha.shape[0], : alpha.shape[1]] + 0.5
    found = ((alpha * x).sum() / alpha.sum(), (alpha * y).sum() / alpha.sum())
    np.testing.assert_allclose(found, (centre[0] * scale + 5.37, centre[1] * scale + 2.81), atol=0.01)
    assert alpha.sum() == pytest.approx(np.pi * (size * 0.3 * scale) ** 2, rel=0.003)


@pytest.mark.parametrize("scale", [0.35, 0.6, 0.95, 1.2, 2.5])
def test_a_smooth_function_is_warped_to_its_analytic_value(scale):
    size = 240
    y, x = np.mgrid[:size, :size] + 0.5

    def value(u, v):
        return 0.5 + 0.2 * np.sin(u * 0.07) + 0.2 * np.cos(v * 0.05)

    grey = value(x, y)
    source = np.dstack([grey, grey, grey, np.ones_like(grey)])
    homography = placed(scale, 3e-4)
    window = window_of(homography, (size, size))
    result = warp(Mips(source.astype(np.float32)), homography, window)
    back = np.linalg.inv(homography)
    v, u = np.mgrid[: window.height, : window.width] + 0.5
    target = np.stack([u.ravel() + window.left, v.ravel() + window.top, np.ones(u.size)])
    mapped = back @ target
    at = (mapped[:2] / mapped[2]).reshape(2, *u.shape)
    inside = ((at > 12) & (at < size - 12)).all(axis=0)
    assert inside.sum() > 1000
    assert np.abs(result[..., 0][inside] - value(*at)[inside]).max() < 0.004 / min(scale, 1) ** 2


@pytest.mark.parametrize("scale", [0.11, 0.3, 0.42, 0.6, 0.85, 1.0, 1.4, 2.3])
def test_a_white_disc_on_white_leaves_no_dark_pixel(scale):
    """An edge that picks up the black under transparent pixels would draw a grey ring; none is darker than 254."""
    result = warp(Mips(as_uint16(disc(200, 80.3))), scaling(scale, 3.3, 2.7), Window(0, 0, 480, 480)).astype(float)
    linear = result[..., :3] / 65535 + (1 - result[..., 3:] / 65535)
    encoded = 1.055 * np.clip(linear, 0.01, 1) ** (1 / 2.4) - 0.055  # IEC 61966-2-1
    assert np.rint(encoded * 255).min() >= 254
    assert result[..., 3].max() == 65535


@pytest.mark.parametrize("scale", [0.15, 0.42, 0.9, 1.0, 1.7])
def test_colour_under_transparent_pixels_never_shows(scale):
    """A flat disc keeps its colour to the last edge pixel, whatever colour its transparent pixels hide."""
    colour = (0.2, 0.55, 0.1)
    results = [
        warp(Mips(as_uint16(disc(220, 90.4, colour=colour, hidden=hidden))), placed(scale), Window(0, 0, 380, 380))
        for hidden in ((1, 1, 1), (0, 0, 0), (1, 0, 1))
    ]
    np.testing.assert_array_equal(results[0], results[1])
    np.testing.assert_array_equal(results[0], results[2])
    alpha = results[0][..., 3:] / 65535
    seen = alpha[..., 0] > 1 / 255
    recovered = (results[0][..., :3] / 65535)[seen] / alpha[seen]
    assert np.abs(recovered - colour).max() <= 1 / 255
    assert (alpha[seen] < 0.5).any()


@pytest.mark.parametrize("scale", [0.35, 0.7, 1.0, 1.9])
def test_the_frame_edge_of_an_opaque_picture_is_antialiased_without_a_fringe(scale):
    source = np.full((121, 121, 4), 65535, np.uint16)
    source[..., :3] = (52000, 9000, 30000)
    result = warp(Mips(source), placed(scale, 2e-4), Window(0, 0, 260, 260)).astype(float)
    alpha = result[..., 3] / 65535
    partly = (alpha > 0.02) & (alpha < 0.98)
    assert partly.any()
    recovered = result[..., :3][partly] / alpha[partly][:, None]
    assert np.abs(recovered - (52000, 9000, 30000)).max() < 65535 / 255
    corners = np.array([[0, 0, 1], [121, 0, 1], [121, 121, 1], [0, 121, 1.0]]) @ placed(scale, 2e-4).T
    (x, y), shift = (corners[:, :2] / corners[:, 2:]).T, [1, 2, 3, 0]
    area = 0.5 * abs(np.sum(x * y[shift] - x[shift] * y))  # the shoelace formula
    assert alpha.sum() == pytest.approx(area, rel=0.003)


def test_a_checkerboard_shrunk_to_flat_is_188_in_srgb():
    """Half black, half white is linear 0.5, which is 188 of 255 (IEC 61966-2-1); encoded averaging gives 128."""
    y, x = np.mgrid[:256, :256]
    checks = np.repeat(((x + y) % 2).astype(float)[..., None], 4, axis=2)
    checks[..., 3] = 1.0
    result = warp(Mips(as_uint16(checks)), scaling(0.1), Window(2, 2, 20, 20)) / 65535
    encoded = 255 * (1.055 * result[..., 0] ** (1 / 2.4) - 0.055)
    assert np.abs(encoded - 188).max() <= 1


def test_what_lies_behind_the_camera_stays_empty():
    """Ground from behind the camera would come back upside down above the horizon."""
    floor = np.full((200, 200, 4), 65535, np.uint16)
    homography = np.array([[1.0, 0.5, 20.0], [0.0, 0.2, 80.0], [0.0, 0.01, -0.5]])  # in front from row 50 on
    result = warp(Mips(floor), homography, Window(0, -200, 300, 700))
    horizon = 200 + 20  # rows of the window above the vanishing line v = 20
    assert not result[: horizon + 1].any()
    assert (result[horizon + 40 :, :, 3] == 65535).any()


def test_what_lies_behind_the_camera_stays_empty_right_beside_what_does_not():
    """The same floor so small that its mirage falls into the same tile."""
    homography = np.array([[0.05, 0.025, 1.0], [0.0, 0.01, 4.0], [0.0, 0.01, -0.5]])
    result = warp(Mips(np.full((200, 200, 4), 65535, np.uint16)), homography, Window(-16, -16, 32, 32))
    assert not result[:17].any()  # the vanishing line is row 16 + 1; the mirage would fill rows 0 to 8
    assert (result[24:, 14:, 3] == 65535).any()


def test_any_number_of_threads_gives_the_same_bytes():
    photo = photo_like(300)
    for kind in (as_uint16(photo), photo.astype(np.float32)):
        for scale in (0.4, 1.1):
            one, two, five = (
                warp(Mips(kind), placed(scale), window_of(placed(scale), (300, 300)), threads) for threads in (1, 2, 5)
            )
            np.testing.assert_array_equal(one, two)
            np.testing.assert_array_equal(one, five)


@settings(max_examples=25, deadline=None)
@given(
    st.floats(0.1, 3),
    st.floats(0.1, 3),
    st.floats(-3.1, 3.1),
    st.floats(-2e-3, 2e-3),
    st.sampled_from([np.uint16, np.float32]),
    st.integers(0, 100),
)
def test_colour_stays_within_alpha_and_alpha_within_one(across, down, turn, perspective, kind, seed):
    """Kernels with negative lobes would break it; bright specks appear when the colour is divided by its alpha."""
    rng = np.random.default_rng(seed)
    alpha = rng.choice([0.0, 0.3, 1.0], (40, 50, 1))
    source = np.concatenate([rng.choice([0.0, 1.0], (40, 50, 3)) * alpha, alpha], axis=2)
    source = as_uint16(source) if kind is np.uint16 else source.astype(np.float32)
    c, s = np.cos(turn), np.sin(turn)
    homography = np.array([[across * c, -down * s, 50], [across * s, down * c, 50], [perspective, perspective, 1.0]])
    result = warp(Mips(source), homography, Window(0, 0, 100, 100))
    assert np.isfinite(result).all() and result.min() >= 0
    assert result.max() <= (65535 if kind is np.uint16 else 1.0 + 1e-6)
    slack = 0 if kind is np.uint16 else 1e-6
    assert (result[..., :3].astype(float) <= result[..., 3:].astype(float) + slack).all()
