"""Keys of air, focus, look, edges and backdrop: what they take, and what is said when they are wrong."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from compositor.base.errors import UnusableInput
from compositor.geometry.focus import Focus
from compositor.jobs.solving import solved
from compositor.plan.effects import Air, Cutting, Look


def scene(folder: Path, plate: dict[str, Any], element: dict[str, Any]) -> Path:
    Image.fromarray(np.full((80, 120, 3), 120, np.uint8)).save(folder / "plate.png")
    picture = np.zeros((60, 40, 4), np.uint8)
    picture[5:55, 5:35] = 200
    Image.fromarray(picture).save(folder / "thing.png")
    camera = {"horizon": 20, "lens": {"pixels": 150}, "height": 1.5}
    thing = {"name": "thing", "image": "thing.png", "camera": camera, "contact": [20, 54], "ground": {"distance": 6}}
    words = {
        "scene": 1,
        "plate": {"image": "plate.png", "camera": camera, **plate},
        "elements": [{**thing, **element}],
    }
    path = folder / "scene.json"
    path.write_text(json.dumps(words, indent=1))
    return path


def test_everything_given_arrives_in_the_plan(tmp_path: Path) -> None:
    plate = {"air": {"visibility": 20000, "colour": "#8899AA"}, "focus": {"distance": 6, "f_number": 4, "focal_mm": 24}}
    look = {"match": 0.6, "exposure": 0.5, "temperature": -10, "tint": 4, "contrast": 0.1, "saturation": -0.2}
    element = {
        "look": {**look, "grain": True, "sharpness": True, "protect_chroma": True},
        "edges": {"clean": True, "choke": 0.5, "soften": 1},
        "backdrop": {"colour": "#00ff00", "tolerance": 0.1, "spill": 0.8},
    }
    with pytest.raises(UnusableInput, match="empty matte"):  # the grey thing is nothing but backdrop here
        solved(scene(tmp_path, plate, {**element, "backdrop": {"colour": "#c8c8c8"}}), [])
    plan = solved(scene(tmp_path, plate, element), []).plan
    assert plan.plate.air == Air(pytest.approx(3.912023005 / 20000, rel=1e-9), (0x88 / 255, 0x99 / 255, 0xAA / 255))
    assert plan.plate.focus == Focus(6.0, 4.0, 24.0)
    thing = plan.element("thing")
    assert thing.look == Look(0.6, 0.5, -10.0, 4.0, 0.1, -0.2, True, True, 0.5, 1.0, True)
    assert thing.source.cutting == Cutting((0.0, 1.0, 0.0), 0.1, 0.8)


def test_nothing_given_leaves_the_plan_as_it_was(tmp_path: Path) -> None:
    plan = solved(scene(tmp_path, {}, {}), []).plan
    thing = plan.element("thing")
    assert (plan.plate.air, plan.plate.focus, thing.look, thing.source.cutting) == (None, None, None, None)
    neutral = solved(scene(tmp_path, {}, {"look": {"match": 0}, "edges": {"clean": False}}), []).plan
    assert neutral == plan


@pytest.mark.parametrize(
    ("horizon", "colour", "told"),
    [(-60, {}, "top"), (300, {}, "bottom"), (20, {}, None), (-60, {"colour": "#8090a0"}, None)],
)
def test_air_that_the_plate_does_not_show_is_said_to_be_assumed(
    horizon: int, colour: dict[str, str], told: str | None, tmp_path: Path
) -> None:
    camera = {"horizon": horizon, "lens": {"pixels": 150}, "height": 1.5}
    path = scene(tmp_path, {"camera": camera, "air": {"visibility": 60, **colour}}, {"visible": False})
    texts = [text for text in solved(path, []).plan.plate.assumed if "air" in text]
    assert len(texts) == (told is not None)
    assert told is None or f"{told} edge" in texts[0]


def test_meteorological_optical_range(tmp_path: Path) -> None:
    air = solved(scene(tmp_path, {"air": {"optical_range": 10000}}, {}), []).plan.plate.air
    assert air is not None and air.attenuation_per_m == pytest.approx(2.995732274 / 10000, rel=1e-9)


@pytest.mark.parametrize(
    ("plate", "element", "said"),
    [
        ({"air": {"visibility": 0}}, {}, "plate.air.visibility: must be greater than 0"),
        ({"air": 5000}, {}, "plate.air: must be a mapping: {visibility} or {optical_range}"),
        ({"air": {"visibility": 9, "optical_range": 3}}, {}, "plate.air: two forms at once"),
        ({"air": {"visbility": 9}}, {}, "plate.air.visbility: unknown key; did you mean `visibility`?"),
        ({"air": {"visibility": 9, "colour": "blue"}}, {}, 'plate.air.colour: must be a colour "#rrggbb", in quotes'),
        ({"focus": {"distance": 6, "f_number": 4}}, {}, "plate.focus.focal_mm: missing"),
        ({"focus": {"distance": 0.01, "f_number": 4, "focal_mm": 24}}, {}, "cannot focus at 0.01 m"),
        ({"focus": {"distance": 6, "f_number": 0, "focal_mm": 24}}, {}, "plate.focus.f_number: must be greater than 0"),
        ({}, {"look": {"match": 1.5}}, "elements.thing.look.match: must be at most 1"),
        ({}, {"look": {"contrast": 20}}, "elements.thing.look.contrast: must be at most 1"),
        ({}, {"look": {"grain": 1}}, "elements.thing.look.grain: must be true or false"),
        ({}, {"look": {"exposures": 1}}, "elements.thing.look.exposures: unknown key; did you mean `exposure`?"),
        ({}, {"edges": {"choke": -1}}, "elements.thing.edges.choke: must be at least 0"),
        ({}, {"backdrop": {"colour": "#fff"}}, "elements.thing.backdrop.colour: must be a colour"),
    ],
)
def test_faults_say_what_is_wrong(plate: dict[str, Any], element: dict[str, Any], said: str, tmp_path: Path) -> None:
    with pytest.raises(UnusableInput) as caught:
        solved(scene(tmp_path, plate, element), [])
    assert said in str(caught.value)


def test_a_backdrop_is_keyed_before_anything_is_measured(tmp_path: Path) -> None:
    """A picture without alpha on green: its top is that of the thing, not of the picture."""
    path = scene(tmp_path, {}, {"backdrop": {"colour": "#10a010"}})
    picture = np.tile(np.uint8([0x10, 0xA0, 0x10]), (60, 40, 1))
    picture[12:55, 8:32] = (180, 40, 60)
    Image.fromarray(picture).save(tmp_path / "thing.png")
    thing = solved(path, []).plan.element("thing")
    assert thing.own_top_px[1] == pytest.approx(12, abs=0.51)
    assert min(u for u, _ in thing.own_hull_px) == pytest.approx(8, abs=0.51)
