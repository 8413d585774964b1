"""Light that comes back from an element, against light carried between plain surfaces."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compositor.geometry.sun import Sun
from compositor.pixels.mips import Mips
from compositor.plan.light import Light
from compositor.render.bounced import GROUND_REFLECTANCE, Faced, sent_back
from compositor.render.surround import seen_from_ground

LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
GROUND = np.full(3, GROUND_REFLECTANCE)
OVERCAST = Light(None, (1.0, 1.0, 1.0), None, (), ())
SUNNY = Light(Sun(0.0, 45.0), (0.2, 0.25, 0.4), None, (), ())
TO_CAMERA = (0.0, -1.0)


def face_of(paint: np.ndarray, light: Light) -> np.ndarray:
    """What a wall in the shade, the sun beyond it, shows of its paint: lit by half the sky and half the ground. The
    ground sees the sun but for the wall's shadow; tan(45° / 2) of what the wall sees of it is beyond that."""
    left = np.array(light.left_ratio)
    sunlit = 1.0 if light.sun is None else np.sqrt(2.0) - 1.0
    sent: np.ndarray = paint * (left + GROUND * (sunlit + (1.0 - sunlit) * left)) / 2.0
    return sent


@pytest.mark.parametrize("light", [OVERCAST, SUNNY])
def test_a_face_in_the_shade_sends_what_it_shows(light: Light) -> None:
    """A wall that hides all of the sky lights the ground as a sky of its own radiance would."""
    face = face_of(np.array([0.6, 0.3, 0.1]), light)
    back = sent_back(Faced(face, GROUND, TO_CAMERA), light, LUMINANCE)
    np.testing.assert_allclose(back, face / np.array(light.left_ratio), rtol=1e-12)


def test_a_face_in_the_sun_has_another_in_the_shade() -> None:
    """The same wall, the camera on the sun's side: far lighter to see, and as dark on its other side. An upright
    cylinder lit from behind the camera has π / 4 of the light on a plane that faces the sun (Lambert)."""
    light = replace(SUNNY, sun=Sun(180.0, 45.0))
    paint, left = np.array([0.6, 0.3, 0.1]), np.array(light.left_ratio)
    shaded = face_of(paint, light)
    face = shaded + paint * (1.0 - left) * np.pi / 4.0
    back = sent_back(Faced(face, GROUND, TO_CAMERA), light, LUMINANCE)
    np.testing.assert_allclose(back, shaded / left, rtol=1e-12)


def test_exposure_is_nothing() -> None:
    face = face_of(np.array([0.6, 0.3, 0.1]), SUNNY)
    expected = sent_back(Faced(face, GROUND, TO_CAMERA), SUNNY, LUMINANCE)
    np.testing.assert_allclose(
        sent_back(Faced(face / 3.0, GROUND / 3.0, TO_CAMERA), SUNNY, LUMINANCE), expected, rtol=1e-12
    )


def test_ground_in_shade_is_known_for_ground_in_shade() -> None:
    """In the plate's own shade ground and face lose the same light: a face as light as the ground under an open sky
    sends as much of it back."""
    left = np.array(SUNNY.left_ratio)
    paint = np.full(3, 0.5)
    face = paint * left * (1.0 + GROUND) / 2.0
    back = sent_back(Faced(face, GROUND * left, TO_CAMERA, 1.0), SUNNY, LUMINANCE)
    np.testing.assert_allclose(back, paint * (1.0 + GROUND) / 2.0, rtol=1e-12)


@given(
    colours=st.tuples(*(st.floats(0.0, 1.0) for _ in range(9))),
    azimuth_deg=st.floats(-180.0, 180.0),
    elevation_deg=st.floats(1.0, 90.0),
    shaded=st.floats(0.0, 1.0),
)
def test_no_more_comes_back_than_was_kept_away(
    colours: tuple[float, ...], azimuth_deg: float, elevation_deg: float, shaded: float
) -> None:
    face, ground, left = (np.array(colours[i : i + 3]) for i in (0, 3, 6))
    light = Light(Sun(azimuth_deg, elevation_deg), (left[0], left[1], left[2]), None, (), ())
    back = sent_back(Faced(face, ground, TO_CAMERA, shaded), light, LUMINANCE)
    assert np.all((back >= 0.0) & (back <= 1.0))


def test_the_foot_of_a_thing_counts_most() -> None:
    """Against the form factor summed up numerically: ground up to 0.6 of the height away, beside a wide wall."""
    samples = np.zeros((100, 4, 4), np.float32)
    samples[..., 3] = 1.0
    samples[:50, :, 0] = samples[50:, :, 1] = 1.0
    found = seen_from_ground(Mips(samples), (2.0, 100.0), (2.0, 0.0))
    away, height = np.meshgrid((np.arange(6000) + 0.5) * 1e-4, (np.arange(100) + 0.5) / 100)
    seen = (away * height / np.hypot(away, height) ** 3).sum(axis=1)
    assert found is not None
    np.testing.assert_allclose(found[:2], [seen[50:].sum() / seen.sum(), seen[:50].sum() / seen.sum()], rtol=1e-3)
    assert seen_from_ground(Mips(samples * np.float32(0.5)), (2.0, 100.0), (2.0, 0.0)) is None
