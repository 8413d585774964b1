"""What is multiplied where lights are hidden, at the ends of the scale."""

import numpy as np
import pytest

from compositor.pixels.footprint import Window
from compositor.plan.light import Light
from compositor.render.shadows import Ground, Kept

WINDOW = Window(2, 1, 4, 3)


def kept(share: float) -> Kept:
    return Kept(WINDOW, np.full((3, 4), share, np.float32))


@pytest.mark.parametrize("kind", [np.uint16, np.float32])
@pytest.mark.parametrize("shade", [0.0, 0.5, 1.0])
def test_where_the_sun_is_all_the_light_full_shade_gets_no_darker(kind: type[np.generic], shade: float) -> None:
    """Nothing is left to take there, and nothing is divided by nothing."""
    full = 65535 if kind == np.uint16 else 1.0
    ground = Ground(Light(None, (0.0, 0.0, 0.0), None, (), ()), np.full((6, 8), shade * full, kind), [WINDOW], kind)
    for factors in (ground.shaded(kept(1.0)), ground.closed_in(kept(0.7), np.zeros(3))):
        for factor in factors:
            assert factor.dtype == kind and np.isfinite(factor).all()
    again = ground.shaded(kept(1.0))[0] / full
    assert np.allclose(again, 1.0, atol=1e-4)
    if shade == 1.0:
        fresh = Ground(Light(None, (0.0, 0.0, 0.0), None, (), ()), np.full((6, 8), full, kind), [WINDOW], kind)
        assert np.allclose(fresh.shaded(kept(1.0))[0] / full, 1.0, atol=1e-4)


def test_what_hides_the_sun_twice_hides_it_once() -> None:
    ground = Ground(Light(None, (0.2, 0.3, 0.4), None, (), ()), None, [WINDOW], np.float32)
    first, second = ground.shaded(kept(0.5)), ground.shaded(kept(0.75))
    for left, one, two in zip((0.2, 0.3, 0.4), first, second, strict=True):
        assert np.allclose(one, 1.0 - 0.5 * (1.0 - left), atol=1e-6)
        assert np.allclose(one * two, 1.0 - 0.75 * (1.0 - left), atol=1e-6)
