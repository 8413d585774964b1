"""Transfer curves against IEC 61966-2-1 values (computed with the package colour-science; constants from memory)."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compositor.colour.curves import Parametric, Sampled, linear_to_srgb, srgb_to_linear

LINEAR_OF_CODE = {
    1: 0.0003035270,
    10: 0.0030352698,
    11: 0.0033465358,
    16: 0.0051815167,
    32: 0.0144438436,
    64: 0.0512694584,
    117: 0.1778884160,
    118: 0.1811642442,
    127: 0.2122307574,
    128: 0.2158605001,
    187: 0.4969329951,
    188: 0.5028864580,
    192: 0.5271151257,
    254: 0.9911020971,
}


@pytest.mark.parametrize(("code", "linear"), LINEAR_OF_CODE.items())
def test_srgb_codes_have_their_published_light(code: int, linear: float) -> None:
    assert srgb_to_linear(np.array(code / 255)) == pytest.approx(linear, abs=1e-9)


def test_srgb_of_middle_values() -> None:
    assert srgb_to_linear(np.array(0.5)) == pytest.approx(0.2140411405, abs=1e-9)
    assert linear_to_srgb(np.array(0.18)) == pytest.approx(0.4613561295, abs=1e-9)
    assert linear_to_srgb(np.array(0.5)) == pytest.approx(0.7353569831, abs=1e-9)


CURVES = [
    Parametric(2.2),
    Parametric(1.0),
    Parametric(2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045),
    Parametric(3.0, 0.9, 0.1, 0.2, 0.02, 0.0, 0.0),
    Sampled(tuple((np.linspace(0, 1, 1024) ** 1.8).tolist())),
]


@given(st.sampled_from(CURVES), st.floats(0.05, 1.0))
def test_there_and_back(curve: Parametric | Sampled, encoded: float) -> None:
    value = np.array(encoded)
    assert curve.to_encoded(curve.to_linear(value)) == pytest.approx(encoded, abs=1e-9)


def test_float32_stays_float32() -> None:
    for curve in CURVES:
        value = np.array([0.01, 0.3], dtype=np.float32)
        assert curve.to_linear(value).dtype == np.float32
        assert curve.to_encoded(value).dtype == np.float32
