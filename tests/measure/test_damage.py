"""The default tolerances, proven by pictures damaged on purpose: what survives, what is caught."""

import io
import math
import re

import numpy as np
import pytest
from damaged_pictures import (
    DAMAGE,
    HARMLESS,
    REGIONS,
    WIDTH,
    Parts,
    damaged,
    harmless,
    profile_lost,
    rendered,
    srgb,
)
from PIL import Image

from compositor.colour.space import SRGB
from compositor.jobs.proofs import small_picture
from compositor.measure.comparison import Region, Shown, compare_pictures


@pytest.mark.parametrize("name", HARMLESS)
def test_what_libraries_may_change(name: str) -> None:
    comparison = compare_pictures(*harmless(name), REGIONS)
    assert comparison.alike, comparison.deviations


@pytest.mark.parametrize("coded", [False, True], ids=["exact", "recoded"])
@pytest.mark.parametrize("name", DAMAGE)
def test_damage_is_caught(name: str, coded: bool) -> None:
    assert not compare_pictures(*damaged(name, coded), REGIONS).alike


def test_a_lost_profile_is_caught() -> None:
    comparison = compare_pictures(*profile_lost(), REGIONS)
    assert any("the whole picture" in deviation.text for deviation in comparison.deviations)


def as_approved(picture: Shown) -> Shown:
    """Half the size and coded as approved pictures are kept."""
    data, side_px = small_picture(picture, WIDTH // 2)
    assert side_px == WIDTH // 2
    with Image.open(io.BytesIO(data)) as opened:
        return Shown(np.asarray(opened), picture.space)


@pytest.mark.parametrize("name", DAMAGE)
def test_damage_is_caught_in_pictures_as_they_are_approved(name: str) -> None:
    before, after = (as_approved(picture) for picture in damaged(name, coded=False))
    regions = [Region(r.name, tuple((u / 2, v / 2) for u, v in r.outline_px)) for r in REGIONS]
    assert not compare_pictures(before, after, regions, reduced_ratio=0.5).alike


@pytest.mark.parametrize("name", HARMLESS)
def test_what_libraries_may_change_in_pictures_as_they_are_approved(name: str) -> None:
    before, after = (as_approved(picture) for picture in harmless(name))
    regions = [Region(r.name, tuple((u / 2, v / 2) for u, v in r.outline_px)) for r in REGIONS]
    comparison = compare_pictures(before, after, regions, reduced_ratio=0.5)
    assert comparison.alike, comparison.deviations


def test_a_move_is_measured_and_named() -> None:
    comparison = compare_pictures(*damaged("moved 1 px right", coded=False), REGIONS)
    assert comparison.figures["moved_px"] == pytest.approx(1.0, abs=0.15)
    (text,) = (d.text for d in comparison.deviations if " moved " in d.text)
    assert text.startswith("barrel at (") and "px to the right" in text


@pytest.mark.parametrize("moved", [(0.0, 2.0), (-3.0, 0.0), (0.0, 6.0)])
def test_no_other_move_is_told_than_the_true_one(moved: tuple[float, float]) -> None:
    """Of what went farther than can be measured only that is said."""
    after = srgb(rendered(Parts(moved=moved)))
    comparison = compare_pictures(srgb(rendered(Parts())), after, REGIONS)
    (text,) = (d.text for d in comparison.deviations if " moved " in d.text)
    far = math.hypot(*moved)
    if far < 4:
        told = [float(number) for number in re.findall(r"([\d.]+) px", text)]
        assert math.hypot(*told) == pytest.approx(far, rel=0.12)
        assert ("left" in text) == (moved[0] < 0) and ("down" in text) == (moved[1] > 0)
    else:
        assert text.endswith("moved by more than 4 px")


def test_a_little_more_light_is_measured_and_named() -> None:
    """2 % of light are 0.02 · 255 / 2.4 = 2.1 levels at white and less below (IEC 61966-2-1 differentiated)."""
    before, after = damaged("2 % lighter", coded=False)
    comparison = compare_pictures(before, after, REGIONS)
    assert any(d.text.startswith("barrel ") and d.text.endswith("lighter") for d in comparison.deviations)
    assert 0.3 < comparison.figures["region_lightness"] < 2.1


def test_the_place_of_the_worst_is_right() -> None:
    before = rendered(Parts())
    after = before.copy()
    after[400:410, 600:612] = (255, 0, 255)
    worst = compare_pictures(srgb(before), srgb(after)).deviations[0]
    left, top, right, bottom = worst.box_px
    assert left <= 600 and right >= 612 and top <= 400 and bottom >= 410 and right - left < 60


def test_one_global_mean_would_not_see_it() -> None:
    """A letter's worth of pixels in a large picture: the mean hardly moves, the patch does."""
    before = np.tile(rendered(Parts()), (3, 3, 1))
    after = before.copy()
    after[700:706, 900:906] = 255
    comparison = compare_pictures(srgb(before), srgb(after))
    assert comparison.figures["mean_difference"] < 0.01 and not comparison.alike


def test_equal_pictures() -> None:
    picture = srgb(rendered(Parts()))
    comparison = compare_pictures(picture, picture, REGIONS)
    assert comparison.alike and comparison.figures["largest_difference"] == 0 and comparison.figures["similarity"] == 1


def test_sixteen_bits_against_eight() -> None:
    eight = rendered(Parts())
    assert compare_pictures(Shown(eight.astype(np.uint16) * 257, SRGB), srgb(eight)).alike


def test_sizes_have_to_agree() -> None:
    picture = rendered(Parts())
    with pytest.raises(ValueError):
        compare_pictures(srgb(picture), srgb(picture[:-1]))


@pytest.mark.parametrize("size", [(1, 1), (7, 40), (33, 12)])
def test_tiny_pictures(size: tuple[int, int]) -> None:
    black, white = (np.full((*size, 3), value, np.uint8) for value in (0, 255))
    assert compare_pictures(srgb(black), srgb(black)).alike
    assert not compare_pictures(srgb(black), srgb(white)).alike
