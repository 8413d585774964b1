"""Every rule: a scene that triggers it, one just inside its tolerance that does not, and ways out that mend."""

from collections.abc import Callable
from dataclasses import dataclass
from math import atan2, cos, degrees, hypot, radians, sin, tan
from typing import Any

import cv2
import numpy as np
import pytest
from audit_scenes import PLATE, Settings, aimed, camera_words, of, scene, solved, subject

from compositor.audit.findings import Covers
from compositor.base.arrays import Floats

LIMITS = {"view_elevation": 3.0, "view_azimuth": 15.0}


def fitting(name: str = "man", **keys: Any) -> dict[str, Any]:
    """A subject photographed as the plate sees the place 6 m straight ahead."""
    return subject(name, aimed(1.6, 6.0, 1.75), (0.0, 6.0), 1.75, **keys)


def seen_at(depression_deg: float, **keys: Any) -> dict[str, Any]:
    """A low thing whose camera, 1.6 m high, looked down on it at an angle."""
    distance_m = 1.6 / tan(radians(depression_deg))
    return subject("box", aimed(1.6, distance_m, 0.4), (0.0, distance_m), 0.4, **keys)


def aside(azimuth_deg: float, **keys: Any) -> dict[str, Any]:
    """A thing that stood at an angle to the side of its own camera."""
    place = (6.0 * sin(radians(azimuth_deg)), 6.0 * cos(radians(azimuth_deg)))
    own = aimed(1.6, 6.0, 1.75, 1500.0)
    return subject("man", own, place, 1.75, **keys)


PLATE_DEG = degrees(atan2(1.6, 6.0))


def half_covered(name: str, points_px: Floats) -> Floats:
    """A holdout that covers everything right of the frame's middle."""
    return np.where(points_px[:, 0] > 1600.0, 1.0, 0.0)


def thin(coverage: float) -> Covers:
    """A holdout that covers everything by as much."""
    return lambda name, points_px: np.full(len(points_px), coverage)


def tall(height_m: float, camera_m: float) -> dict[str, Any]:
    """A 3 m post whose foot fits 6 m away, whatever its camera's height."""
    distance_m = 6.0 * camera_m / 1.6
    return subject("post", aimed(camera_m, distance_m, height_m), (0.0, distance_m), height_m)


def rolled(lean_deg: float) -> dict[str, Any]:
    """A post whose camera was turned by an angle that nobody states."""
    own = aimed(1.6, 6.0, 1.75)
    truly = type(own)(own.focal_px, own.principal_px, own.size_px, own.pitch_deg, lean_deg, own.height_m)
    low, high = truly.project([(0.3, 6.0, 0.2), (0.3, 6.0, 1.6)])
    return fitting(plumb=[[float(x) for x in low], [float(x) for x in high]])


def poster(stretch: float) -> dict[str, Any]:
    return {"name": "poster", "image": "poster.png", "size": [1.0, 1.5 * stretch], "ground": {"distance": 6}}


def cut(share: float) -> dict[str, Any]:
    """A square delivery around a post, whose right edge cuts a share off a man beside it."""
    post = subject("post", aimed(1.6, 6.0, 1.75), (0.0, 6.0), 1.75, ground={"distance": 6, "offset": -0.9})
    deliveries = [{"name": "square", "size": [1400, 1400], "around": ["post"]}]

    def at(offset_m: float) -> dict[str, Any]:
        return scene(post, fitting(ground={"distance": 6.0, "offset": round(offset_m, 6)}), deliveries=deliveries)

    low, high = 0.5, 1.2  # where nothing and where all of him is cut off
    for _ in range(14):
        middle = (low + high) / 2.0
        low, high = (middle, high) if cut_off(at(middle)) < share else (low, middle)
    return at(low)


