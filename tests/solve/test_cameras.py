"""Every form of a camera's words gives the camera that it describes."""

from math import atan2, degrees, hypot, radians, sqrt, tan
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compositor.base.errors import FaultyScene
from compositor.geometry.camera import Camera
from compositor.geometry.distortion import Distortion, distort
from compositor.measure.facts import PictureFacts, frame_hull
from compositor.scene.camera import Camera as CameraWords
from compositor.solve.cameras import CameraModel, solve_camera
from compositor.solve.uncertainty import standard_deviations, variances

SIZE = (3000, 2000)
TRUE = Camera(2400.0, (1500.0, 1000.0), SIZE, -4.0, 2.0, 1.6)


def model(words: dict[str, Any], **facts: Any) -> CameraModel:
    size_px = facts.pop("size_px", SIZE)
    return solve_camera(CameraWords.model_validate(words), PictureFacts(size_px, frame_hull(size_px), **facts))


def angles(words: dict[str, Any], **facts: Any) -> tuple[float, float]:
    camera = model(words, **facts).camera()
    return camera.pitch_deg, camera.roll_deg


def pixel(camera: Camera, *point: float) -> list[float]:
    return [float(x) for x in camera.project([point])[0]]


def edge(camera: Camera, start: tuple[float, ...], end: tuple[float, ...]) -> list[list[float]]:
    return [pixel(camera, *start), pixel(camera, *end)]


def group(camera: Camera, heading_deg: float) -> list[list[list[float]]]:
    """Three level edges of one direction at different heights and places."""
    x, y = np.sin(radians(heading_deg)), np.cos(radians(heading_deg))
    starts = [(-2.0, 8.0, 0.0), (1.0, 9.0, 2.4), (2.0, 8.0, 0.9)]
    return [edge(camera, s, (s[0] + 4 * x, s[1] + 4 * y, s[2])) for s in starts]


LENS = {"lens": {"pixels": 2400}}


@pytest.mark.parametrize(
    "horizon",
    [
        TRUE.horizon_row(1500.0),
        {"row": TRUE.horizon_row(1500.0), "plus_minus": 3},
        f"{TRUE.horizon_row(1500.0) / 20:.9f}%",
        {"between": [TRUE.horizon_row(1500.0) - 40, TRUE.horizon_row(1500.0) + 40]},
        {"pitch": -4},
    ],
)
def test_horizon_with_a_stated_roll(horizon: Any) -> None:
    assert angles({"horizon": horizon, "roll": 2, **LENS}) == pytest.approx((-4.0, 2.0), abs=1e-8)


def test_horizon_by_two_points_tells_the_roll() -> None:
    points = [[0.0, TRUE.horizon_row(0.0)], [2800.0, TRUE.horizon_row(2800.0)]]
    assert angles({"horizon": {"points": points}, **LENS}) == pytest.approx((-4.0, 2.0), abs=1e-9)
    with pytest.raises(FaultyScene) as caught:
        model({"horizon": {"points": points}, "roll": 1, **LENS})
    assert caught.value.faults[0].key == ("roll",)


def test_two_groups_tell_pitch_roll_and_lens() -> None:
    words = {"horizon": {"groups": [group(TRUE, 35), group(TRUE, 125)]}}
    solved = model(words)
    assert solved.camera().focal_px == pytest.approx(2400.0, rel=1e-6)
    assert (solved.camera().pitch_deg, solved.camera().roll_deg) == pytest.approx((-4.0, 2.0), abs=1e-6)
    assert "perpendicular" in solved.assumed[0]
    # Vanishing points outside the frame are the normal case.
    for marked in solved.edge_groups:
        u, v, w = marked.vanishing_px
        assert not (0 <= u / w <= 3000 and 0 <= v / w <= 2000)


def test_one_group_and_a_roll_tell_the_pitch() -> None:
    words = {"horizon": {"lines": group(TRUE, 60)}, "roll": 2, **LENS}
    assert angles(words) == pytest.approx((-4.0, 2.0), abs=1e-7)
    level = Camera(2400.0, (1500.0, 1000.0), SIZE, -4.0, 0.0, 1.6)
    without = model({"horizon": {"lines": group(level, 60)}, **LENS})
    assert without.camera().pitch_deg == pytest.approx(-4.0, abs=1e-7)
    assert any("roll" in text for text in without.assumed)


def test_published_perpendicular_vanishing_points() -> None:
    # f² = −(v1 − p)·(v2 − p), hand-computable example: p = (960, 540), v1 = (−640, 340), v2 = (1760, 340):
    # f = √1240000 (Caprile & Torre, IJCV 4, 1990; Hartley & Zisserman 2004, section 8.8).
    def through(point: tuple[float, float]) -> list[list[list[float]]]:
        return [[[a, b], [a + 0.3 * (point[0] - a), b + 0.3 * (point[1] - b)]] for a, b in [(900, 800), (1000, 200)]]

    solved = model({"horizon": {"groups": [through((-640, 340)), through((1760, 340))]}}, size_px=(1920, 1080))
    assert solved.focal_px == pytest.approx(sqrt(1_240_000), rel=1e-9)
    assert solved.row_px == pytest.approx(340.0, abs=1e-7)


