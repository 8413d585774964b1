"""Blurs spread light, never sharpen, and keep premultiplied edges clean."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compositor.pixels.blur import bell_blurred, choked, disc_blurred, disc_kernel, disc_margin_px

SEEDS = st.integers(0, 2**32 - 1)


def premultiplied(seed: int) -> np.ndarray:
    random = np.random.default_rng(seed)
    alpha = random.choice([0.0, 0.3, 1.0], (24, 30, 1))
    samples = np.concatenate([random.random((24, 30, 3)) * alpha, alpha], axis=2)
    return np.pad(samples, ((12, 12), (12, 12), (0, 0))).astype(np.float32)


@given(SEEDS, st.floats(0.5, 20), st.booleans())
def test_light_is_kept_and_colour_stays_within_alpha(seed: int, size_px: float, disc: bool) -> None:
    samples = premultiplied(seed)
    blurred = disc_blurred(samples, size_px) if disc else bell_blurred(samples, size_px / 6)
    assert blurred.sum(axis=(0, 1)) == pytest.approx(samples.sum(axis=(0, 1)), rel=2e-3)
    assert np.all(blurred[..., :3] <= blurred[..., 3:] + 1e-5)
    assert blurred.min() >= -1e-6 and blurred.max() <= 1 + 1e-5


@given(SEEDS, st.floats(0.0, 20))
def test_never_sharpens(seed: int, size_px: float) -> None:
    samples = premultiplied(seed)
    for axis in (0, 1):
        steepest = np.abs(np.diff(samples, axis=axis)).max()
        for blurred in (disc_blurred(samples, size_px), bell_blurred(samples, size_px / 4)):
            assert np.abs(np.diff(blurred, axis=axis)).max() <= steepest + 1e-5


@pytest.mark.parametrize("diameter_px", [7.3, 20.0, 61.5])
def test_a_disc_is_as_wide_as_asked(diameter_px: float) -> None:
    """Second moment of an even disc: (d/4)² per axis (integral over it), and 1/12 for the pixel's own box."""
    kernel = disc_kernel(diameter_px)
    at = np.arange(len(kernel)) - disc_margin_px(diameter_px)
    variance = (kernel.sum(axis=0) * at**2).sum()
    assert variance == pytest.approx((diameter_px / 4) ** 2 + 1 / 12, rel=0.02)


def test_small_blurs_change_no_bit() -> None:
    samples = premultiplied(1)
    assert disc_blurred(samples, 1.0) is samples
    assert bell_blurred(samples, 0.1) is samples


def test_old_colour_does_not_come_back_through_a_blur() -> None:
    """A flat-coloured disc stays of that colour wherever it is seen, whatever the disc of confusion."""
    y, x = np.mgrid[:80, :80]
    alpha = np.clip(20.5 - np.hypot(x - 40, y - 40), 0, 1)[..., None]
    samples = np.concatenate([np.array([0.1, 0.6, 0.2]) * alpha, alpha], axis=2).astype(np.float32)
    blurred = disc_blurred(samples, 9.0)
    seen = blurred[..., 3] > 1 / 255
    assert blurred[seen][:, :3] / blurred[seen][:, 3:] == pytest.approx(
        np.tile([0.1, 0.6, 0.2], (seen.sum(), 1)), abs=1e-3
    )


@pytest.mark.parametrize("choke_px", [0.5, 1.0, 2.4])
def test_choke_moves_the_outline_in(choke_px: float) -> None:
    y, x = np.mgrid[:100, :100]
    alpha = np.clip(30.5 - np.hypot(x - 49.5, y - 49.5), 0, 1).astype(np.float32)
    radius = np.sqrt(choked(alpha, choke_px).sum() / np.pi)
    assert radius == pytest.approx(np.sqrt(alpha.sum() / np.pi) - choke_px, abs=0.3)