def cut_off(words: dict[str, Any]) -> float:
    """The share of the man to the right of the delivery's window, by counting points of a fine grid."""
    plan = solved(words)[0]
    hull = np.array([plan.element("man").own_hull_px], np.float64)
    corners = cv2.perspectiveTransform(hull, plan.element("man").homography_matrix)[0]
    (left, top), (right, bottom) = corners.min(axis=0), corners.max(axis=0)
    u, v = np.meshgrid(np.linspace(left, right, 6000), np.linspace(top, bottom, 100))
    inside = np.ones(u.shape, bool)
    for (u1, v1), (u2, v2) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        inside &= (u2 - u1) * (v - v1) - (v2 - v1) * (u - u1) >= 0.0
    edge = plan.deliveries[0].window_px[0] + plan.deliveries[0].window_px[2]
    return float((inside & (u > edge)).sum() / inside.sum())


def pair(apart_m: float) -> dict[str, Any]:
    """Two men side by side; their outlines are a quarter of 1.75 m wide."""
    return scene(fitting("left"), fitting("right", ground={"distance": 6.0, "offset": apart_m}))


def unsure(horizon_px: float) -> dict[str, Any]:
    man = fitting()
    row = aimed(1.6, 6.0, 1.75).horizon_row(1000.0)
    man["camera"]["horizon"] = {"row": row, "plus_minus": horizon_px}
    return scene(man)


def lit(aside_deg: float, above_deg: float) -> dict[str, Any]:
    """A man photographed straight ahead in another light than the plate's, which is 50° to the right, 40° high."""
    words = scene(fitting(light={"azimuth": 50.0 - aside_deg, "elevation": 40.0 - above_deg}))
    words["plate"]["light"] = {"azimuth": 50, "elevation": 40}
    return words


def shaded(wall_m: float) -> dict[str, Any]:
    """A man 6 m away whose shadow runs away from the camera: 1.75·cot 33.2° = 2.67 m long."""
    words = scene(fitting(ground={"distance": 6.0, "offset": 0.4}))
    words["plate"]["light"] = {"azimuth": 180, "elevation": 33.2}
    words["plate"]["holdouts"] = [{"name": "wall", "matte": "wall.png", "distance": wall_m}]
    return words


@dataclass(frozen=True)
class Trial:
    code: str
    over: Callable[[], dict[str, Any]]
    inside: Callable[[], dict[str, Any]]
    covers: Covers | None = None
    covers_inside: Covers | None = None  # where it differs


HOLDOUT = {"holdouts": [{"name": "wall", "matte": "wall.png", "distance": 3}]}


def behind(offset_m: float) -> dict[str, Any]:
    words = scene(fitting(ground={"distance": 6.0, "offset": offset_m}))
    words["plate"].update(HOLDOUT)
    return words


def without_height() -> dict[str, Any]:
    words = scene(fitting())
    del words["plate"]["camera"]["height"]
    return words


def without_lens() -> dict[str, Any]:
    """The plate's lens left to the eye, with the horizon where it was."""
    words = scene(fitting())
    row = PLATE.horizon_row(1500.0)
    del words["plate"]["camera"]["lens"]
    words["plate"]["camera"]["horizon"] = row
    return words


def deep(below_px: float) -> dict[str, Any]:
    """A man whose foot lies below a frame 2000 px high, of which 1 in 200 is let pass."""
    return scene(fitting(ground={"pixel": [1500, 2000 + below_px]}), tolerances={"outside": 0.005})


