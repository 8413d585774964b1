"""Layers meet as Porter & Duff (1984) and W3C Compositing and Blending Level 1 say."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compositor.pixels import blend

TABLE = (Path(__file__).parents[1] / "reference" / "compositing.csv").read_text().splitlines()
ROWS = list(csv.DictReader(line for line in TABLE if not line.startswith("#")))
OPERATORS = {"blend:normal": blend.over, "pd:source-over": blend.over, "blend:multiply": blend.multiply}
channel = st.floats(0, 1, width=32)
pixel = st.tuples(channel, channel, channel, channel)


def premultiplied(red, green, blue, alpha):
    return np.array([red * alpha, green * alpha, blue * alpha, alpha], np.float32)


def one(values, kind):
    full = 65535 if kind is np.uint16 else 1
    return (np.asarray(values, np.float64) * full + (0.5 if kind is np.uint16 else 0)).astype(kind).reshape(1, 1, 4)


@pytest.mark.parametrize("kind", [np.float32, np.uint16])
@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['op']}-{row['alpha_b']}-{row['alpha_s']}-{row['Cb_r']}")
def test_worked_values_of_the_standard(row, kind):
    below = one(premultiplied(*(float(row[k]) for k in ("Cb_r", "Cb_g", "Cb_b", "alpha_b"))), kind)
    layer = one(premultiplied(*(float(row[k]) for k in ("Cs_r", "Cs_g", "Cs_b", "alpha_s"))), kind)
    OPERATORS[row["op"]](below, layer)
    wanted = [float(row[k]) for k in ("co_r_premul", "co_g_premul", "co_b_premul", "alpha_o")]
    full, tolerance = (65535, 2 / 65535) if kind is np.uint16 else (1, 1e-6)
    np.testing.assert_allclose(below.ravel() / full, wanted, atol=tolerance)


def test_half_white_over_black_is_188_in_srgb():
    """IEC 61966-2-1: linear 0.5 encodes to 188 of 255; blending encoded values would give 128."""
    below = one([0, 0, 0, 1], np.float32)
    blend.over(below, one([0.5, 0.5, 0.5, 0.5], np.float32))
    encoded = 1.055 * float(below[0, 0, 0]) ** (1 / 2.4) - 0.055
    assert round(encoded * 255) == 188


@given(pixel, pixel, pixel)
def test_over_is_associative(a, b, c):
    """Porter & Duff 1984, section 4: A over (B over C) = (A over B) over C."""
    a, b, c = (premultiplied(*p).reshape(1, 1, 4) for p in (a, b, c))
    right = c.copy()
    blend.over(right, b)
    blend.over(right, a)
    a_over_b = b.copy()
    blend.over(a_over_b, a)
    left = c.copy()
    blend.over(left, a_over_b)
    np.testing.assert_allclose(left, right, atol=1e-6)


@given(pixel, pixel)
def test_colour_stays_within_alpha(a, b):
    for operator in (blend.over, blend.multiply):
        below = one(premultiplied(*a), np.uint16)
        layer = one(premultiplied(*b), np.uint16)
        for samples in (below, layer):
            samples[..., :3] = np.minimum(samples[..., :3], samples[..., 3:])
        operator(below, layer)
        assert (below[..., :3].astype(int) <= below[..., 3:].astype(int) + 1).all()


@given(pixel, pixel)
def test_an_empty_layer_changes_nothing_and_an_opaque_one_replaces(a, b):
    for kind in (np.uint16, np.float32):
        below, layer = one(premultiplied(*a), kind), one(premultiplied(*b[:3], 1.0), kind)
        before = below.copy()
        for operator in (blend.over, blend.multiply):
            operator(below, np.zeros_like(below))
            np.testing.assert_array_equal(below, before)
        blend.over(below, layer)
        np.testing.assert_array_equal(below, layer)


@pytest.mark.parametrize("kind", [np.float32, np.uint16])
@pytest.mark.parametrize("size", [(1, 1), (4, 1), (1, 4), (33, 70)])
def test_over_an_opaque_backdrop_the_faster_way_gives_the_same(kind, size):
    full, random = 65535 if kind is np.uint16 else 1, np.random.default_rng(8)
    below, layer = (random.uniform(0, full, (*size, 4)).astype(kind) for _ in range(2))
    below[..., 3], layer[..., :3] = full, np.minimum(layer[..., :3], layer[..., 3:])
    layer[0, 0, 3], layer[-1, -1] = full, 0
    for general, opaque in ((blend.over, blend.over_opaque), (blend.multiply, blend.multiply_opaque)):
        wanted, found = below.copy(), below.copy()
        general(wanted, layer)
        opaque(found, layer)
        step = 1 / 65535 if kind is np.uint16 else 1e-6
        np.testing.assert_allclose(found / full, wanted / full, atol=step * (general is blend.multiply))


def test_masked_scales_all_channels_by_the_coverage():
    cut = blend.masked(one([0.8, 0.4, 0.2, 1.0], np.uint16), np.array([[32768]], np.uint16))
    np.testing.assert_allclose(cut.ravel() / 65535, [0.4, 0.2, 0.1, 0.5], atol=2e-5)
