"""Air against Koschmieder at its two published thresholds, focus against published depth of field; reach of planes."""

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compositor.base.errors import GeometryError
from compositor.geometry.air import attenuation_from_optical_range, attenuation_from_visibility, transmission
from compositor.geometry.camera import Camera
from compositor.geometry.focus import Focus
from compositor.geometry.planes import facing, lying
from compositor.geometry.reach import reach

REFERENCE = Path(__file__).parents[1] / "reference"


def rows(name: str) -> list[dict[str, str]]:
    with (REFERENCE / name).open() as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", rows("haze.csv"), ids=lambda r: f"{r['definition']}-{r['range_m']}-{r['distance_m']}")
def test_transmission_as_published(row: dict[str, str]) -> None:
    by_range = attenuation_from_visibility if row["definition"].startswith("visual") else attenuation_from_optical_range
    beta = by_range(float(row["range_m"]))
    assert beta == pytest.approx(float(row["beta_per_m"]), abs=1e-9)
    share = transmission(beta, float(row["distance_m"]))
    assert share == pytest.approx(float(row["transmission"]), abs=1e-8)
    assert 0.2 * share + 0.8 * (1 - share) == pytest.approx(float(row["radiance_J0.2_A0.8"]), abs=1e-8)


def test_thresholds_are_what_is_left() -> None:
    assert transmission(attenuation_from_visibility(7000.0), 7000.0) == pytest.approx(0.02, abs=1e-15)
    assert transmission(attenuation_from_optical_range(7000.0), 7000.0) == pytest.approx(0.05, abs=1e-15)


@pytest.mark.parametrize("row", rows("depth_of_field.csv"), ids=lambda r: "-".join(list(r.values())[:4]))
def test_limits_of_the_depth_of_field_have_the_tolerated_blur(row: dict[str, str]) -> None:
    """Greenleaf 1950: at the near and the far limit the blur disc is just the tolerated one."""
    focus = Focus(float(row["focus_mm"]) / 1000, float(row["N"]), float(row["focal_mm"]))
    tolerated = float(row["c_mm"])
    for limit in ("near_mm", "far_mm"):
        distance_mm = float(row[limit])
        # The table is rounded to .001 mm; how much that moves the disc follows from the disc's own slope.
        around = [float(focus.blur_disc_mm(d / 1000)) for d in (distance_mm - 0.0006, distance_mm + 0.0006)]
        if math.isfinite(distance_mm):
            assert min(around) - 1e-9 <= tolerated <= max(around) + 1e-9
        else:
            assert float(focus.blur_disc_mm(np.inf)) <= tolerated


@pytest.mark.parametrize(
    ("focus", "discs"),
    [
        (
            Focus(3.0, 2.0, 50.0),
            {1.0: 0.847458, 1.5: 0.423729, 2.0: 0.211864, 2.5: 0.084746, 3.0: 0.0, 4.0: 0.105932, 6.0: 0.211864,
             12.0: 0.317797, 50.0: 0.398305, math.inf: 0.423729},
        ),
        (Focus(2.0, 4.0, 100.0), {1.0: 1.315789, 1.5: 0.438596, 3.0: 0.438596, 8.0: 0.986842, math.inf: 1.315789}),
    ],
)  # fmt: skip
def test_blur_discs(focus: Focus, discs: dict[float, float]) -> None:
    """Thin lens by similar triangles, worked by hand: A·|v_s − v_d| / v_d."""
    for distance_m, wanted_mm in discs.items():
        assert float(focus.blur_disc_mm(distance_m)) == pytest.approx(wanted_mm, abs=1e-6)


def test_pixels_follow_from_the_sensor() -> None:
    """6000 px on 36 mm: f = 50 mm is 8333.3 px (worked: 0.211864 mm · 6000 / 36 = 35.311 px)."""
    assert float(Focus(3.0, 2.0, 50.0).blur_disc_px(2.0, 50 * 6000 / 36)) == pytest.approx(35.311, abs=1e-3)


def test_a_lens_cannot_focus_inside_itself() -> None:
    with pytest.raises(GeometryError, match="cannot focus"):
        Focus(0.05, 2.0, 85.0)


CAMERAS = st.builds(
    Camera,
    focal_px=st.floats(400, 4000),
    principal_px=st.just((600.0, 400.0)),
    size_px=st.just((1200, 800)),
    pitch_deg=st.floats(-30, 10),
    roll_deg=st.floats(-10, 10),
    height_m=st.floats(0.5, 5),
)


@given(CAMERAS, st.floats(4, 40), st.floats(-2, 2), st.floats(-1.5, 1.5), st.floats(0, 2), st.booleans())
def test_reach_is_the_distance_of_the_point_that_is_seen(
    camera: Camera, y: float, x: float, s: float, z: float, flat: bool
) -> None:
    plane = lying((x, y)) if flat else facing((x, y))
    point = plane.point_m(s, z)
    try:
        u, v = camera.project(point)[0]
    except GeometryError:
        return
    along, depth = reach(camera, plane, np.array([u]), np.array([v]))
    apart = point - camera.position_m
    assert along[0, 0] == pytest.approx(float(np.linalg.norm(apart)), rel=1e-6)
    assert depth[0, 0] == pytest.approx(float((camera.rotation @ apart)[2]), rel=1e-6)


def test_above_the_horizon_the_ground_is_nowhere() -> None:
    camera = Camera(1000.0, (500.0, 400.0), (1000, 800), 0.0, 0.0, 1.5)
    along, depth = reach(camera, lying((0.0, 5.0)), np.array([500.5]), np.array([100.5, 700.5]))
    assert np.isinf(along[0, 0]) and np.isinf(depth[0, 0])
    assert depth[1, 0] == pytest.approx(1000 * 1.5 / 300.5, rel=1e-9)
