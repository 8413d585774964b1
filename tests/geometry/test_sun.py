"""The sun and its shadows against published numbers."""

import csv
from datetime import UTC, datetime
from math import cos, hypot, radians, sin
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compositor.base.errors import GeometryError
from compositor.geometry.camera import Camera
from compositor.geometry.shadow import half_shadow_radii
from compositor.geometry.solar import Air, sun_position
from compositor.geometry.sun import (
    HALF_ANGLE_DEG,
    Sun,
    shadow_length,
    shadow_tip,
    sun_at_pixel,
    sun_of_shadow,
)

REFERENCE = Path(__file__).parents[1] / "reference"


def rows(name: str) -> list[dict[str, str]]:
    with (REFERENCE / name).open() as file:
        return list(csv.DictReader(file))


def test_worked_example_of_the_solar_position_algorithm() -> None:
    """Reda & Andreas, NREL/TP-560-34302, table A5.1: zenith 50.11162°, azimuth 194.34024°."""
    time = datetime.fromisoformat("2003-10-17T12:30:30-07:00")
    sun = sun_position(time, 39.742476, -105.1786, Air(820.0, 11.0))
    assert 90.0 - sun.elevation_deg == pytest.approx(50.11162, abs=0.01)
    assert sun.azimuth_deg == pytest.approx(194.34024, abs=0.01)


@pytest.mark.parametrize("row", rows("sun_positions.csv"), ids=lambda row: f"{row['place']} {row['utc']}")
def test_places_and_times(row: dict[str, str]) -> None:
    """pvlib 0.16.1, its implementation of the same algorithm. Azimuth is compared on the sphere: overhead it has no
    meaning."""
    time = datetime.fromisoformat(row["utc"]).replace(tzinfo=UTC)
    air = Air(float(row["pressure_pa"]) / 100.0, float(row["temp_c"]))
    sun = sun_position(time, float(row["lat_deg"]), float(row["lon_deg_east"]), air)
    assert sun.elevation_deg == pytest.approx(float(row["apparent_elev_deg"]), abs=0.01)
    assert sun.true_elevation_deg == pytest.approx(float(row["true_elev_deg"]), abs=0.01)
    turned = (sun.azimuth_deg - float(row["azimuth_deg_cw_from_north"])) * cos(radians(sun.elevation_deg))
    assert abs(turned) <= 0.01
    if sun.elevation_deg > 5.0:
        wanted = float(row["shadow_len_m_of_1.8m"])
        assert shadow_length(1.8, sun.elevation_deg) == pytest.approx(wanted, rel=0.003)


@pytest.mark.parametrize(
    ("elevation_deg", "ratio"), [(15, 3.732051), (30, 1.732051), (45, 1.0), (60, 0.577350), (26.565051, 2.0)]
)
def test_shadow_length_is_height_over_the_tangent(elevation_deg: float, ratio: float) -> None:
    assert shadow_length(1.0, elevation_deg) == pytest.approx(ratio, abs=1e-6)


@pytest.mark.parametrize(
    ("elevation_deg", "width_m"), [(10, 0.55584), (20, 0.14320), (30, 0.06700), (45, 0.03350), (60, 0.02233)]
)
def test_half_shadow_on_the_ground(elevation_deg: float, width_m: float) -> None:
    """Of an edge 1.8 m high under a disc of 959.63″ radius (the sun at one astronomical unit), by plane geometry.

    What shadows are blurred by is the first order of it, H·α/sin² e, good to a thousandth at 10°.
    """
    slant = sin(radians(elevation_deg))
    _, along_m = half_shadow_radii(1.8 / slant, slant, HALF_ANGLE_DEG)
    assert 2.0 * along_m == pytest.approx(width_m, rel=1e-3)


@pytest.mark.parametrize(("distance_m", "width_mm"), [(0.1, 0.930), (1.0, 9.305), (5.0, 46.525), (10.0, 93.049)])
def test_half_shadow_square_to_the_light(distance_m: float, width_mm: float) -> None:
    """The sun's disc is 1/107.47 of its distance across."""
    across_m, _ = half_shadow_radii(distance_m, sin(radians(35.0)), HALF_ANGLE_DEG)
    width_m = 2.0 * across_m
    assert width_m * 1000.0 == pytest.approx(width_mm, rel=2e-4, abs=7e-4)


@pytest.mark.parametrize("row", rows("shadows_in_the_picture.csv"))
def test_shadow_of_a_pole_in_the_picture(row: dict[str, str]) -> None:
    """A pole of 1.8 m at X = 0.5, Y = 8, projected by OpenCV 4.14 (cv2.projectPoints)."""
    camera = Camera(1200.0, (960.0, 540.0), (1920, 1080), -float(row["pitch_down_deg"]), 0.0, 1.6)
    sun = Sun(float(row["sun_az_minus_heading_deg"]), float(row["sun_elev_deg"]))
    base, top = (camera.project([[0.5, 8.0, z]])[0] for z in (0.0, 1.8))
    ground = shadow_tip((0.5, 8.0, 1.8), sun)
    assert hypot(ground[0] - 0.5, ground[1] - 8.0) == pytest.approx(float(row["ground_shadow_len_m"]), abs=1e-4)
    tip = camera.project([[*ground, 0.0]])[0]
    for found, name in ((base, "base"), (top, "top"), (tip, "shadow_tip")):
        assert found == pytest.approx([float(row[f"{name}_u"]), float(row[f"{name}_v"])], abs=1e-3)
    told = sun_of_shadow(camera, tuple(base), tuple(top), tuple(tip))
    assert np.allclose(told.direction, sun.direction, atol=1e-9)
    across = camera.direction_px(sun.direction)
    if abs(across[2]) > 1e-6 and row["sun_vp_u"] != "inf":
        assert across[:2] / across[2] == pytest.approx([float(row["sun_vp_u"]), float(row["sun_vp_v"])], rel=1e-5)


@given(st.floats(-40, 40), st.floats(1, 60), st.floats(-15, 15), st.floats(-30, 30).filter(lambda roll: abs(roll) < 30))
def test_the_sun_is_where_it_is_seen(azimuth: float, elevation: float, pitch: float, roll: float) -> None:
    camera = Camera(1500.0, (900.0, 600.0), (1800, 1200), pitch, roll, 1.7)
    u, v, w = camera.direction_px(Sun(azimuth, elevation).direction)
    if w <= 1e-3:
        return
    found = sun_at_pixel(camera, (float(u / w), float(v / w)))
    assert found.azimuth_deg == pytest.approx(azimuth, abs=1e-6)
    assert found.elevation_deg == pytest.approx(elevation, abs=1e-6)


def test_no_sun_below_the_horizon() -> None:
    camera = Camera(1500.0, (900.0, 600.0), (1800, 1200), 0.0, 0.0, 1.7)
    with pytest.raises(GeometryError, match="below the horizon"):
        sun_at_pixel(camera, (900.0, 700.0))
    with pytest.raises(GeometryError, match="no length"):
        sun_of_shadow(camera, (900.0, 900.0), (900.0, 500.0), (900.0, 900.0))
