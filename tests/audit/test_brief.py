"""A brief followed exactly gives a photograph that fits; its words, and when the sun stands right."""

from datetime import UTC, datetime, timedelta
from math import atan2, degrees, hypot

import pytest
from audit_scenes import PLATE, Camera, scene, solved, subject
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from compositor.audit.brief import FULL_FRAME, Brief, Sensor, Spot, brief, outline_m, usual_lenses_mm
from compositor.audit.sunlight import SunSeen, windows
from compositor.base.errors import GeometryError
from compositor.base.known_sizes import KINDS, body_part_at, known_size
from compositor.plan.model import Plan
from compositor.report.brief_text import BriefSun, advice, brief_record, brief_text, direction

between = st.floats


def plan_of(plate: Camera = PLATE) -> Plan:
    return solved(scene(plate=plate))[0]


@st.composite
def places(draw: st.DrawFn) -> tuple[Camera, Spot]:
    """A plate and a spot whose foot is inside the frame."""
    plate = Camera(
        draw(between(1500, 4000)), (1500.0, 1000.0), (3000, 2000), draw(between(-15, 5)), 0.0, draw(between(0.5, 3))
    )
    distance_m, aside = draw(between(1.5, 25)), draw(between(-0.9, 0.9))
    spot = Spot("one", (aside * 1500.0 / plate.focal_px * distance_m, distance_m), draw(between(0.3, 2.5)), 0.6)
    (u, v) = plate.project([(*spot.ground_m, 0.0)])[0]
    assume(5 < u < 2995 and 5 < v < 1995)
    return plate, spot


def followed(found: Brief, focal_mm: float) -> dict[str, object]:
    """The element that a photographer brings home who keeps to the numbers on the sheet, rounded as JSON has them."""
    record = brief_record(found, None, None)
    (wide_px, high_px), (wide_mm, _) = record["sensor_px"], record["sensor_mm"]
    own = Camera(
        focal_mm * wide_px / wide_mm,
        (wide_px / 2, high_px / 2),
        (wide_px, high_px),
        record["tilt_deg"],
        0.0,
        record["camera_height_m"],
    )
    x, y = found.stands_m
    assert hypot(x, y) == pytest.approx(record["distance_m"])
    distance, offset = found.spot.ground_m[1], found.spot.ground_m[0]
    return subject("one", own, (x, y), found.spot.tall_m, ground={"distance": distance, "offset": offset})


@given(places(), between(0, 1))
@settings(max_examples=80)
def test_a_brief_followed_exactly_gives_an_element_without_findings(place: tuple[Camera, Spot], share: float) -> None:
    plate, spot = place
    found = brief(plan_of(plate), spot, Sensor((36.0, 24.0), (12000, 8000)))
    assume(found.feasible)
    low, high = found.focal_mm
    element = followed(found, low + share * (high - low))
    findings = solved(scene(element, plate=plate), sizes={"one.png": found.sensor.size_px})[1]
    assert findings == ()


@given(places())
def test_the_subject_stays_inside_the_picture_with_room(place: tuple[Camera, Spot]) -> None:
    plate, spot = place
    found = brief(plan_of(plate), spot, FULL_FRAME)
    seen = found.camera.project(outline_m(found)) / found.sensor.size_px
    assert seen.min() >= 0.08 - 1e-9 and seen.max() <= 0.92 + 1e-9
    assert found.horizon_fraction == pytest.approx(plate.height_m / spot.tall_m)
    assert found.depression_deg == pytest.approx(degrees(atan2(plate.height_m, hypot(*spot.ground_m))))


def test_the_range_of_camera_heights_keeps_inside_the_tolerance() -> None:
    plan = plan_of()
    found = brief(plan, Spot("one", (0.0, 6.0), 1.75, 0.5), FULL_FRAME)
    for height_m in found.camera_height_range_m:
        off = degrees(atan2(height_m, 6.0) - atan2(1.6, 6.0))
        assert abs(off) == pytest.approx(1.5, abs=1e-6)


def test_too_few_pixels_are_told() -> None:
    found = brief(plan_of(), Spot("one", (0.0, 6.0), 1.75, 0.5), Sensor((36.0, 24.0), (600, 400)))
    assert not found.feasible and usual_lenses_mm(found) == ()
    (lens,) = [one.text for one in advice(found, None) if one.heading == "Lens"]
    assert "times as many pixels" in lens


