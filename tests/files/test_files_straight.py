"""Straight 8-bit samples as premultiplied light, against every code under every alpha worked out in float64."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from compositor.colour.curves import Parametric
from compositor.colour.space import SRGB
from compositor.files.straight import premultiply

UNLIKE = replace(SRGB, curves=(Parametric(1.8), SRGB.curves[1], Parametric(2.4)))
ALPHA, CODES = (grid.astype(np.uint8) for grid in np.mgrid[:256, :256])
SPACES = pytest.mark.parametrize("space", [SRGB, UNLIKE], ids=["one curve", "three curves"])


def premultiplied(space, samples, in_quarters=False):
    result = np.full(samples.shape, 77, np.uint16)
    premultiply(space, samples, np.ascontiguousarray(samples[..., 3]), result, in_quarters)
    return result


@SPACES
def test_every_code_under_every_alpha(space):
    samples = np.dstack([CODES, CODES, CODES, ALPHA])
    result = premultiplied(space, samples)
    for channel, curve in enumerate(space.curves):
        opaque = result[255, :, channel].astype(np.float64)
        wanted = 65535 * curve.to_linear(np.arange(256) / 255)
        assert np.abs(opaque - wanted)[wanted > 256].max() < 0.501  # darker codes are kept apart from each other
        assert np.abs(result[..., channel] - opaque * ALPHA / 255).max() < 0.51  # products in float32
    np.testing.assert_array_equal(result[..., 3], ALPHA.astype(np.uint16) * 257)


@SPACES
def test_quarters_are_a_quarter_of_what_is_given(space):
    samples = np.dstack([CODES, CODES[:, ::-1], CODES, ALPHA])
    whole, quarters = premultiplied(space, samples), premultiplied(space, samples, in_quarters=True)
    np.testing.assert_array_equal(quarters, np.rint(whole / 4))


@settings(deadline=None, max_examples=30)
@given(st.integers(1, 300), st.integers(1, 200), st.booleans(), st.booleans(), st.integers(0, 1000))
def test_a_pixel_is_the_same_wherever_it_stands(width, height, in_quarters, one_curve, seed):
    """Among runs of empty, full and soft columns, in a part of a larger picture."""
    random, space = np.random.default_rng(seed), SRGB if one_curve else UNLIKE
    samples = random.integers(0, 256, (height, width + 2, 4), dtype=np.uint8)
    ends = np.sort(random.integers(0, width + 2, 5))
    for first, end, alpha in zip(ends[:-1], ends[1:], random.permutation([0, 255, 255, 0]), strict=True):
        samples[:, first:end, 3] = alpha
    samples = samples[:, 1:-1]
    alike = [premultiplied(space, np.dstack([CODES, CODES, CODES, ALPHA]), in_quarters)[..., c] for c in range(4)]
    alpha = samples[..., 3]
    expected = np.dstack([alike[c][alpha, samples[..., c]] for c in range(4)])
    np.testing.assert_array_equal(premultiplied(space, samples, in_quarters), expected)
