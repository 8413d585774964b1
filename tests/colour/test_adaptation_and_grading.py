"""Light of another colour against published loci, matrices and McCamy; contrast and saturation."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compositor.colour.adaptation import adaptation, balance, planckian_xy, white_xyz
from compositor.colour.grading import MIDDLE_GREY, contrasted, saturation_matrix
from compositor.colour.space import SRGB

LUMINANCE = np.array([0.2126, 0.7152, 0.0722])  # ITU-R BT.709
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])  # IEC 61966-2-1
# Y. Ohno's colour temperatures, Planckian locus of the CIE 1931 observer, as colour-science gives it.
PLANCKIAN = {
    2000: (0.526677, 0.413299), 2500: (0.476996, 0.413677), 2856: (0.447537, 0.407430), 3000: (0.436933, 0.404076),
    3200: (0.423361, 0.398954), 4000: (0.380441, 0.376749), 5000: (0.345103, 0.351610), 6500: (0.313527, 0.323630),
    10000: (0.280634, 0.288289), 20000: (0.256457, 0.257631),
}  # fmt: skip


@pytest.mark.parametrize("kelvin", PLANCKIAN)
def test_planckian_locus(kelvin: int) -> None:
    """The spline is an approximation; 6e-4 is less than one can see side by side (value from memory)."""
    assert planckian_xy(kelvin) == pytest.approx(PLANCKIAN[kelvin], abs=6e-4)


@pytest.mark.parametrize(
    ("source", "target", "matrix"),
    [
        (
            (0.31270, 0.32900),
            (0.34570, 0.35850),
            [
                [1.0479298, 0.0229469, -0.0501923],
                [0.0296278, 0.9904344, -0.0170738],
                [-0.0092430, 0.0150552, 0.7518743],
            ],
        ),
        (
            (0.34570, 0.35850),
            (0.31270, 0.32900),
            [
                [0.9554734, -0.0230985, 0.0632592],
                [-0.0283697, 1.0099954, 0.0210414],
                [0.0123140, -0.0205076, 1.3303659],
            ],
        ),
    ],
)
def test_bradford(source, target, matrix) -> None:
    """Lindbloom's and colour-science's matrices between D65 and D50 (ICC.1:2010 annex E for the method)."""
    assert adaptation(white_xyz(source), white_xyz(target)) == pytest.approx(np.array(matrix), abs=2e-5)


def temperature_k(neutral: np.ndarray) -> float:
    """McCamy, Color Research & Application 17(2), 1992, of linear sRGB under D65."""
    xyz = TO_XYZ @ neutral
    x, y = xyz[:2] / xyz.sum()
    n = (x - 0.3320) / (0.1858 - y)
    return float(449 * n**3 + 3525 * n**2 + 6823.3 * n + 5520.33)


@pytest.mark.parametrize("mired", [-40, -20, 18, 50, 100])
def test_temperature_shifts_by_its_mired(mired: int) -> None:
    """The light of a black body of 6504 K through a light-balancing filter: shifted by its mired (10⁶ / kelvin)."""
    light = np.linalg.solve(TO_XYZ, white_xyz((0.3135, 0.3236)))
    assert 1e6 / temperature_k(light) == pytest.approx(1e6 / 6504, abs=0.5)
    seen_k = temperature_k(balance(SRGB, mired, 0.0) @ light)
    assert 1e6 / seen_k - 1e6 / 6504 == pytest.approx(mired, abs=1.0)


def test_tint_holds_back_green_by_its_density() -> None:
    """CC30M lets 10^-0.3 = half of the green through."""
    red, green, blue = balance(SRGB, 0.0, 30.0) @ np.ones(3)
    assert green / red == pytest.approx(10**-0.3, rel=1e-9)
    assert blue == pytest.approx(red, rel=1e-9)


@given(st.floats(-100, 200), st.floats(-60, 60))
def test_a_neutral_keeps_its_luminance(mired: float, tint: float) -> None:
    assert np.array(SRGB.to_xyz)[1] @ balance(SRGB, mired, tint) @ np.ones(3) == pytest.approx(1.0, abs=1e-4)


def test_no_shift_is_no_change() -> None:
    assert balance(SRGB, 0.0, 0.0) == pytest.approx(np.eye(3), abs=1e-12)


@given(st.floats(-0.9, 0.9))
def test_contrast_turns_stops_into_more_stops(contrast: float) -> None:
    tones = (MIDDLE_GREY * 2.0 ** np.arange(-4, 3)).astype(np.float32)
    stops = np.log2(contrasted(tones, contrast) / MIDDLE_GREY)
    assert stops == pytest.approx((1 + contrast) * np.arange(-4, 3), abs=1e-4)


def test_saturation_keeps_luminance_and_ends_in_grey() -> None:
    colour = np.array([0.7, 0.2, 0.1])
    for saturation in (-1.0, -0.3, 0.5):
        changed = saturation_matrix(LUMINANCE, saturation) @ colour
        assert LUMINANCE @ changed == pytest.approx(LUMINANCE @ colour, rel=1e-12)
        assert changed - LUMINANCE @ colour == pytest.approx(
            (1 + saturation) * (colour - LUMINANCE @ colour), abs=1e-12
        )
