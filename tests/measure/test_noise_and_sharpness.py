"""Noise and sharpness are measured as they were put in."""

import numpy as np
import pytest

from compositor.base.opencv import cv2
from compositor.measure.noise import PATCH_PX, noise_of, patches_of
from compositor.measure.sharpness import edge_sigma_px
from compositor.measure.statistics import far_colour, highlight, mean_colour


def slope(rows: int = 360, columns: int = 720) -> np.ndarray:
    return np.repeat(np.linspace(0.03, 0.8, columns)[None, :, None], rows, axis=0).repeat(3, axis=2)


def deviation(light: np.ndarray) -> np.ndarray:
    """Photon and read noise: variance grows with light (Poisson), common practice for sensors."""
    return np.sqrt(0.002**2 + 0.0004 * light)


def test_noise_by_brightness_under_texture() -> None:
    random = np.random.default_rng(5)
    light = slope()
    light[60:200, :, :] *= 1 + 0.3 * np.sin(np.arange(720) * 0.9)[None, :, None]  # texture over a part of it
    noisy = light + random.standard_normal(light.shape) * deviation(light)
    noise = noise_of(patches_of(noisy.astype(np.float32)))
    assert noise is not None
    # The calmest tenth of some hundred patches lies a little below the mean of all: 10 % (by their own scatter).
    assert noise.deviations == pytest.approx(deviation(noise.levels), rel=0.2)
    assert noise.grain_px < 0.4, "narrower bells leave means of 2 × 2 px as white noise does"
    assert np.abs(noise.together - np.eye(3)).max() < 0.1


def test_each_channel_has_the_noise_of_its_own_light() -> None:
    """Photon noise follows each channel's count: a red picture is as quiet in its blue as a dark one is."""
    random = np.random.default_rng(8)
    grey = slope()
    noise = noise_of(patches_of((grey + random.standard_normal(grey.shape) * deviation(grey)).astype(np.float32)))
    assert noise is not None
    red = np.array([[0.5, 0.08, 0.05]])
    assert noise.at(red)[0] == pytest.approx(deviation(red)[0], rel=0.2)
    tinted = grey * [1.0, 0.5, 0.2]
    other = noise_of(patches_of((tinted + random.standard_normal(grey.shape) * deviation(tinted)).astype(np.float32)))
    assert other is not None
    assert other.at(red * 0.3)[0] == pytest.approx(deviation(red * 0.3)[0], rel=0.2)


@pytest.mark.parametrize("grain_px", [0.5, 0.7])
def test_coarse_noise_is_told_from_fine(grain_px: float) -> None:
    random = np.random.default_rng(6)
    coarse = cv2.GaussianBlur(random.standard_normal((540, 540, 3)), (0, 0), grain_px)
    noise = noise_of(patches_of((0.4 + 0.02 * coarse).astype(np.float32)))
    assert noise is not None
    assert noise.grain_px == pytest.approx(grain_px, abs=0.08)


def test_grey_grain_is_told_from_coloured() -> None:
    random = np.random.default_rng(7)
    shared = random.standard_normal((360, 360, 1)).repeat(3, 2) + 0.3 * random.standard_normal((360, 360, 3))
    noise = noise_of(patches_of((0.4 + 0.01 * shared).astype(np.float32)))
    assert noise is not None
    assert noise.together[0, 1] == pytest.approx(1 / 1.09, abs=0.04)


def test_a_clean_picture_has_none_and_a_small_one_tells_nothing() -> None:
    noise = noise_of(patches_of(slope().astype(np.float32)))
    assert noise is not None
    assert noise.deviations.max() < 1e-4
    assert noise_of(patches_of(np.full((PATCH_PX, PATCH_PX, 3), 0.4, np.float32))) is None
    assert noise_of(patches_of(np.ones((400, 400, 3), np.float32))) is None, "clipped white hides its noise"


def discs(sigma_px: float) -> np.ndarray:
    """Hard discs drawn at eight times the size, averaged, then blurred by a known bell."""
    y, x = np.mgrid[:2400, :2400]
    large = sum((np.hypot(x - u, y - v) < r) * t for u, v, r, t in ((700, 800, 400, 0.6), (1700, 1500, 500, 0.8)))
    small = cv2.resize(large.astype(np.float32), (300, 300), interpolation=cv2.INTER_AREA)
    return cv2.GaussianBlur(small, (0, 0), sigma_px)


@pytest.mark.parametrize("sigma_px", [0.8, 1.2, 2.0, 3.0])
def test_edges_are_as_soft_as_they_were_made(sigma_px: float) -> None:
    """A pixel averages a box of variance 1/12, and so does the difference that takes the gradient (four times that)."""
    found = edge_sigma_px(discs(sigma_px), np.ones((300, 300), bool))
    assert found == pytest.approx(np.sqrt(sigma_px**2 + 1 / 12 + 1 / 3), rel=0.1)


def test_too_few_edges_tell_nothing() -> None:
    assert edge_sigma_px(np.full((100, 100), 0.5, np.float32), np.ones((100, 100), bool)) is None
    assert edge_sigma_px(discs(1.0), np.zeros((300, 300), bool)) is None


def test_statistics_of_a_place() -> None:
    samples = np.full((1000, 3), 0.2, np.float32)
    samples[:100] = 0.9
    assert mean_colour(samples) == pytest.approx(np.full(3, 0.27), abs=1e-6)
    assert highlight(samples) == pytest.approx(0.9, abs=1e-6)
    samples[:10], samples[10:] = 0.9, 0.3
    assert highlight(samples) == pytest.approx(0.3, abs=1e-6), "a few glints do not count"
    assert mean_colour(samples[:5]) is None and highlight(samples[:5]) is None


def test_the_air_is_what_stands_behind_posts_and_hills() -> None:
    sky, hill, post = np.array([0.6, 0.7, 0.8]), np.array([0.3, 0.4, 0.35]), np.array([0.02, 0.02, 0.02])
    samples = np.concatenate([np.tile(sky, (300, 1)), np.tile(hill, (500, 1)), np.tile(post, (200, 1))])
    assert far_colour(samples.astype(np.float32)) == pytest.approx(sky, abs=1e-6)