TRIALS = [
    Trial(
        "seen-from-another-height",
        lambda: scene(seen_at(PLATE_DEG + 3.05)),
        lambda: scene(seen_at(PLATE_DEG + 2.95)),
    ),
    Trial(
        "seen-from-another-height",
        lambda: scene(seen_at(PLATE_DEG - 3.05)),
        lambda: scene(seen_at(PLATE_DEG - 2.95)),
    ),
    Trial("seen-from-another-side", lambda: scene(aside(15.05)), lambda: scene(aside(14.95))),
    Trial("horizons-apart", lambda: scene(tall(3.0, 1.34)), lambda: scene(tall(3.0, 1.36))),
    Trial("roll-left-over", lambda: scene(rolled(1.05)), lambda: scene(rolled(0.95))),
    Trial(
        "heights-disagree",
        lambda: scene(fitting(height=1.75 / 1.051)),
        lambda: scene(fitting(height=1.75 / 1.049)),
    ),
    # ANSUR II (NATICK/TR-15/007): 99th percentile of men 1.927 m, and 25 mm of shoes; 5 % more is let pass.
    Trial(
        "height-implausible",
        lambda: scene(subject("man", aimed(1.6, 6.0, 2.06), (0.0, 6.0), 2.06, kind="person")),
        lambda: scene(subject("man", aimed(1.6, 6.0, 2.04), (0.0, 6.0), 2.04, kind="person")),
    ),
    Trial(  # the world is 1 m at the place where the plate has 2400/6.2 px for it
        "enlarged",
        lambda: scene(subject("man", aimed(1.6, 6.0, 1.75, 1950.0), (0.0, 6.0), 1.75)),
        lambda: scene(subject("man", aimed(1.6, 6.0, 1.75, 2050.0), (0.0, 6.0), 1.75)),
    ),
    Trial(
        "contact-outside-frame",
        lambda: scene(fitting(ground={"pixel": [3001, 1600]})),
        lambda: scene(fitting(ground={"pixel": [2999, 1600]})),
    ),
    Trial("contact-outside-frame", lambda: deep(11.0), lambda: deep(9.0)),
    Trial("contact-hidden", lambda: behind(0.4), lambda: behind(0.4), thin(0.51), thin(0.49)),
    Trial("cut-by-delivery", lambda: cut(0.0202), lambda: cut(0.0198)),
    Trial("floating", lambda: scene(fitting(**{"raise": 0.23})), lambda: scene(fitting(**{"raise": 0.21}))),
    Trial(
        "floating",
        lambda: scene(fitting(**{"raise": -0.23})),
        lambda: scene(fitting(**{"raise": -0.3, "stands_on": "the stairs down to the beach"})),
    ),
    Trial("light-from-another-side", lambda: lit(30.5, 0.0), lambda: lit(29.5, 0.0)),
    Trial("light-from-another-side", lambda: lit(0.0, 15.5), lambda: lit(0.0, 14.5)),
    Trial("light-from-another-side", lambda: lit(-100.0, 0.0), lambda: lit(-29.5, 14.0)),
    # The shadow ends at 6 m + 1.75 m · cot 33.2° = 8.674 m, and 5 cm of it pass.
    Trial("shadow-on-holdout", lambda: shaded(8.619), lambda: shaded(8.629), half_covered),
    Trial("artwork-stretched", lambda: scene(poster(1.03)), lambda: scene(poster(1.01))),
    Trial("intersecting", lambda: pair(0.36), lambda: pair(0.41)),
    Trial("too-uncertain", lambda: unsure(43.0), lambda: unsure(41.0)),
    Trial("assumed", without_height, lambda: without_height() | {"tolerances": {"assumed": ["height"]}}),
    Trial("assumed", without_height, lambda: scene(fitting())),
    Trial("assumed", without_lens, lambda: scene(fitting())),
]
IDS = [f"{trial.code}-{index}" for index, trial in enumerate(TRIALS)]


@pytest.mark.parametrize("trial", TRIALS, ids=IDS)
def test_a_rule_speaks_beyond_its_tolerance_and_not_inside(trial: Trial) -> None:
    over = solved(trial.over(), (), trial.covers)[1]
    inside = solved(trial.inside(), (), trial.covers_inside or trial.covers)[1]
    assert len(of(over, trial.code)) == 1
    assert of(inside, trial.code) == []


@pytest.mark.parametrize("trial", TRIALS, ids=IDS)
def test_a_way_out_that_says_it_mends_does(trial: Trial) -> None:
    words = trial.over()
    (found,) = of(solved(words, (), trial.covers)[1], trial.code)
    for remedy in found.remedies:
        if remedy.mends:
            assert of(solved(words, remedy.settings, trial.covers)[1], trial.code) == [], remedy


@pytest.mark.parametrize("trial", TRIALS, ids=IDS)
def test_findings_are_sentences(trial: Trial) -> None:
    (found,) = of(solved(trial.over(), (), trial.covers)[1], trial.code)
    for text in (found.message, *(remedy.text for remedy in found.remedies)):
        assert text[-1] == "." and ".." not in text and "-0." not in text and "  " not in text
    assert found.brief is not None and len(found.brief) < 60
    assert [r.mends for r in found.remedies] == sorted((r.mends for r in found.remedies), reverse=True)