@pytest.mark.parametrize(
    ("lens", "facts", "focal_px"),
    [
        ({"pixels": 2890}, {}, 2890.0),
        ({"equivalent_mm": 35}, {}, 35 * hypot(3000, 2000) / hypot(36, 24)),
        ({"focal_mm": 24, "sensor_mm": [23.5, 15.6]}, {}, 24 * 3000 / 23.5),
        ({"fov": 54}, {}, 1500 / tan(radians(27))),
        ("exif", {"equivalent_mm": 50.0}, 50 * hypot(3000, 2000) / hypot(36, 24)),
        (None, {"equivalent_mm": 28.0}, 28 * hypot(3000, 2000) / hypot(36, 24)),
    ],
)
def test_lens_forms(lens: Any, facts: dict[str, float], focal_px: float) -> None:
    words = {"horizon": 900} if lens is None else {"horizon": 900, "lens": lens}
    solved = model(words, **facts)
    assert solved.focal_px == pytest.approx(focal_px)
    assert solved.assumed == ()


def test_without_any_lens_a_normal_one_is_assumed_and_said() -> None:
    solved = model({"horizon": 900})
    assert solved.focal_px == pytest.approx(50 * hypot(3000, 2000) / hypot(36, 24))
    assert "normal lens" in solved.assumed[0]


@pytest.mark.parametrize(("facts", "text"), [({}, "states no lens"), ({"focal_mm": 35.0}, "sensor_mm")])
def test_exif_without_a_lens_is_a_fault(facts: dict[str, float], text: str) -> None:
    with pytest.raises(FaultyScene, match=text) as caught:
        model({"horizon": 900, "lens": "exif"}, **facts)
    assert caught.value.faults[0].key == ("lens",)


def test_crop_puts_the_principal_point_where_the_original_had_it() -> None:
    whole = model({"horizon": 832.0, "lens": {"equivalent_mm": 28.84}, "roll": 2}).camera()
    crop = {"offset": [400, 250], "of": [3000, 2000]}
    at_its_centre = whole.horizon_row(400.0 + 600.0) - 250.0
    words = {"horizon": at_its_centre, "lens": {"equivalent_mm": 28.84}, "roll": 2, "crop": crop}
    cropped = model(words, size_px=(1200, 900)).camera()
    assert cropped.principal_px == (1100.0, 750.0)
    assert (cropped.focal_px, cropped.pitch_deg) == pytest.approx((whole.focal_px, whole.pitch_deg))


def test_every_way_to_say_a_row_means_the_centre_column_of_this_picture() -> None:
    # The same rolled photograph, cropped to its right half; the row is read where the eye reads it, in the middle.
    whole = model({"horizon": 832.0, "lens": {"pixels": 2400}, "roll": 3}).camera()
    row = whole.horizon_row(1500.0 + 750.0)
    more = {"lens": {"pixels": 2400}, "roll": 3, "crop": {"offset": [1500, 0], "of": [3000, 2000]}}
    for horizon in (row, {"row": row, "plus_minus": 4}, {"between": [row - 5, row + 5]}, f"{row / 20:.9f}%"):
        cropped = model({"horizon": horizon, **more}, size_px=(1500, 2000)).camera()
        assert (cropped.pitch_deg, cropped.roll_deg) == pytest.approx((whole.pitch_deg, 3.0), abs=1e-6)


def test_a_distortion_that_folds_the_picture_is_refused() -> None:
    # r·(1 + k1·r²) turns back at r = 1/√(−3·k1): for k1 = −1 and a focal length of half the width at .577, inside.
    with pytest.raises(FaultyScene) as caught:
        model({"horizon": 800.0, "lens": {"pixels": 1500}, "distortion": {"k1": -1.0}})
    assert caught.value.faults[0].key == ("distortion",)
    assert model({"horizon": 800.0, "lens": {"pixels": 1500}, "distortion": {"k1": -0.2}}).lens is not None


def test_height_from_references() -> None:
    def reference(x: float, y: float, height_m: float) -> dict[str, Any]:
        return {"base": pixel(TRUE, x, y, 0), "top": pixel(TRUE, x, y, height_m), "height": height_m}

    points = [[0.0, TRUE.horizon_row(0.0)], [2800.0, TRUE.horizon_row(2800.0)]]
    words = {"horizon": {"points": points}, **LENS}
    one = model({**words, "height": {"references": [reference(1, 7, 1.8)]}})
    assert one.camera().height_m == pytest.approx(1.6, rel=1e-9)
    three = [reference(1, 7, 1.8), reference(-2, 9, 2.0), reference(3, 20, 0.9)]
    several = model({**words, "height": {"references": three}})
    assert several.camera().height_m == pytest.approx(1.6, rel=1e-9)
    assert several.uncertain[-1].height_fraction < one.uncertain[-1].height_fraction


