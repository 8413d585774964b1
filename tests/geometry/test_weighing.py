"""Evidence of every kind, alone and together, against cameras that are known exactly."""

import numpy as np
import pytest

from compositor.base.arrays import Floats
from compositor.base.errors import GeometryError
from compositor.geometry.camera import Camera
from compositor.geometry.evidence import (
    Evidence,
    FoundStructure,
    HorizonPoint,
    LevelEdges,
    Standing,
    StatedValue,
    UprightEdges,
    horizon_between,
    tops_over,
)
from compositor.geometry.structure import Structure
from compositor.geometry.weighing import Frame, weigh

FRAME = Frame((1920, 1080), (960.0, 540.0))
CAMERA = Camera(1500.0, FRAME.principal_px, FRAME.size_px, -7.0, 1.5, 1.6)
X, Y = np.array([0.6, 0.8, 0.0]), np.array([0.8, -0.6, 0.0])


def edges(camera: Camera, direction: Floats, seed: int, noise_px: float = 0.0, count: int = 4) -> Floats:
    random = np.random.default_rng(seed)
    starts = np.column_stack([random.uniform(-3, 3, count), random.uniform(6, 14, count), random.uniform(0, 4, count)])
    pixels = np.stack([camera.project(starts), camera.project(starts + 2.0 * direction)], axis=1)
    return pixels + random.normal(0, noise_px, pixels.shape)


def people(camera: Camera, height_m: float, seed: int, noise_px: float = 0.0, count: int = 4) -> tuple[Floats, Floats]:
    random = np.random.default_rng(seed)
    feet = np.column_stack([random.uniform(-3, 3, count), random.uniform(5, 25, count), np.zeros(count)])
    bases, tops = camera.project(feet), camera.project(feet + [0.0, 0.0, height_m])
    return bases + random.normal(0, noise_px, bases.shape), tops + random.normal(0, noise_px, tops.shape)


def test_published_heights_of_tops() -> None:
    """Worked case with pitch and roll (Criminisi, Reid & Zisserman 2000, equation in its two-dimensional form;
    numbers by an independent OpenCV camera; pitch 10 DOWN, roll 3, height 1.6 m, f 1200)."""
    camera = Camera(1200.0, (960.0, 540.0), (1920, 1080), -10.0, 3.0, 1.6)
    bases = np.array([[1159.1180, 633.2459], [1145.5464, 396.8048], [1195.693554, 508.566878]])
    tops = np.array([[1148.7815, 192.0990], [1141.2771, 223.1733], [1193.591393, 389.437427]])
    assert tops_over(camera, bases, np.array([2.2, 3.5, 1.0]) / 1.6) == pytest.approx(tops, abs=1e-3)


def test_two_groups_of_edges_give_everything_but_height() -> None:
    evidence: list[Evidence] = [
        LevelEdges("kerb", edges(CAMERA, X, 1), 0.05),
        LevelEdges("wall", edges(CAMERA, Y, 2), 0.05, right_angle_to="kerb"),
    ]
    found = weigh(evidence, FRAME)
    assert found.camera.pitch_deg == pytest.approx(CAMERA.pitch_deg, abs=0.05)
    assert found.camera.roll_deg == pytest.approx(CAMERA.roll_deg, abs=0.05)
    assert found.camera.focal_px == pytest.approx(CAMERA.focal_px, rel=0.01)
    assert not found.height_known
    assert found.contradicting == ()


def test_people_of_equal_height_give_horizon_and_camera_height_in_their_units() -> None:
    bases, tops = people(CAMERA, 1.75, 3)
    found = weigh([Standing("guests", bases, tops, None, 0.1), StatedValue("lens", "focal_px", 1500.0, 15.0)], FRAME)
    assert found.camera.horizon_row(960.0) == pytest.approx(CAMERA.horizon_row(960.0), abs=3.0)
    assert found.heights["guests"] == pytest.approx(1.75 / 1.6, rel=0.01), "in camera heights"
    assert not found.height_known


def test_a_reference_gives_the_height_in_metres() -> None:
    bases, tops = people(CAMERA, 2.0, 4, count=2)
    found = weigh(
        [
            Standing("doors", bases, tops, 2.0),
            HorizonPoint("marked", 960.0, CAMERA.horizon_row(960.0), 1.0),
            StatedValue("lens", "focal_px", 1500.0, 15.0),
            StatedValue("level", "roll_deg", 1.5, 0.1),
        ],
        FRAME,
    )
    assert found.height_known
    assert found.camera.height_m == pytest.approx(1.6, abs=0.02)
    assert 0.0 < found.plus_minus["camera_height_m"] < 0.1


def test_bounds_are_a_flat_distribution() -> None:
    bounds = horizon_between("between", 400.0, 500.0, 960.0)
    assert bounds.row_px == 450.0
    assert bounds.row_sd_px == pytest.approx(28.8675, abs=1e-4)
    found = weigh([bounds], FRAME)
    assert found.camera.horizon_row(960.0) == pytest.approx(450.0, abs=0.5)
    assert 20.0 < found.plus_minus["horizon_left_px"] < 60.0