TOLERANCES: list[tuple[str, str, str]] = [
    ("seen-from-another-height", "view_elevation", "3.1"),
    ("seen-from-another-side", "view_azimuth", "15.1"),
    ("horizons-apart", "horizon_gap", "0.2"),
    ("roll-left-over", "roll", "1.1"),
    ("heights-disagree", "height", "0.06"),
    ("height-implausible", "height", "0.06"),
    ("enlarged", "enlargement", "1.3"),
    ("cut-by-delivery", "cut", "0.9"),
    ("floating", "raise", "0.25"),
    ("light-from-another-side", "light_azimuth", "31"),
    ("artwork-stretched", "stretch", "0.04"),
    ("contact-hidden", "hidden", "0.6"),
    ("contact-outside-frame", "outside", "0.01"),
    ("shadow-on-holdout", "shadow", "0.1"),
    ("assumed", "assumed", "[height]"),
    ("intersecting", "overlap", "0.2"),
    ("too-uncertain", "view_elevation", "30"),
]


@pytest.mark.parametrize(("code", "key", "value"), TOLERANCES, ids=[row[0] for row in TOLERANCES])
def test_a_scene_changes_its_tolerances(code: str, key: str, value: str) -> None:
    trial = next(trial for trial in TRIALS if trial.code == code)
    more = (("tolerances.scale_uncertainty", "1"),) if code == "too-uncertain" else ()
    settings: Settings = ((f"tolerances.{key}", value), *more)
    assert of(solved(trial.over(), settings, trial.covers)[1], code) == []


def test_a_hidden_foot_makes_another_view_less_severe() -> None:
    words = scene(seen_at(PLATE_DEG + 5.0, ground={"distance": 6.0, "offset": 0.4}))
    words["plate"].update(HOLDOUT)
    (seen,) = of(solved(words)[1], "seen-from-another-height")
    (hidden,) = of(solved(words, (), half_covered)[1], "seen-from-another-height")
    assert (seen.severity, hidden.severity) == ("warning", "info")


def test_a_post_thinner_than_a_foot_does_not_hide_it() -> None:
    """By hand: a foot 0.44 m wide 6 m away is about 175 px wide."""

    def post(half_px: float) -> Covers:
        return lambda name, points_px: np.where(abs(points_px[:, 0] - 1500.0) < half_px, 1.0, 0.0)

    words = scene(fitting())
    words["plate"].update(HOLDOUT)
    assert of(solved(words, (), post(20.0))[1], "contact-hidden") == []
    assert of(solved(words, (), post(80.0))[1], "contact-hidden")


def test_a_way_behind_a_holdout_hides_the_foot() -> None:
    words = scene(seen_at(PLATE_DEG + 5.0))
    words["plate"].update(HOLDOUT)
    (found,) = of(solved(words, (), half_covered)[1], "seen-from-another-height")
    (hide,) = [remedy for remedy in found.remedies if "behind wall" in remedy.text]
    after = solved(words, hide.settings, half_covered)[1]
    assert of(after, "contact-hidden") and of(after, "seen-from-another-height")[0].severity == "info"


def crate(tall_m: float = 1.2, **keys: Any) -> dict[str, Any]:
    """A crate whose camera stood 2.4 m high and looked down on it by 5° more than the plate does."""
    distance_m = 2.4 / tan(radians(PLATE_DEG + 5.0))
    return subject("crate", aimed(2.4, distance_m, tall_m), (0.0, distance_m), tall_m, **keys)


@pytest.mark.parametrize("listed", [False, True])
def test_the_picture_ended_above_a_foot_lets_it_stand_as_it_fits(listed: bool) -> None:
    words = scene(crate())
    if listed:
        words["deliveries"] = [{"name": "wide"}, {"name": "square", "size": [900, 900], "around": ["crate"]}]
    (found,) = of(solved(words)[1], "seen-from-another-height")
    (crop,) = [remedy for remedy in found.remedies if remedy.text.startswith("Crop ")]
    assert crop.mends and "lower" in crop.text and len(crop.settings) == (3 if listed else 2)
    plan, after = solved(words, crop.settings)
    assert {finding.code for finding in after} == {"cut-by-delivery"} and {f.severity for f in after} == {"info"}
    for delivery in plan.deliveries:
        assert delivery.window_px[1] + delivery.window_px[3] < plan.element("crate").contact_px[1] - 40.0
    # Looked down on by atan(H/d) of its own photograph: (1.6 m - raise) / 6 m.
    assert (1.6 - plan.element("crate").raise_m) / 6.0 == pytest.approx(tan(radians(PLATE_DEG + 5.0)), abs=1e-4)


