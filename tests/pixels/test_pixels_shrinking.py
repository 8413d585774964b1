"""Smaller views: antialiased, sharp, and true to a part of a pixel, whoever looked before."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference_sampling import aliasing, as_uint16, box_reference, photo_like, psnr_db, zone_plate

from compositor.pixels.footprint import Window
from compositor.pixels.shrinking import Grid, Shrunk, looks_for
from compositor.pixels.softened import Softened

SIZE_PX = 600
STEPS = [1.3, 1.6, 2.0, 2.02, 3.1, 4.4, 8.7, 11.0]


def softened(samples, kept=False):
    size_px = samples.shape[1], samples.shape[0]
    return Softened(size_px, lambda box: samples[box[1] : box[3], box[0] : box[2]], kept)


def shown(samples, grid, rows, kept=False):
    shrunk = Shrunk(softened(samples, kept), grid)
    tops = range(0, rows, shrunk.rows_at_once)
    return np.concatenate([shrunk.rows(top, min(top + shrunk.rows_at_once, rows)) for top in tops])


def inner(step):
    """A grid well inside the picture, what places it for the references, and its size."""
    left, top = 13.37, 11.81
    count = int((SIZE_PX - 26) / step)
    homography = np.array([[1 / step, 0, -left / step], [0, 1 / step, -top / step], [0, 0, 1.0]])
    return Grid(left, top, step, count), homography, Window(0, 0, count, count)


def brute_force(samples, step, homography, window):
    """Looks at most a quarter of a source pixel apart where it is shown large."""
    return box_reference(samples, homography, window, 8 if step <= 2.02 else 16)


@pytest.fixture(scope="module")
def photo():
    return photo_like(SIZE_PX)


@pytest.fixture(scope="module")
def zone():
    return zone_plate(SIZE_PX)


@pytest.mark.parametrize("step", STEPS)
def test_photographs_match_brute_force(photo, step):
    """At least 52 dB against the mean of many looks per output pixel."""
    grid, homography, window = inner(step)
    truth = brute_force(photo, step, homography, window)
    assert psnr_db(shown(as_uint16(photo), grid, window.height) / 65535, truth) >= 52
    assert psnr_db(shown(photo.astype(np.float32), grid, window.height), truth) >= 52


@pytest.mark.parametrize("step", STEPS)
def test_zone_plates_alias_no_more_than_brute_force(zone, step):
    """Alias energy (reference_sampling.aliasing) at most 1.3 × that of the mean over many looks."""
    grid, homography, window = inner(step)
    truth = aliasing(brute_force(zone[..., :1], step, homography, window), homography, window, SIZE_PX)
    result = shown(as_uint16(zone), grid, window.height) / 65535
    assert aliasing(result, homography, window, SIZE_PX) <= 1.3 * truth


@pytest.mark.parametrize("step", [1.26, 1.6, 1.87, 2.0, 2.4, 4.7, 7.7, 9.3, 18.2])
@pytest.mark.parametrize("size", [257, 300, 301])
def test_nothing_moves_by_a_hundredth_of_a_pixel(step, size):
    """The centroid of a disc in one channel is where it belongs: no shift by half a pixel, odd sizes included."""
    y, x = np.mgrid[:size, :size] + 0.5
    centre = size * 0.43, size * 0.52
    disc = np.clip(size * 0.3 - np.hypot(x - centre[0], y - centre[1]) + 0.5, 0, 1).astype(np.float32)
    grid = Grid(-5.37, -2.81, step, int(size / step) + 8)
    result = shown(disc, grid, int(size / step) + 8).astype(np.float64)
    y, x = np.mgrid[: result.shape[0], : result.shape[1]] + 0.5
    found = (result * x).sum() / result.sum(), (result * y).sum() / result.sum()
    np.testing.assert_allclose(found, ((centre[0] + 5.37) / step, (centre[1] + 2.81) / step), atol=0.01)
    assert result.sum() == pytest.approx(np.pi * (size * 0.3 / step) ** 2, rel=0.003)


@given(step=st.floats(1.26, 40.0), left=st.floats(-30, 40), top=st.floats(-30, 40))
def test_what_was_looked_at_before_changes_nothing(step, left, top):
    """Kept means are those that are made for one view, bit by bit, on every level and beyond the frame."""
    samples = np.random.default_rng(7).integers(0, 65536, (75, 131, 4), np.uint16)
    kept, grid = softened(samples, kept=True), Grid(left, top, step, 12)
    first = Shrunk(kept, Grid(top, left, 1.9, 20)).rows(3, 14)
    once = Shrunk(softened(samples), grid).rows(0, 9)
    np.testing.assert_array_equal(Shrunk(kept, grid).rows(0, 9), once)
    np.testing.assert_array_equal(Shrunk(kept, Grid(top, left, 1.9, 20)).rows(3, 14), first)


@given(step=st.floats(1.26, 40.0), left=st.floats(-60, 90))
def test_a_plain_picture_stays_plain_to_its_edge_and_beyond(step, left):
    result = shown(np.full((33, 47), 40000, np.uint16), Grid(left, -left, step, 30), 20)
    assert result.shape == (20, 30) and (result == 40000).all()


@given(st.floats(1.26, 400.0))
def test_looks_spread_as_far_as_the_pixel(step):
    """In the mean of squares: a box of its step and a tent (independent variances add up), in px of the level."""
    looks = looks_for(step)
    if len(looks.offsets) == 1:
        assert 1.6 <= step <= 2.0
        return
    scale = 2.0**looks.level
    halving = (scale**2 - 1) / 12 / scale**2  # of the whole numbers 0 … scale − 1
    own = halving + 1 / 6 + (1 / 4 if looks.softened else 0)
    assert np.mean(np.square(looks.offsets)) + own == pytest.approx((step**2 / 12 + 1 / 6) / scale**2)
    assert max(np.diff(looks.offsets)) <= 2.2 and len(looks.offsets) <= 4


def test_a_panorama_wider_than_a_signed_short_is_shown():
    ramp = np.linspace(0, 1, 40_000, dtype=np.float32)
    result = shown(np.tile(ramp, (8, 1)), Grid(0, 0, 4.0, 10_000), 2)
    np.testing.assert_allclose(result[0], ramp.reshape(-1, 4).mean(axis=1), atol=1e-5)