def test_a_camera_above_reach_asks_for_care() -> None:
    def said(height_m: float) -> str:
        plan = plan_of(Camera(2400.0, (1500.0, 1000.0), (3000, 2000), -20.0, 0.0, height_m))
        return brief_text(brief(plan, Spot("one", (0.0, 9.0), 1.75, 0.5), FULL_FRAME), None, None)

    assert "above reach" in said(3.0) and "railing" in said(3.0)
    assert "above reach" not in said(1.9)


def test_a_foot_above_the_camera_has_no_brief() -> None:
    with pytest.raises(GeometryError, match="above the plate's camera"):
        brief(plan_of(), Spot("one", (0.0, 6.0), 1.0, 0.5, raise_m=1.8), FULL_FRAME)


def test_the_horizon_cuts_a_person_at_a_body_part() -> None:
    """Drillis & Contini 1966 as in Winter, figure 4.1: eyes at .936, knees at .285 of the stature."""
    eye_m = 0.936 * 1.75
    high = Camera(2400.0, (1500.0, 1000.0), (3000, 2000), -6.0, 0.0, eye_m)
    person = Spot("one", (0.0, 6.0), 1.75, 0.5, kind="person")
    found = brief(plan_of(high), person, FULL_FRAME)
    assert found.body_part == "eyes" and "near the eyes" in brief_text(found, None, None)
    low = Camera(2400.0, (1500.0, 1000.0), (3000, 2000), -2.0, 0.0, 0.5)
    assert brief(plan_of(low), person, FULL_FRAME).body_part == "knees"
    assert brief(plan_of(low), Spot("box", (0.0, 6.0), 1.75, 0.5), FULL_FRAME).body_part is None


@pytest.mark.parametrize(
    ("kind", "low_m", "high_m"),
    [
        ("man", 1.602 + 0.025, 1.927 + 0.025),  # ANSUR II, NATICK/TR-15/007: 1st and 99th percentile; shoes from memory
        ("woman", 1.483 + 0.025, 1.778 + 0.025),
        ("pallet", 0.144, 0.144),  # EN 13698-1
        ("container", 2.438, 2.896),  # ISO 668:2013
        ("door", 1.972, 2.110),  # DIN 18101
        ("table", 0.710, 0.865),  # 2010 ADA Standards 902.3
    ],
)
def test_published_heights(kind: str, low_m: float, high_m: float) -> None:
    known = known_size(kind)
    assert (known.low_m, known.high_m) == pytest.approx((low_m, high_m))
    assert known.low_m <= known.typical_m <= known.high_m and known.source


def test_every_kind_is_known() -> None:
    assert all(0.1 < known_size(kind).typical_m < 3.5 for kind in KINDS)
    assert body_part_at(0.87)[0] == "chin" and body_part_at(0.0)[0] == "soles"


def test_the_sun_stands_right_twice_a_day() -> None:
    """A made-up course: up by 10° an hour from 6 to 12 o'clock, down again, 15° of azimuth an hour."""
    start = datetime(2026, 6, 21, tzinfo=UTC)
    course = [
        SunSeen(start + timedelta(hours=hour), 15.0 * hour, 60.0 - 10.0 * abs(hour - 12.0))
        for hour in [step / 10.0 for step in range(240)]
    ]
    found = windows(course, 30.5, 40.0)
    assert [(one.start.hour, one.start.minute, one.end.hour, one.end.minute) for one in found] == [
        (8, 48, 9, 18),
        (14, 42, 15, 12),
    ]
    assert found[0].heading_start_deg == pytest.approx(15 * 8.8 - 40)
    assert windows(course, 75.0, 40.0) == ()


@pytest.mark.parametrize(
    ("beside", "said"),
    [
        (0, "straight ahead"),
        (-40, "40° to the left of the subject"),
        (90, "from the right"),
        (215, "over the left shoulder"),
        (180, "straight behind the camera"),
    ],
)
def test_where_the_sun_stands_in_words(beside: float, said: str) -> None:
    assert said in direction(beside)


def test_the_brief_is_sentences() -> None:
    found = brief(plan_of(), Spot("chair", (2.4, 6.0), 0.9, 0.7, kind="chair-seat"), FULL_FRAME)
    sun = BriefSun(-75.0, 40.0, "21 June 2026 at 43.30, 5.40 (UTC)")
    for one in advice(found, sun):
        assert one.text.endswith(".") and one.heading[0].isupper() and "  " not in one.text
    assert "Local rules" in brief_text(found, sun, "sheet.png")