def test_a_crop_that_hides_a_foot_without_mending_says_so() -> None:
    words = scene(seen_at(PLATE_DEG + 8.0))
    (found,) = of(solved(words)[1], "seen-from-another-height")
    (crop,) = [remedy for remedy in found.remedies if remedy.text.startswith("Crop ")]
    (after,) = of(solved(words, crop.settings)[1], "seen-from-another-height")
    assert not crop.mends and (found.severity, after.severity) == ("warning", "info")


def test_a_crop_that_would_take_another_away_is_not_offered() -> None:
    low = seen_at(PLATE_DEG, ground={"distance": 4.0, "offset": 1.0})
    words = scene(crate(), {**low, "name": "low"})
    found = next(f for f in of(solved(words)[1], "seen-from-another-height") if f.element == "crate")
    assert not [remedy for remedy in found.remedies if remedy.text.startswith("Crop ")]
    assert "in front of its foot" in found.remedies[-2].text


def test_a_plate_raised_under_a_thing_keeps_its_row_and_the_pictures_height() -> None:
    words = scene(seen_at(PLATE_DEG + 4.0))
    before, findings = solved(words)
    (found,) = of(findings, "seen-from-another-height")
    (lifted,) = [remedy for remedy in found.remedies if remedy.text.startswith("Raise the plate by ")]
    plan, _ = solved(words, lifted.settings)
    (delivery,) = plan.deliveries
    assert delivery.size_px == before.deliveries[0].size_px
    row = plan.element("box").contact_px[1] - delivery.window_px[1]
    assert row == pytest.approx(before.element("box").contact_px[1], abs=1.0)


def test_a_height_in_centimetres_is_recognised() -> None:
    man = fitting(height=175.0)
    man["camera"]["height"] = 160.0
    found = next(f for f in solved(scene(man))[1] if f.code == "enlarged")
    assert "centimetres" in found.remedies[0].text and "1.75 m" in found.remedies[0].text
    assert solved(scene(man), found.remedies[0].settings)[1] == ()
    tower = subject("tower", aimed(1.6, 100.0, 40.0), (0.0, 100.0), 40.0, height=40.0, ground={"distance": 100.0})
    assert not [r for f in solved(scene(tower))[1] for r in f.remedies if "centimetres" in r.text]


def test_what_would_be_another_picture_is_not_offered() -> None:
    (found,) = of(solved(scene(seen_at(80.0)))[1], "seen-from-another-height")
    assert all("of its present size" not in remedy.text for remedy in found.remedies)


def test_tall_things_go_where_foot_and_top_both_fit() -> None:
    (found,) = of(solved(scene(tall(3.0, 1.34)))[1], "horizons-apart")
    assert found.remedies[0].mends
    assert solved(scene(tall(3.0, 1.34)), found.remedies[0].settings)[1] == ()


def test_a_way_behind_a_holdout_lets_it_stand_as_it_fits() -> None:
    words = scene(crate())
    words["plate"].update(HOLDOUT)
    (found,) = of(solved(words, (), half_covered)[1], "seen-from-another-height")
    (hide,) = [remedy for remedy in found.remedies if "behind wall" in remedy.text]
    after = solved(words, hide.settings, half_covered)[1]
    assert hide.mends and {finding.code for finding in after} == {"contact-hidden"}


def test_what_nobody_sees_stand_is_lifted_without_moving() -> None:
    words = scene(crate(ground={"distance": 6.0, "offset": 0.6}))
    words["plate"].update(HOLDOUT)
    (found,) = of(solved(words, (), half_covered)[1], "seen-from-another-height")
    (lift,) = [remedy for remedy in found.remedies if remedy.text.startswith("Let it stand 0.")]
    after = solved(words, lift.settings, half_covered)[1]
    assert lift.mends and {finding.code for finding in after} == {"contact-hidden"}


