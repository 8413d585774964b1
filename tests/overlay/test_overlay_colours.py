"""Colours for every reader: apart under colour-vision deficiency, and text that stands out on any plate.

Sources. Palette: M. Okabe & K. Ito, Color Universal Design, 2008. Simulation: G. M. Machado, M. M. Oliveira &
L. A. F. Fernandes, A Physiologically-based Model for Simulation of Color Vision Deficiency, IEEE TVCG 15(6), 2009,
matrices for severity 1.0 on linear sRGB. Difference: CIE 15:2018, ΔE*ab of 1976. sRGB: IEC 61966-2-1. Contrast:
WCAG 2.2, success criteria 1.4.3 (text, 4.5:1) and 1.4.11 (signs, 3:1).
"""

from itertools import combinations

import numpy as np
import pytest

from compositor.overlay.style import (
    BLACK,
    BLUE,
    LINES,
    PLATE,
    PLATE_OPACITY,
    REDDISH_PURPLE,
    SKY_BLUE,
    TEXT,
    VERMILLION,
    WHITE,
    YELLOW,
    Colour,
    Kind,
)

SIMULATIONS = {
    "usual vision": np.eye(3),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritanopia": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
APART = 20.0
"""Stated bound: ten times the ΔE*ab of about 2 that a trained eye tells apart (common practice, no source)."""


def linear(colour: Colour) -> np.ndarray:
    value = np.array(colour) / 255.0
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def lab(rgb: np.ndarray) -> np.ndarray:
    ratio = (TO_XYZ @ rgb) / TO_XYZ.sum(axis=1)
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio * (29 / 6) ** 2 / 3 + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(one: Colour, other: Colour) -> float:
    light, dark = sorted((float(TO_XYZ[1] @ linear(colour)) for colour in (one, other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def over(backdrop: Colour) -> Colour:
    """The ground of a caption over a picture."""
    mixed = np.rint(PLATE_OPACITY * np.array(PLATE) + (1 - PLATE_OPACITY) * np.array(backdrop))
    return tuple(int(value) for value in mixed)  # type: ignore[return-value]


@pytest.mark.parametrize("vision", SIMULATIONS)
def test_any_two_kinds_of_mark_stay_apart(vision: str) -> None:
    assert len({style.colour for style in LINES.values()}) == len(Kind)
    for one, other in combinations(LINES, 2):
        seen = [lab(np.clip(SIMULATIONS[vision] @ linear(LINES[kind].colour), 0, 1)) for kind in (one, other)]
        assert np.linalg.norm(seen[0] - seen[1]) >= APART, (vision, one, other)


def test_the_bound_refuses_a_pair_known_to_be_confused() -> None:
    """Bluish green and reddish purple of the same palette fall together for deuteranopes: the check can fail."""
    pair = [lab(np.clip(SIMULATIONS["deuteranopia"] @ linear(c), 0, 1)) for c in ((0, 158, 115), (204, 121, 167))]
    assert np.linalg.norm(pair[0] - pair[1]) < APART


def test_colours_are_those_of_the_published_palette() -> None:
    published = {"#FFFFFF", "#000000", "#56B4E9", "#F0E442", "#D55E00", "#CC79A7", "#0072B2"}
    ours = (WHITE, BLACK, SKY_BLUE, YELLOW, VERMILLION, REDDISH_PURPLE, BLUE)
    assert {"#{:02X}{:02X}{:02X}".format(*c) for c in ours} == published
    assert {style.colour for style in LINES.values()} == set(ours)


def test_long_lines_that_could_be_confused_differ_in_dash_or_width_too() -> None:
    looks = {(style.dash, style.width) for style in LINES.values()}
    assert len(looks) == len(LINES)


@pytest.mark.parametrize("backdrop", [(0, 0, 0), (128, 128, 128), (255, 255, 255), (255, 255, 0), (0, 0, 255)])
def test_text_and_signs_stand_out_over_any_plate(backdrop: Colour) -> None:
    assert contrast(TEXT, over(backdrop)) >= 4.5
    assert contrast(VERMILLION, over(backdrop)) >= 3.0
    assert contrast(TEXT, PLATE) >= 4.5  # words with a rim instead of a ground


def test_contrast_is_that_of_the_guideline() -> None:
    """White on black is 21:1; #777777 on white 4.48:1 (the well-known grey that just fails; value from memory)."""
    assert contrast(WHITE, BLACK) == pytest.approx(21.0)
    assert contrast((119, 119, 119), WHITE) == pytest.approx(4.48, abs=0.01)
