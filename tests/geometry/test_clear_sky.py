"""The colour of a clear sky beside the sun's."""

import numpy as np
import pytest

from compositor.geometry.clear_sky import air_mass, optical_depth, sky_tint


def test_optical_depth_of_air() -> None:
    """Bodhaine et al., On Rayleigh optical depth calculations, 1999: near 0.36 at 400 nm and 0.097 at 550 nm (values
    from memory); in the limit of long waves λ⁻⁴, and 450 over 550 nm a little more than its 2.2315."""
    np.testing.assert_allclose(optical_depth(np.array([0.400, 0.550])), [0.36, 0.097], rtol=0.02)
    blue, green = optical_depth(np.array([0.450, 0.550]))
    assert 2.2315 < blue / green < 2.2315 * 1.03
    far, farther = optical_depth(np.array([10.0, 20.0]))
    assert far / farther == pytest.approx(16.0, rel=1e-3)


@pytest.mark.parametrize(("elevation_deg", "expected"), [(90, 1.0), (60, 1.154), (30, 1.994), (10, 5.59), (0, 37.9)])
def test_air_mass(elevation_deg: float, expected: float) -> None:
    """Kasten and Young 1989, their table (values from memory)."""
    assert air_mass(elevation_deg) == pytest.approx(expected, rel=4e-3)


def test_the_lower_the_sun_the_bluer_the_sky_beside_it() -> None:
    tints = np.array([sky_tint(elevation_deg) for elevation_deg in (80, 60, 40, 20, 10, 3)])
    assert np.all(tints[:, 1] == 1.0)
    assert np.all(np.diff(tints[:, 0]) < 0.0) and np.all(np.diff(tints[:, 2]) > 0.0)