def alternative(name: str, depression_deg: float) -> dict[str, Any]:
    element = seen_at(depression_deg)
    return {key: element[key] for key in ("camera", "contact", "top")} | {"image": name}


def test_given_photographs_are_ranked_by_fit_and_put_in_whole() -> None:
    others = [alternative("high.png", PLATE_DEG + 6), alternative("near.png", PLATE_DEG + 1), alternative("far.png", 8)]
    words = scene(seen_at(PLATE_DEG + 8.0, alternatives=others, matte="box-matte.png"))
    (found,) = of(solved(words)[1], "seen-from-another-height")
    named = [r for r in found.remedies if r.text.startswith("Use ")]
    assert [r.text.split(" ")[1] for r in named] == ["near.png", "high.png", "far.png"]
    assert [r.mends for r in named] == [True, False, False]
    plan, after = solved(words, named[0].settings)
    assert of(after, "seen-from-another-height") == []
    assert plan.element("box").source.image == "near.png" and plan.element("box").source.matte is None


def test_mirroring_is_offered_where_it_mends() -> None:
    words = scene(aside(-20.0, ground={"distance": 6.0, "offset": 2.0}))
    (found,) = of(solved(words)[1], "seen-from-another-side")
    (flip,) = [remedy for remedy in found.remedies if remedy.settings == (("elements.man.flip", "true"),)]
    assert flip.mends and of(solved(words, flip.settings)[1], "seen-from-another-side") == []


def test_a_light_from_the_other_side_is_mended_by_mirroring() -> None:
    words = lit(100.0, 0.0)  # 50° to the right in the plate, 50° to the left in its photograph
    (found,) = of(solved(words)[1], "light-from-another-side")
    assert found.remedies[0].settings == (("elements.man.flip", "true"),) and found.remedies[0].mends
    assert "100.0° too far from the left" in found.message
    (other,) = of(solved(lit(-60.0, 0.0))[1], "light-from-another-side")
    assert not other.remedies[0].mends and "from the right" in other.message


def test_light_is_judged_by_the_line_of_sight() -> None:
    """Moved to the side, a subject is turned with the line of sight, and its own light with it."""
    words = lit(0.0, 0.0)
    words["elements"][0]["ground"] = {"distance": 4.0, "offset": -2.9}  # 36° to the left
    (found,) = of(solved(words)[1], "light-from-another-side")
    assert "35.9° too far from the left" in found.message


def test_what_lies_flat_has_no_other_view() -> None:
    rug = seen_at(PLATE_DEG + 20.0, stance="flat")
    del rug["top"]
    codes = {finding.code for finding in solved(scene(rug))[1]}
    assert not codes & {"seen-from-another-height", "seen-from-another-side", "horizons-apart"}


def test_the_smallest_change_that_mends_comes_first() -> None:
    (found,) = of(solved(scene(seen_at(PLATE_DEG + 6.0)))[1], "seen-from-another-height")
    mending = [remedy.change for remedy in found.remedies if remedy.mends]
    assert len(mending) == 3 and mending == sorted(mending)
    assert all(any(letter.isdigit() for letter in remedy.text) for remedy in found.remedies if remedy.settings)


def test_the_difference_found_is_the_one_between_the_cameras() -> None:
    for off in (-6.0, -3.5, 4.0, 12.0):
        (found,) = of(solved(scene(seen_at(PLATE_DEG - off)))[1], "seen-from-another-height")
        assert f"{abs(off):.1f}° too {'little' if off > 0 else 'much'} from above" in found.message
        assert found.severity == ("error" if abs(off) > 10 else "warning")


def test_camera_words_are_exact() -> None:
    plan, findings = solved(scene(fitting()))
    man = plan.element("man")
    assert hypot(*np.subtract(man.contact_px, PLATE.project([(0.0, 6.0, 0.0)])[0])) < 1e-6
    assert findings == () and camera_words(PLATE)["height"] == 1.6
