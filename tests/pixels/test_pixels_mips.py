"""The pyramid keeps geometry and light; doubling keeps samples and makes no halos."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from compositor.pixels.enlarge import doubled
from compositor.pixels.footprint import Window
from compositor.pixels.late_mips import LateMips
from compositor.pixels.mips import Mips, content_box, corner_means, quartered
from compositor.pixels.warp import warp


@settings(deadline=None)
@given(st.integers(1, 40), st.integers(1, 40), st.integers(0, 5))
def test_light_is_kept_on_every_level(width, height, level):
    """Mean times area stays: a padded odd edge is empty, not stretched."""
    samples = np.random.default_rng(width * 41 + height).uniform(0, 1, (height, width, 4)).astype(np.float32)
    shrunk = Mips(samples).level(level)
    assert shrunk.sum() * 4**level == pytest.approx(float(samples.sum()), rel=1e-4)
    assert shrunk.shape[:2] == (-(-height // 2**level), -(-width // 2**level))


def test_a_plate_has_no_transparent_edge_on_any_level():
    assert (Mips(np.full((37, 53, 4), 65535, np.uint16), "replicate").level(5) == 65535).all()


def test_a_cut_may_reach_beyond_the_frame():
    mips = Mips(np.full((3, 4, 4), 7, np.uint16))
    part = mips.cut((-2, 1, 6, 5))
    assert part.shape == (4, 8, 4)
    assert (part[:2, 2:6] == 7).all() and part.sum() == 2 * 4 * 4 * 7


def test_the_box_of_content():
    coverage = np.zeros((9, 12), np.uint16)
    assert content_box(coverage) == (0, 0, 0, 0)
    coverage[2, 3] = coverage[5, 9] = 1
    assert content_box(coverage) == (3, 2, 10, 6)


def _stored(width, height):
    stored = np.random.default_rng(width * 53 + height).integers(0, 256, (height, width, 4), dtype=np.uint8)
    stored[: height // 3, :, 3] = 0
    return stored


def _linear(part, alpha):
    """Made up: each pixel by itself, alpha at 257 times its code, nothing where alpha is empty."""
    wide, share = part.astype(np.uint16), alpha[..., np.newaxis].astype(np.uint16)
    return np.dstack([wide[..., :3] * share, share * np.uint16(257)])


def _put(part, alpha, out, in_quarters):
    linear = _linear(part, alpha)
    out[...] = quartered(linear) if in_quarters else linear


def _pyramids(stored, put=_put):
    """One that makes its samples where they are looked at, and one over all of them."""
    alpha = cv2.extractChannel(stored, 3)
    return LateMips(stored, put, alpha), Mips(_linear(stored, alpha))


@settings(deadline=None, max_examples=30)
@given(st.integers(1, 40), st.integers(1, 200))
def test_a_late_pyramid_is_the_same_as_one_over_all_samples(width, height):
    stored = _stored(width, height)
    late, whole = _pyramids(stored)
    assert (late.size_px, late.channels, late.dtype) == (whole.size_px, whole.channels, whole.dtype)
    assert late.content_px == whole.content_px
    for level in (*range(1, whole.deepest + 1), 0):
        np.testing.assert_array_equal(late.coverage(level), whole.coverage(level))
        np.testing.assert_array_equal(late.level(level), whole.level(level))


def test_parts_of_a_late_pyramid_are_made_until_they_add_up():
    stored, asked = _stored(150, 120), []

    def put(part, *rest):
        asked.append(part.shape[:2])
        _put(part, *rest)

    late, whole = _pyramids(stored, put)
    for box in [(0, 0, 150, 60), (10, 20, 30, 44), (0, 0, 150, 120), (5, 5, 9, 9), (0, 100, 150, 120)]:
        np.testing.assert_array_equal(late.part(box), whole.part(box))
    assert asked == [(60, 150), (24, 20), (120, 150)]


def test_a_late_pyramid_that_was_let_go_is_opened_again_only_for_samples_that_are_not_there():
    stored, opened = _stored(150, 120), []

    def again():
        opened.append(1)
        return stored.copy()

    alpha = cv2.extractChannel(stored, 3)
    late, whole = LateMips(stored, _put, alpha, again), Mips(_linear(stored, alpha))
    known = late.level(1), late.held_bytes
    late.let_go()
    assert (late.size_px, late.content_px, late.held_bytes) == (whole.size_px, whole.content_px, known[1])
    for level in (0, 1, 3):
        np.testing.assert_array_equal(late.coverage(level), whole.coverage(level))
    np.testing.assert_array_equal(late.level(2), whole.level(2))
    assert not opened
    for box in [(10, 20, 30, 44), (0, 0, 150, 120), (5, 5, 9, 9)]:
        np.testing.assert_array_equal(late.part(box), whole.part(box))
    np.testing.assert_array_equal(late.level(0), whole.level(0))
    assert len(opened) == 1
    forever, _ = _pyramids(stored)
    forever.let_go()
    np.testing.assert_array_equal(forever.part((0, 0, 150, 120)), whole.part((0, 0, 150, 120)))


def test_means_of_a_late_pyramid_are_those_of_one_over_all_samples_in_whatever_order_somebody_looks():
    stored = _stored(150, 120)
    everywhere = (0, 0, 151, 121)
    for pixels_at in range(4):  # when pixels are asked for until all of them are made
        late, whole = _pyramids(stored)
        expected = whole.means(everywhere)
        for turn in range(4):
            for _ in range(2 if turn == pixels_at else 0):
                np.testing.assert_array_equal(late.part((0, 0, 150, 120)), whole.part((0, 0, 150, 120)))
            for left, top, right, bottom in [(0, 0, 90, 121), (20, 3, 151, 118), (149, 119, 151, 121)]:
                np.testing.assert_array_equal(late.means((left, top, right, bottom)), expected[top:bottom, left:right])
        late.let_go()
        np.testing.assert_array_equal(late.means(everywhere), expected)
        np.testing.assert_array_equal(late.means((0, 0, 76, 61), 1), whole.means((0, 0, 76, 61), 1))


def test_all_means_of_a_late_pyramid_are_made_once_somebody_asked_for_more_than_there_are():
    stored, asked = _stored(150, 120), []

    def put(part, alpha, out, in_quarters):
        asked.append((part.shape[0] * part.shape[1], in_quarters))
        _put(part, alpha, out, in_quarters)

    late, _ = _pyramids(stored, put)
    for _ in range(2):
        late.means((0, 0, 151, 121))
    made = len(asked)
    assert all(quarters for _, quarters in asked) and sum(px for px, _ in asked) < 2.1 * 150 * 120
    for _ in range(3):
        late.means((3, 5, 151, 120))
    assert len(asked) == made


@pytest.mark.parametrize("turned_deg", [0, 30, 90])
@pytest.mark.parametrize("scale", [0.13, 0.2, 0.3, 0.45, 0.7, 1.1])
def test_a_late_pyramid_warps_as_one_over_all_samples(turned_deg, scale):
    stored = _stored(150, 120)
    late, whole = _pyramids(stored)
    cos, sin = scale * np.cos(np.radians(turned_deg)), scale * np.sin(np.radians(turned_deg))
    homography = np.array([[cos, -sin, 60], [sin, cos, 4], [1e-4, 2e-4, 1]])
    for _ in range(3):  # by parts, and from all of it
        window = Window(-20, 0, 200, 150)
        np.testing.assert_array_equal(warp(late, homography, window), warp(whole, homography, window))


@pytest.mark.parametrize("kind", [np.uint16, np.float32])
def test_means_at_corners_are_those_of_the_four_pixels_around(kind):
    samples = (np.random.default_rng(5).uniform(0, 1, (7, 9, 4)) * (65535 if kind == np.uint16 else 1)).astype(kind)
    wide = samples.astype(np.float64)
    expected = (wide[:-1, :-1] + wide[1:, :-1] + wide[:-1, 1:] + wide[1:, 1:]) / 4
    np.testing.assert_allclose(corner_means(samples), expected, atol=1.0 if kind == np.uint16 else 1e-7)
    full = np.full((4, 5), np.iinfo(np.uint16).max, np.uint16)
    assert (corner_means(full) == full[1:, 1:]).all()


@pytest.mark.parametrize("channels", [(), (4,)])
@pytest.mark.parametrize("kind", [np.uint16, np.float32])
@pytest.mark.parametrize("edge", ["transparent", "replicate"])
def test_means_of_a_pyramid_go_one_corner_beyond_its_pixels(kind, edge, channels):
    full = 65535 if kind == np.uint16 else 1
    samples = (np.random.default_rng(5).uniform(0, 1, (200, 90, *channels)) * full).astype(kind)
    mode = {"mode": "edge"} if edge == "replicate" else {"mode": "constant"}
    wide = np.pad(samples.astype(np.float64), ((1, 1), (1, 1), *[(0, 0) for _ in channels]), **mode)
    expected = (wide[:-1, :-1] + wide[1:, :-1] + wide[:-1, 1:] + wide[1:, 1:]) / 4
    means = Mips(samples, edge).means((0, 0, 91, 201))
    np.testing.assert_allclose(means, expected, atol=2.0 if kind == np.uint16 else 1e-7)
    assert abs(float((means - expected).mean())) < 0.02 * full / 65535
    np.testing.assert_array_equal(Mips(samples, edge).means((3, 0, 80, 5)), means[0:5, 3:80])
    assert (Mips(np.full((4, 5), full, kind), edge).means((1, 1, 5, 4)) == full).all()


@pytest.mark.parametrize("level", [0, 1, 3])
@pytest.mark.parametrize("edge", ["transparent", "replicate"])
def test_a_part_of_a_level_goes_on_beyond_its_frame_as_its_edge_asks_for(level, edge):
    mips = Mips(np.random.default_rng(6).integers(1, 65535, (21, 30, 4), dtype=np.uint16), edge)
    samples = mips.level(level)
    width, height = mips.size_of(level)
    assert samples.shape[:2] == (height, width)
    mode = {"mode": "edge"} if edge == "replicate" else {"mode": "constant"}
    expected = np.pad(samples, ((2, 1), (3, 4), (0, 0)), **mode)
    np.testing.assert_array_equal(mips.cut((-3, -2, width + 4, height + 1), level), expected)
    np.testing.assert_array_equal(mips.cut((0, 0, width, height), level), samples)


def test_doubling_keeps_samples_and_reproduces_a_curve():
    """Six-point Lagrange interpolation is exact for polynomials up to the fifth degree (Schafer & Rabiner 1973)."""
    x = np.arange(16, dtype=np.float64)

    def curve(t):
        return 0.9 * ((t + 2) / 18) ** 5

    source = np.repeat(np.repeat(curve(x)[None, :, None], 8, axis=0), 4, axis=2).astype(np.float32)
    result = doubled(source)
    np.testing.assert_array_equal(result[::2, ::2], source)
    np.testing.assert_allclose(result[6, 4:-4, 0], curve(np.arange(31) / 2)[4:-4], atol=1e-6)


def test_doubling_keeps_the_contrast_of_fine_texture():
    """A wave of four pixels caught at its worst phase, + + − −, rises above its samples again (to 0.95 of 1)."""
    wave = np.tile([0.5 + 0.25, 0.5 + 0.25, 0.5 - 0.25, 0.5 - 0.25], 6)
    source = np.repeat(np.repeat(wave[None, :, None], 8, axis=0), 4, axis=2).astype(np.float32)
    source[..., 3] = 1.0
    assert doubled(source)[5, 9:-9, 0].max() == pytest.approx(0.5 + 0.25 * 1.344, abs=1e-3)


@pytest.mark.parametrize("kind", [np.uint16, np.float32])
def test_doubling_gives_hard_edges_no_halo(kind):
    source = np.zeros((10, 10, 4), kind)
    source[:, 5:] = 50000 if kind is np.uint16 else 0.75
    source[..., 3] = 65535 if kind is np.uint16 else 1.0
    result = doubled(source)[..., 0]
    assert (result[:, :9] == 0).all() and (result[:, 10:] == source[0, 9, 0]).all()
    assert np.all(np.diff(result.astype(float), axis=1) >= 0)