def test_better_evidence_weighs_more() -> None:
    sharp, vague = HorizonPoint("sharp", 960.0, 300.0, 2.0), HorizonPoint("vague", 960.0, 340.0, 20.0)
    row = weigh([sharp, vague], FRAME).camera.horizon_row(960.0)
    assert row == pytest.approx((300.0 / 4 + 340.0 / 400) / (1 / 4 + 1 / 400), abs=0.2)


def test_the_one_that_contradicts_is_named() -> None:
    bases, tops = people(CAMERA, 1.75, 5, 0.5)
    good: list[Evidence] = [
        LevelEdges("kerb", edges(CAMERA, X, 6, 0.5), 0.5),
        UprightEdges("walls", edges(CAMERA, np.array([0.0, 0.0, 1.0]), 7, 0.5), 0.5),
        Standing("guests", bases, tops, None, 0.5),
        StatedValue("lens", "focal_px", 1500.0, 30.0),
    ]
    assert weigh(good, FRAME).contradicting == ()
    wrong = HorizonPoint("guess", 960.0, CAMERA.horizon_row(960.0) + 150.0, 5.0)
    found = weigh([*good, wrong], FRAME)
    assert found.contradicting == ("guess",)
    assert found.camera.horizon_row(960.0) == pytest.approx(CAMERA.horizon_row(960.0), abs=40.0)
    assert found.plus_minus["pitch_deg"] > weigh(good, FRAME).plus_minus["pitch_deg"], "less sure than without it"


def test_two_that_disagree_are_both_named() -> None:
    found = weigh([HorizonPoint("one", 960.0, 300.0, 4.0), HorizonPoint("two", 960.0, 420.0, 4.0)], FRAME)
    assert set(found.contradicting) == {"one", "two"}


def test_the_automatic_answer_alone_is_left_as_it_is() -> None:
    """What is usual was weighed when it was found, and is not weighed again; other evidence pulls it."""
    covariance = np.diag([0.3, 0.5, 0.1]) ** 2
    structure = Structure(2600.0, -9.0, 1.0, covariance, (9.0, 9.0), (), 4.0, 100, 0.9, 50.0, 50.0)
    alone = weigh([FoundStructure("edges", structure)], FRAME)
    assert alone.camera.focal_px == pytest.approx(2600.0, rel=0.01)
    assert alone.camera.pitch_deg == pytest.approx(-9.0, abs=0.01)
    assert alone.plus_minus["pitch_deg"] == pytest.approx(0.5, rel=0.01)
    both = weigh([FoundStructure("edges", structure), StatedValue("tilt", "pitch_deg", -8.0, 0.5)], FRAME)
    assert both.camera.pitch_deg == pytest.approx(-8.5, abs=0.02)


def test_no_evidence_is_refused() -> None:
    with pytest.raises(GeometryError, match="no evidence"):
        weigh([], FRAME)


def test_intervals_cover_the_truth_as_often_as_they_say() -> None:
    """One standard deviation holds the truth 60 to 76 % of the time: 50 scenes with known marking errors."""
    random = np.random.default_rng(17)
    inside: list[bool] = []
    for seed in range(50):
        camera = Camera(
            float(random.uniform(1000, 2200)),
            FRAME.principal_px,
            FRAME.size_px,
            float(random.uniform(-14, 10)),
            float(random.normal(0, 1.5)),
            float(random.uniform(1.2, 2.0)),
        )
        sd_px = float(random.uniform(0.5, 2.0))
        bases, tops = people(camera, 1.75, seed + 500, sd_px)
        stated_px = camera.focal_px * (1.0 + float(random.normal(0, 0.03)))
        evidence: list[Evidence] = [
            LevelEdges("kerb", edges(camera, X, seed, sd_px), sd_px),
            LevelEdges("wall", edges(camera, Y, seed + 250, sd_px), sd_px),
            Standing("guests", bases, tops, 1.75, sd_px),
            StatedValue("lens", "focal_px", stated_px, 0.03 * stated_px),
        ]
        found = weigh(evidence, FRAME)
        for key, value, true in (
            ("pitch_deg", found.camera.pitch_deg, camera.pitch_deg),
            ("roll_deg", found.camera.roll_deg, camera.roll_deg),
            ("focal_px", found.camera.focal_px, camera.focal_px),
            ("horizon_left_px", found.camera.horizon_row(0.0), camera.horizon_row(0.0)),
            ("horizon_right_px", found.camera.horizon_row(1920.0), camera.horizon_row(1920.0)),
            ("camera_height_m", found.camera.height_m, camera.height_m),
        ):
            inside.append(abs(value - true) < found.plus_minus[key])
    assert 0.60 < float(np.mean(inside)) < 0.76
