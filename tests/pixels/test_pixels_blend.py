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
OPAQUE = [row for row in ROWS if float(row["alpha_b"]) == 1.0]
channel = st.floats(0, 1, width=32)
pixel = st.tuples(channel, channel, channel, channel)


def over(below, layer):
    """Porter & Duff 1984, source-over; the product blends over opaque plates only."""
    return layer + below * (1 - layer[..., 3:])


def multiplied(below, layer):
    """W3C Compositing and Blending Level 1, multiply: co = cs·(1 − ab) + cb·(1 − as) + cs·cb."""
    mixed = layer * (1 - below[..., 3:]) + below * (1 - layer[..., 3:]) + layer * below
    return np.concatenate([mixed[..., :3], over(below, layer)[..., 3:]], axis=-1)


TRUE = {"blend:normal": over, "pd:source-over": over, "blend:multiply": multiplied}
OURS = {over: blend.over_opaque, multiplied: blend.multiply_opaque}


def premultiplied(red, green, blue, alpha):
    return np.array([red * alpha, green * alpha, blue * alpha, alpha], np.float32)


def one(values, kind):
    full = 65535 if kind is np.uint16 else 1
    return (np.asarray(values, np.float64) * full + (0.5 if kind is np.uint16 else 0)).astype(kind).reshape(1, 1, 4)


def pixels_of(row, kind):
    """Below, layer and what they make, of a row of the table."""
    below, layer = (
        one(premultiplied(*(float(row[k]) for k in names)), kind)
        for names in (("Cb_r", "Cb_g", "Cb_b", "alpha_b"), ("Cs_r", "Cs_g", "Cs_b", "alpha_s"))
    )
    return below, layer, [float(row[k]) for k in ("co_r_premul", "co_g_premul", "co_b_premul", "alpha_o")]


@pytest.mark.parametrize("kind", [np.float32, np.uint16])
@pytest.mark.parametrize("row", OPAQUE, ids=lambda row: f"{row['op']}-{row['alpha_s']}-{row['Cb_r']}")
def test_worked_values_of_the_standard(row, kind):
    below, layer, wanted = pixels_of(row, kind)
    OURS[TRUE[row["op"]]](below, layer)
    full, tolerance = (65535, 2 / 65535) if kind is np.uint16 else (1, 1e-6)
    np.testing.assert_allclose(below.ravel() / full, wanted, atol=tolerance)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['op']}-{row['alpha_b']}-{row['alpha_s']}-{row['Cb_r']}")
def test_what_these_tests_take_as_true(row):
    """The standard's values for backdrops of every kind."""
    below, layer, wanted = pixels_of(row, np.float32)
    np.testing.assert_allclose(TRUE[row["op"]](below, layer).ravel(), wanted, atol=1e-6)


def test_half_white_over_black_is_188_in_srgb():
    """IEC 61966-2-1: linear 0.5 encodes to 188 of 255; blending encoded values would give 128."""
    below = one([0, 0, 0, 1], np.float32)
    blend.over_opaque(below, one([0.5, 0.5, 0.5, 0.5], np.float32))
    encoded = 1.055 * float(below[0, 0, 0]) ** (1 / 2.4) - 0.055
    assert round(encoded * 255) == 188


@given(pixel, pixel, pixel)
def test_over_is_associative(a, b, c):
    """Porter & Duff 1984, section 4: A over (B over C) = (A over B) over C."""
    a, b, c = premultiplied(*a), premultiplied(*b), premultiplied(*c[:3], 1.0)
    a, b, c = (each.reshape(1, 1, 4) for each in (a, b, c))
    step_by_step, at_once = c.copy(), c.copy()
    blend.over_opaque(step_by_step, b)
    blend.over_opaque(step_by_step, a)
    blend.over_opaque(at_once, over(b, a))
    np.testing.assert_allclose(at_once, step_by_step, atol=1e-6)


@given(pixel, pixel)
def test_what_is_opaque_stays_so(a, b):
    for kind, full in ((np.uint16, 65535), (np.float32, 1)):
        below, layer = one(premultiplied(*a[:3], 1.0), kind), one(premultiplied(*b), kind)
        layer[..., :3] = np.minimum(layer[..., :3], layer[..., 3:])
        blend.over_opaque(below, layer)
        np.testing.assert_allclose(below[..., 3] / full, 1.0, atol=1e-6)


@given(pixel, pixel)
def test_an_empty_layer_changes_nothing_and_an_opaque_one_replaces(a, b):
    for kind in (np.uint16, np.float32):
        below, layer = one(premultiplied(*a[:3], 1.0), kind), one(premultiplied(*b[:3], 1.0), kind)
        before = below.copy()
        for operator in OURS.values():
            operator(below, np.zeros_like(below))
            np.testing.assert_array_equal(below[..., :3], before[..., :3])
        blend.over_opaque(below, layer)
        np.testing.assert_array_equal(below, layer)


@pytest.mark.parametrize("kind", [np.float32, np.uint16])
@pytest.mark.parametrize("size", [(1, 1), (4, 1), (1, 4), (33, 70)])
def test_blending_keeps_to_the_standard_in_pictures_of_every_size(kind, size):
    full, random = 65535 if kind is np.uint16 else 1, np.random.default_rng(8)
    below, layer = (random.uniform(0, full, (*size, 4)).astype(kind) for _ in range(2))
    below[..., 3], layer[..., :3] = full, np.minimum(layer[..., :3], layer[..., 3:])
    layer[0, 0, 3], layer[-1, -1] = full, 0
    for true, ours in OURS.items():
        found = below.copy()
        ours(found, layer)
        wanted = true(below / full, layer / full)
        np.testing.assert_allclose(found[..., :3] / full, wanted[..., :3], atol=1 / 65535 if full > 1 else 1e-6)


def test_masked_scales_all_channels_by_the_coverage():
    cut = blend.masked(one([0.8, 0.4, 0.2, 1.0], np.uint16), np.array([[32768]], np.uint16))
    np.testing.assert_allclose(cut.ravel() / 65535, [0.4, 0.2, 0.1, 0.5], atol=2e-5)
