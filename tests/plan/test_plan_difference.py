"""The stable form of a plan, and what two plans differ in, in words and numbers."""

import json
from copy import deepcopy
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from compositor.jobs.solving import solved
from compositor.plan.change import PlanChange
from compositor.plan.difference import plan_changes
from compositor.plan.model import Plan
from compositor.plan.stable import plan_data, plan_json, read_plan

SCENE = Path(__file__).parents[2] / "scenes" / "terrace" / "terrace.yaml"


def solved_with(*settings: tuple[str, str]) -> Plan:
    return solved(SCENE, list(settings)).plan


@pytest.fixture(scope="module")
def plan() -> Plan:
    return solved_with()


@pytest.fixture
def data(plan: Plan) -> dict[str, Any]:
    return plan_data(plan)


def texts(before: Any, after: Any) -> list[str]:
    return [change.text for change in plan_changes(before, after)]


def of(data: dict[str, Any], name: str) -> dict[str, Any]:
    return next(element for element in data["elements"] if element["name"] == name)


def test_equal_plans_equal_bytes(plan: Plan) -> None:
    again = solved_with()
    assert again is not plan and plan_json(again) == plan_json(plan)
    shuffled = replace(plan, plate=replace(plan.plate, plus_minus=dict(reversed(plan.plate.plus_minus.items()))))
    assert plan_json(shuffled) == plan_json(plan)


def test_the_text_is_json_of_the_data(plan: Plan, data: dict[str, Any]) -> None:
    assert json.loads(plan_json(plan)) == data == read_plan(plan_json(plan))


def test_noise_in_the_last_digit_changes_nothing(plan: Plan) -> None:
    chair = plan.elements[0]
    noisy = replace(chair, contact_px=(chair.contact_px[0] * (1 + 1e-14), chair.contact_px[1]), raise_m=-0.0)
    assert plan_json(replace(plan, elements=(noisy, *plan.elements[1:]))) == plan_json(plan)


def test_every_number_of_the_plan_is_in_it(plan: Plan) -> None:
    chair = plan.elements[0]
    moved = replace(chair, own_contact_px=(chair.own_contact_px[0] + 0.01, chair.own_contact_px[1]))
    assert plan_json(replace(plan, elements=(moved, *plan.elements[1:]))) != plan_json(plan)


@pytest.mark.parametrize("text", ["", "{}", "[]", "{", '{"elements": 1}'])
def test_no_plan(text: str) -> None:
    with pytest.raises(ValueError):
        read_plan(text)


def test_a_plan_differs_not_from_itself(data: dict[str, Any]) -> None:
    assert texts(data, deepcopy(data)) == []


def test_nearer_is_lower_and_larger(plan: Plan, data: dict[str, Any]) -> None:
    after = solved_with(("elements.lounge-chair.ground.distance", "5.53"))
    (change,) = plan_changes(data, plan_data(after))
    old, new = plan.element("lounge-chair"), after.element("lounge-chair")
    right, down = new.contact_px[0] - old.contact_px[0], new.contact_px[1] - old.contact_px[1]
    larger = new.scale_ratio / old.scale_ratio
    assert down > 10 and larger > 1.02
    side = "right" if right > 0 else "left"
    moved = f"{abs(right):.1f} px farther {side} and {down:.0f} px lower"
    assert change.text == f"lounge-chair contact {moved}, {(larger - 1) * 100:.1f} % larger"
    assert change.figures == {
        "right_px": pytest.approx(right, abs=1e-6),
        "down_px": pytest.approx(down, abs=1e-6),
        "scale_ratio": pytest.approx(larger, abs=1e-6),
    }


def test_the_sentence_of_a_plain_move(data: dict[str, Any]) -> None:
    after = deepcopy(data)
    chair = of(after, "lounge-chair")
    chair["contact_px"][1] += 14
    chair["scale_ratio"] *= 1.031
    assert texts(data, after)[0].startswith("lounge-chair contact 14 px lower, 3.1 % larger")
    assert texts(after, data)[0].startswith("lounge-chair contact 14 px higher, 3.0 % smaller")


@pytest.mark.parametrize(("by_px", "told"), [(0.2, False), (0.3, True)])
def test_from_where_a_move_counts(data: dict[str, Any], by_px: float, told: bool) -> None:
    after = deepcopy(data)
    element = of(after, "lantern")
    element["contact_px"][0] += by_px
    for row in (0,):
        element["homography"][row] = [
            value + by_px * below
            for value, below in zip(element["homography"][row], element["homography"][2], strict=True)
        ]
    assert bool(texts(data, after)) is told


def test_a_turned_outline_is_told(data: dict[str, Any]) -> None:
    after = deepcopy(data)
    homography = of(after, "parasol")["homography"]
    homography[0][1] += 0.01  # leans: the top of 2000 px moves by some 10
    (text,) = texts(data, after)
    assert text.startswith("parasol its outline different by up to ") and text.endswith(" px")


def test_a_mirrored_element_is_told(data: dict[str, Any]) -> None:
    after = plan_data(solved_with(("elements.parasol.flip", "true")))
    (text,) = texts(data, after)
    assert text == "parasol mirrored"


def test_a_higher_horizon_moves_everything() -> None:
    before, after = solved_with(), solved_with(("plate.camera.horizon", "793.25"))
    found = texts(plan_data(before), plan_data(after))
    assert any(text.startswith("plate ") and "horizon 10 px higher" in text for text in found)
    assert all(any(text.startswith(f"{element.name} contact ") for text in found) for element in before.elements)


