"""The pyramid keeps geometry and light; doubling keeps samples and makes no halos."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from compositor.pixels.enlarge import doubled
from compositor.pixels.mips import Mips, content_box


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
    part = mips.cut(-2, 1, 6, 5)
    assert part.shape == (4, 8, 4)
    assert (part[:2, 2:6] == 7).all() and part.sum() == 2 * 4 * 4 * 7


def test_the_box_of_content():
    coverage = np.zeros((9, 12), np.uint16)
    assert content_box(coverage) == (0, 0, 0, 0)
    coverage[2, 3] = coverage[5, 9] = 1
    assert content_box(coverage) == (3, 2, 10, 6)


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
