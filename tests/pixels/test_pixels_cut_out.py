"""Cut-outs without the colour of what stood behind them: against the truth they were made of and against a library."""

import numpy as np
import pytest

from compositor.base.opencv import cv2
from compositor.colour.curves import linear_to_srgb, srgb_to_linear
from compositor.pixels.foreground import foreground
from compositor.pixels.keying import keyed, without_spill

SIZE = 300


def subject() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A textured thing with a soft, wavy outline and hairs, before a textured background: (F, B, alpha)."""
    y, x = np.mgrid[:SIZE, :SIZE] + 0.5
    fore = np.stack([0.5 + 0.4 * np.sin(x / 40), 0.3 + 0.2 * np.cos(y / 30), 0.2 + 0.1 * np.sin((x + y) / 25)], -1)
    back = np.stack([0.05 + 0 * x, 0.5 + 0.3 * np.sin(y / 60), 0.1 + 0.05 * np.cos(x / 50)], -1)
    angle, radius = np.arctan2(y - SIZE / 2, x - SIZE / 2), np.hypot(x - SIZE / 2, y - SIZE / 2)
    alpha = np.clip((95 + 15 * np.sin(7 * angle) - radius) / 6 + 0.5, 0, 1)
    for turn in np.arange(0, 2 * np.pi, 0.25):
        hair = np.zeros((SIZE, SIZE), np.uint8)
        ends = [tuple(int(SIZE / 2 + r * f(t)) for f in (np.cos, np.sin)) for r, t in ((85, turn), (140, turn + 0.1))]
        cv2.line(hair, ends[0], ends[1], (255.0,), 1, cv2.LINE_AA)
        alpha = np.maximum(alpha, 0.8 * hair / 255)
    return fore.astype(np.float32), back.astype(np.float32), alpha.astype(np.float32)


def mixed(fore: np.ndarray, back: np.ndarray, alpha: np.ndarray) -> np.ndarray:
    return (fore * alpha[..., None] + back * (1 - alpha[..., None])).astype(np.float32)


def error(found: np.ndarray, fore: np.ndarray, alpha: np.ndarray) -> float:
    """Mean error of the premultiplied colour over half-covered pixels."""
    half = (alpha > 0) & (alpha < 1)
    return float((np.abs(found - fore).mean(axis=2) * alpha)[half].mean())


def test_the_old_background_goes() -> None:
    fore, back, alpha = subject()
    picture = mixed(fore, back, alpha)
    before, after = error(picture, fore, alpha), error(foreground(picture, alpha), fore, alpha)
    assert before > 0.04, "the case shows nothing if nothing shines through"
    assert after < 0.1 * before
    assert np.array_equal(foreground(picture, alpha)[alpha == 1], picture[alpha == 1])


def test_what_a_file_stores_under_nothing_does_not_matter() -> None:
    fore, back, alpha = subject()
    results = []
    for hidden in (0.0, 1.0, (1.0, 0.0, 1.0)):
        picture = mixed(fore, back, alpha)
        picture[alpha == 0] = hidden
        results.append(foreground(picture, alpha)[alpha > 0])
    assert np.array_equal(results[0], results[1]) and np.array_equal(results[0], results[2])


def test_nothing_to_do_where_nothing_shines_through() -> None:
    colour = np.random.default_rng(2).random((70, 90, 3), np.float32)
    alpha = (np.mgrid[:70, :90][1] > 40).astype(np.float32)
    assert np.array_equal(foreground(colour, alpha), colour)


def test_as_good_as_the_library_that_knows_the_background() -> None:
    """PyMatting's multi-level estimation (Germer et al. 2020) sees the true background beside; ours need not."""
    pymatting = pytest.importorskip("pymatting")
    fore, back, alpha = subject()
    picture = mixed(fore, back, alpha)
    theirs = pymatting.estimate_foreground_ml(picture.astype(np.float64), alpha.astype(np.float64))
    assert error(foreground(picture, alpha), fore, alpha) <= 1.2 * error(theirs, fore, alpha)