def changed(data: dict[str, Any], change: Any) -> dict[str, Any]:
    after = deepcopy(data)
    change(after)
    return after


@pytest.mark.parametrize(
    ("change", "text"),
    [
        (lambda d: d["elements"].pop(0), "olive-tree is gone"),
        (lambda d: d["stack"].reverse(), " is now in front of "),
        (lambda d: d["holdouts"].clear(), "lamp-post as a holdout is gone"),
        (lambda d: of(d, "lantern")["source"].update(image="other.png"), "lantern source.image"),
        (lambda d: of(d, "lantern").update(glow={"softness_px": 4.1}), None),
        (lambda d: d["plate"]["camera"].update(height_m=1.75), "plate camera 0.2 m higher"),
        (lambda d: d["plate"]["camera"].update(size_px=[100, 80]), "plate frame "),
        (lambda d: d["deliveries"][0].update(size_px=[100, 80]), " → 100 × 80 px"),
        (lambda d: d["deliveries"][0].update(dpi=300), "composite dpi nothing → 300"),
        (lambda d: d["deliveries"][0].update(name="other"), "other as a delivery is new"),
    ],
)
def test_each_kind_of_change_is_told(data: dict[str, Any], change: Any, text: str | None) -> None:
    found = texts(data, changed(data, change))
    assert any((text or "lantern glow nothing → {'softness_px': 4.1}") in each for each in found), found


def graphic(left_px: float, text: str = "Late light") -> dict[str, Any]:
    box = [left_px, 10.0, left_px + 80.0, 30.0]
    return {"name": "headline", "box_px": box, "lines": [{"text": text, "left_px": left_px}], "type_px": 20.0}


@pytest.mark.parametrize(
    ("after", "told"),
    [
        (graphic(40.5), []),  # another version of the library that draws letters
        (graphic(41.0), ["headline on composite 1.0 px farther right"]),
        (graphic(40.0, "Early light"), ["headline on composite reads 'Early light'"]),
        ({**graphic(40.0), "type_px": 22.0}, ["headline type 20 → 22 px"]),
    ],
)
def test_graphics(data: dict[str, Any], after: dict[str, Any], told: list[str]) -> None:
    before, changed_data = deepcopy(data), deepcopy(data)
    before["deliveries"][0]["graphics"], changed_data["deliveries"][0]["graphics"] = [graphic(40.0)], [after]
    found = plan_changes(before, changed_data)
    assert [change.text for change in found] == told and {change.delivery for change in found} <= {"composite"}


def test_light(data: dict[str, Any]) -> None:
    lit = {
        "sun": {"azimuth_deg": -40.0, "elevation_deg": 24.0},
        "left_ratio": [0.3, 0.35, 0.45],
        "shadows": [{"element": "lantern", "frame": {"origin_m": [0.0, 4.0]}, "cast": True, "contact": True}],
        "assumed": ["the sky's share"],
    }
    later = deepcopy(lit)
    later["sun"]["elevation_deg"] = 18.0
    later["shadows"][0].update(frame={"origin_m": [0.0, 5.0]}, cast=False)
    assert texts({**data, "light": lit}, {**data, "light": deepcopy(lit)}) == []
    assert texts({**data, "light": lit}, {**data, "light": later}) == [
        "light sun.elevation 24 → 18°",
        "lantern cast shadow is gone",
    ]
    bodies = [{"hull_px": [[0.0, depth]], "depth_m": depth, "is_round": depth > 0.2} for depth in (0.11, 0.25)]
    flat, deep = ({**lit, "shadows": [{**lit["shadows"][0], "solid": body}]} for body in bodies)
    assert texts({**data, "light": flat}, {**data, "light": deep}) == [
        "lantern throws the shadow of another body, 0.25 m deep instead of 0.11 m, round"
    ]
    for gain, told in ((1.01, 0), (1.03, 1)):  # measured in the plate, which may have been coded anew
        measured = {**lit, "left_ratio": [value * gain for value in lit["left_ratio"]]}
        assert len(texts({**data, "light": lit}, {**data, "light": measured})) == told
    assert "lantern contact shadow is gone" in texts({**data, "light": lit}, {**data, "light": None})


@pytest.mark.parametrize("key", ["title", "tolerances", "marks"])
def test_what_shapes_no_picture_is_no_difference(data: dict[str, Any], key: str) -> None:
    assert texts(data, {**data, key: "otherwise"}) == []


def test_effects_that_nobody_thought_of_here_are_told_by_key(data: dict[str, Any]) -> None:
    before, after = deepcopy(data), deepcopy(data)
    before["haze"], after["haze"] = {"visibility_m": 20000.0}, {"visibility_m": 10000.0}
    of(before, "lantern")["shade"], of(after, "lantern")["shade"] = {"softness_px": 3.2}, {"softness_px": 4.1}
    assert texts(before, after) == [
        "lantern shade.softness 3.2 → 4.1 px",
        "plan haze.visibility 20000 → 10000 m",
    ]


def test_what_only_one_tells_is_not_compared() -> None:
    report = {"elements": [{"name": "post", "contact_px": [1.0, 2.0], "scale_ratio": 1.0}]}
    moved = {"elements": [{"name": "post", "contact_px": [1.0, 4.0], "scale_ratio": 1.0}], "plate": {}}
    assert plan_changes(report, moved) == (
        PlanChange("post", "post contact 2.0 px lower", {"right_px": 0.0, "down_px": 2.0}),
    )
