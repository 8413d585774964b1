"""CIEDE2000 against its authors' pairs, L*a*b* against published packages."""

import csv
from pathlib import Path

import numpy as np
import pytest

from compositor.colour.difference import ciede2000
from compositor.colour.lab import lab_from_encoded, luma_from_encoded
from compositor.colour.space import DCF_OPTIONAL, SRGB

PAIRS = list(
    csv.DictReader((Path(__file__).parent.parent / "reference" / "ciede2000.csv").read_text().splitlines())
)  # Sharma, Wu & Dalal, Color Res. Appl. 30(1) 21-30, 2005, Table 1


def test_all_pairs_are_there() -> None:
    assert len(PAIRS) == 34


@pytest.mark.parametrize("row", PAIRS, ids=lambda row: row["pair"])
@pytest.mark.parametrize("swapped", [False, True])
def test_published_pairs(row: dict[str, str], swapped: bool) -> None:
    first, second = (np.array([float(row[f"{name}{side}"]) for name in "Lab"]) for side in "12")
    if swapped:
        first, second = second, first
    found = float(ciede2000(first, second))
    wanted = [float(row["dE00_published"])]
    if row["pair"] == "14":
        wanted.append(4.7461)  # the pair lies on a jump of the mean hue: rounding decides the side
    assert min(abs(found - value) for value in wanted) < 1e-4


def test_the_same_in_single_precision() -> None:
    rows = np.array([[float(row[key]) for key in ("L1", "a1", "b1", "L2", "a2", "b2")] for row in PAIRS])
    single = rows.astype(np.float32)
    exact = ciede2000(rows[:, :3], rows[:, 3:])
    found = ciede2000(single[:, :3], single[:, 3:])
    assert found.dtype == np.float32
    jump = np.array([row["pair"] == "14" for row in PAIRS])
    assert np.abs(found - exact)[~jump].max() < 1e-3


def test_neutrals_have_no_hue() -> None:
    greys = np.array([[20.0, 0, 0], [80.0, 0, 0]])
    assert np.isfinite(ciede2000(greys, greys[::-1])).all()
    assert float(ciede2000(np.array([50.0, 0, 0]), np.array([50.0, 0, 0]))) == 0


@pytest.mark.parametrize(
    ("rgb", "lightness"), [((255, 255, 255), 100.0), ((128, 128, 128), 53.585), ((119, 119, 119), 50.0344)]
)
def test_lightness_of_greys(rgb: tuple[int, int, int], lightness: float) -> None:
    """L* of sRGB greys as scikit-image gives it; greys have it under every white."""
    lab = lab_from_encoded(np.full((1, 1, 3), rgb, np.uint8), SRGB)[0, 0]
    assert lab[0] == pytest.approx(lightness, abs=2e-3)
    assert np.abs(lab[1:]).max() < 0.02


def test_primaries_under_d50() -> None:
    """L*a*b* (D50) of the sRGB primaries; value from memory (a colour picker's numbers), so only to half a unit."""
    samples = np.array([[[255, 0, 0], [0, 255, 0], [0, 0, 255]]], np.uint8)
    wanted = [[54.29, 80.81, 69.89], [87.82, -79.29, 80.99], [29.57, 68.30, -112.03]]
    assert np.abs(lab_from_encoded(samples, SRGB)[0] - wanted).max() < 0.5


def test_luma_of_srgb_is_that_of_its_codes() -> None:
    """Y of ITU-T T.871, section 7: 0.299 R + 0.587 G + 0.114 B."""
    samples = np.random.default_rng(1).integers(0, 256, (8, 8, 3), dtype=np.uint8)
    assert np.abs(luma_from_encoded(samples, SRGB) - samples @ np.array([0.299, 0.587, 0.114])).max() < 0.01


def test_luma_is_of_the_colours_not_of_the_codes() -> None:
    """The same codes in a wider space are other colours."""
    samples = np.array([[[200, 60, 60]]], np.uint8)
    assert abs(float((luma_from_encoded(samples, DCF_OPTIONAL) - luma_from_encoded(samples, SRGB))[0, 0])) > 1