def test_reference_above_the_horizon_is_a_fault_of_that_reference() -> None:
    bad = {"base": [1500, 300], "top": [1500, 100], "height": 1.8}
    good = {"base": [1500, 1500], "top": [1500, 900], "height": 1.5}
    with pytest.raises(FaultyScene) as caught:
        model({"horizon": 832, **LENS, "height": {"references": [good, bad]}})
    assert caught.value.faults[0].key == ("height", "references", 1)


@pytest.mark.parametrize("word", ["lines", "groups"])
def test_edges_on_one_line_are_a_fault(word: str) -> None:
    edges = [[[0, 1000], [100, 990]], [[200, 980], [300, 970]]]
    with pytest.raises(FaultyScene) as caught:
        model({"horizon": {word: edges if word == "lines" else [edges]}, **LENS})
    assert caught.value.faults[0].key[:2] == ("horizon", word)


def test_distortion_is_taken_off_before_anything() -> None:
    lens = Distortion(k1=-0.12, k2=0.03, p1=0.0005)

    def bent(point: list[float]) -> list[float]:
        return [float(x) for x in distort([point], lens, 2400.0, (1500.0, 1000.0))[0]]

    points = [bent([u, TRUE.horizon_row(u)]) for u in (100.0, 2800.0)]
    words = {"horizon": {"points": points}, **LENS, "distortion": {"k1": -0.12, "k2": 0.03, "p1": 0.0005}}
    assert angles(words) == pytest.approx((-4.0, 2.0), abs=1e-7)
    groups = [[[bent(a), bent(b)] for a, b in group(TRUE, heading)] for heading in (35, 125)]
    words = {"horizon": {"groups": groups}, **LENS, "distortion": {"k1": -0.12, "k2": 0.03, "p1": 0.0005}}
    assert angles(words) == pytest.approx((-4.0, 2.0), abs=1e-6)


def test_distortion_without_a_lens_is_a_fault() -> None:
    with pytest.raises(FaultyScene) as caught:
        model({"horizon": 900, "distortion": {"k1": -0.1}})
    assert caught.value.faults[0].key == ("distortion",)


def test_bounds_carry_the_deviation_of_a_uniform_distribution() -> None:
    # JCGM 100:2008, section 4.3.7: half-width a gives a/√3.
    solved = model({"horizon": {"between": [900, 1000]}, **LENS})
    assert solved.uncertain[0].horizon_px == pytest.approx(50 / sqrt(3))


@given(st.integers(0, 2**32 - 1))
def test_uncertainty_of_marked_edges_is_honest(seed: int) -> None:
    """First-order deviation of the pitch against noise put on the edges' ends: the error stays within 5 of it."""
    rng = np.random.default_rng(seed)
    noisy = [
        [[list(np.array(end) + rng.normal(0, 1, 2)) for end in one] for one in group(TRUE, heading)]
        for heading in (35, 125)
    ]
    solved = model({"horizon": {"groups": noisy}, **LENS})

    def numbers(nudge: Any) -> dict[str, float]:
        return {"pitch_deg": solved.camera(nudge).pitch_deg}

    deviation = standard_deviations(variances(numbers, solved.uncertain))["pitch_deg"]
    assert 0.0 < deviation < 3.0
    assert abs(solved.camera().pitch_deg + 4.0) < 5 * deviation


def test_first_order_deviation_equals_sampling() -> None:
    rng = np.random.default_rng(1)
    clean = [group(TRUE, heading) for heading in (35, 125)]
    solved = model({"horizon": {"groups": clean}, **LENS})

    def numbers(nudge: Any) -> dict[str, float]:
        camera = solved.camera(nudge)
        return {"pitch": camera.pitch_deg, "roll": camera.roll_deg}

    expected = standard_deviations(variances(numbers, solved.uncertain))
    found = []
    for _ in range(300):
        noisy = [[[list(np.array(end) + rng.normal(0, 1, 2)) for end in one] for one in edges] for edges in clean]
        camera = model({"horizon": {"groups": noisy}, **LENS}).camera()
        found.append((camera.pitch_deg, camera.roll_deg))
    pitch_sd, roll_sd = np.std(found, axis=0)
    assert pitch_sd == pytest.approx(expected["pitch"], rel=0.15)
    assert roll_sd == pytest.approx(expected["roll"], rel=0.15)


def test_roll_of_a_horizon_line() -> None:
    camera = model({"horizon": {"points": [[0, 1000], [3000, 900]]}, **LENS}).camera()
    assert camera.roll_deg == pytest.approx(degrees(atan2(100, 3000)))