@pytest.mark.parametrize("backdrop", [(0.1, 0.6, 0.1), (0.6, 0.6, 0.6), (0.05, 0.1, 0.5)])
@pytest.mark.parametrize("noise", [0.0, 0.008])
def test_a_flat_backdrop_is_keyed(backdrop: tuple[float, float, float], noise: float) -> None:
    """A dark thing with an antialiased edge before a flat colour, 8 bits: coverage and colour come back."""
    y, x = np.mgrid[:200, :200] + 0.5
    alpha = np.clip((70.5 - np.hypot(x - 100, y - 100)) / 2 + 0.5, 0, 1).astype(np.float32)
    alpha *= np.clip((np.hypot(x - 100, y - 100) - 25) / 2 + 0.5, 0, 1)  # a hole shows the backdrop too
    fore = np.stack([0.12 + 0.06 * np.sin(x / 17), 0.05 + 0 * x, 0.04 + 0.02 * np.cos(y / 13)], -1)
    colour = np.array(backdrop, np.float32)
    coded = linear_to_srgb(mixed(fore, np.broadcast_to(colour, fore.shape), alpha))
    coded = coded + noise * np.random.default_rng(3).standard_normal(coded.shape)
    coded = (np.rint(np.clip(coded, 0, 1) * 255) / 255).astype(np.float32)
    linear = srgb_to_linear(coded)
    found = keyed(coded, linear, (linear_to_srgb(colour), colour), 0.06)
    assert np.abs(found - alpha).mean() < 0.01
    edge = (alpha > 0) & (alpha < 1)
    assert np.abs(found - alpha)[edge].mean() < 0.08
    assert found[alpha == 0].max() == 0
    assert (found[alpha == 1] < 1).mean() < 0.01
    clean = foreground(linear, found, colour) * found[..., None]
    assert np.abs(clean - fore * alpha[..., None])[edge].mean() < 0.02


COLOURS = [(0.0, 0.44, 0.05), (0.0, 0.06, 0.5), (0.8, 0.02, 0.7)]


@pytest.mark.parametrize("backdrop", COLOURS)
def test_gaps_too_narrow_for_the_pure_backdrop_are_keyed(backdrop: tuple[float, float, float]) -> None:
    """A grille of bars 6 px wide with slits of 1.4 px between, which are nowhere wholly open once drawn."""
    x = np.mgrid[:1600, :1600][1] + 0.5
    drawn = ((x / 8) % 7.4 < 6.0).astype(np.float32)
    alpha = cv2.GaussianBlur(cv2.resize(drawn, (200, 200), interpolation=cv2.INTER_AREA), (0, 0), 0.5)
    alpha[:40], alpha[-40:], alpha[:, :40], alpha[:, -40:] = 0, 0, 0, 0
    fore = np.full((200, 200, 3), (0.2, 0.16, 0.11), np.float32)
    linear = mixed(fore, np.broadcast_to(np.float32(backdrop), fore.shape), alpha)
    coded = linear_to_srgb(linear).astype(np.float32)
    found = keyed(coded, linear, (linear_to_srgb(np.float32(backdrop)), np.float32(backdrop)), 0.06)
    assert np.abs(found - alpha)[60:140, 60:140].mean() < 0.06
    clean = foreground(linear, found, np.float32(backdrop)) * found[..., None]
    assert np.abs(clean - fore * alpha[..., None])[60:140, 60:140].mean() < 0.02


def test_a_broad_thing_of_the_backdrops_hue_stays_whole() -> None:
    backdrop = np.float32([0.0, 0.44, 0.05])
    linear = np.broadcast_to(backdrop, (120, 120, 3)).copy()
    linear[30:90, 30:90] = (0.2, 0.18, 0.15)
    linear[45:75, 45:75] = (0.1, 0.3, 0.05)
    coded = linear_to_srgb(linear).astype(np.float32)
    found = keyed(coded, linear, (linear_to_srgb(backdrop), backdrop), 0.06)
    assert np.array_equal(found > 0.5, np.abs(linear - backdrop).max(axis=2) > 0)
    assert found[40:80, 40:80].min() > 0.99


@pytest.mark.parametrize("backdrop", COLOURS)
def test_spill_goes_and_other_colours_stay(backdrop: tuple[float, float, float]) -> None:
    """Grey paint that also mirrors a tenth of the backdrop comes back to what it was in the channels that lead."""
    colour = np.float32(backdrop)
    paint = np.full((4, 4, 3), 0.3, np.float32)
    clean = without_spill(paint + 0.1 * colour, colour, 1.0)
    assert np.ptp(clean, axis=2).max() < 0.1 * (np.sort(backdrop)[1] + 1e-3), "no longer of the backdrop's hue"
    assert np.abs(clean - paint).max() < np.abs(0.1 * colour).max()
    assert np.array_equal(without_spill(paint, colour, 1.0), paint)
    assert np.array_equal(without_spill(paint + 0.1 * colour, colour, 0.0), paint + 0.1 * colour)


def test_a_grey_backdrop_tells_no_spill() -> None:
    colour = np.random.default_rng(4).random((5, 6, 3), np.float32)
    assert np.array_equal(without_spill(colour, np.float32([0.6, 0.6, 0.6]), 1.0), colour)
