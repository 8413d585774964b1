"""Over random scenes: whatever says that it mends a finding does, through the real loader and solver."""

from math import atan2, degrees, hypot, radians, sin, tan

import pytest
from audit_scenes import Camera, aimed, of, scene, solved, subject
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from compositor.audit.sight import horizons_meet, horizons_would_meet, moved, top_off_deg
from compositor.base.errors import FaultyScene

between = st.floats


@st.composite
def scenes(draw: st.DrawFn) -> dict[str, object]:
    """A plate and one or two subjects with cameras of their own, in the frame, of any height, view, roll and claim."""
    plate = Camera(
        draw(between(1500, 4000)), (1500.0, 1000.0), (3000, 2000), draw(between(-15, 4)), 0.0, draw(between(0.6, 3))
    )
    elements = []
    for name in ("one", "two")[: draw(st.integers(1, 2))]:
        tall_m, away_m, camera_m = draw(between(0.3, 2.6)), draw(between(1.5, 12)), draw(between(0.4, 3.0))
        own = aimed(camera_m, away_m, tall_m, draw(between(900, 5000)))
        aside_deg = draw(between(-10, 10))
        place = (away_m * sin(radians(aside_deg)), away_m)
        row = draw(between(0.05, 1.0)) * (2000.0 - max(plate.horizon_row(1500.0), 0.0)) + max(
            plate.horizon_row(1500.0), 0.0
        )
        keys = {
            "ground": {"pixel": [draw(between(-50, 3050)), row]},
            "raise": draw(st.sampled_from([0.0, 0.0, 0.3])),
            "kind": draw(st.sampled_from([None, "person", "table"])),
            "height": draw(st.sampled_from([None, tall_m, 1.2 * tall_m])),
        }
        elements.append(subject(name, own, place, tall_m, **{k: v for k, v in keys.items() if v is not None}))
    return scene(*elements, plate=plate)


# What a move brings about is told with it.
TOLD = {"seen-from-another-height", "seen-from-another-side", "horizons-apart", "enlarged", "contact-outside-frame"}


@given(scenes(), between(-2, 2), between(1.5, 15))
@settings(max_examples=30)
def test_what_angles_say_of_another_place_is_what_is_seen_there(
    words: dict[str, object], right_m: float, ahead_m: float
) -> None:
    try:
        plan = solved(words)[0]
    except FaultyScene:
        assume(False)
    for element in plan.elements:
        own, after = element.own_camera, moved(plan, element, (right_m, ahead_m))
        if own is None or after is None or element.horizon_gap_px is None:
            continue
        off_deg = top_off_deg(plan, after, own)
        assume(abs(abs(off_deg) - plan.tolerances.view_elevation_deg) > 1e-6)
        assert horizons_would_meet(plan, element, own, (right_m, ahead_m)) == horizons_meet(plan, after)


@given(scenes())
@settings(max_examples=60)
def test_every_way_out_that_says_so_mends(words: dict[str, object]) -> None:
    try:
        findings = solved(words)[1]
    except FaultyScene:
        assume(False)  # a part of it would lie behind the camera
    assume(findings)
    for finding in findings:
        for remedy in finding.remedies:
            if remedy.mends:
                after = solved(words, remedy.settings)[1]
                left = [f.message for f in of(after, finding.code) if f.element == finding.element]
                assert not left, (finding.code, remedy)
                assert remedy.change >= 0.0
                new = {f.code for f in after if f.element == finding.element} - {f.code for f in findings}
                if [key.split(".")[2:] for key, _ in remedy.settings] == [["ground"]] and "but then" not in remedy.text:
                    assert not new & TOLD, (remedy, new)


@given(between(0.5, 4.0), between(1.0, 15.0), between(0.5, 4.0), between(1.0, 15.0))
def test_the_difference_is_that_of_the_two_depressions(
    plate_m: float, far_m: float, own_m: float, near_m: float
) -> None:
    """atan(H/d) of both, by the angles themselves; and the own distance d_e·H_p/H_e takes it away."""
    plate = Camera(1500.0, (1500.0, 1000.0), (3000, 2000), -20.0, 0.0, plate_m)
    expected = degrees(atan2(plate_m, far_m) - atan2(own_m, near_m))
    assume(abs(expected) > 3.1)
    words = scene(
        subject("box", aimed(own_m, near_m, 0.3), (0.0, near_m), 0.3, ground={"distance": far_m}), plate=plate
    )
    (found,) = of(solved(words)[1], "seen-from-another-height")
    assert f"seen {abs(expected):.1f}°" in found.message or f"seen {abs(expected) - 1e-9:.1f}°" in found.message
    whole = [r for r in found.remedies if "photograph fits" in r.text]
    fitting_m = near_m * plate_m / own_m
    if not whole:  # it would be drawn more than five times as large or small
        assert not 0.3 < far_m / fitting_m < 3.3
        return
    assert float(whole[0].settings[0][1].split("distance: ")[1].split(",")[0]) == pytest.approx(fitting_m, abs=1e-3)
    assert hypot(fitting_m, 0.0) == pytest.approx(plate_m / tan(atan2(own_m, near_m)))
