"""KEY=VALUE settings: what they change, and where their faults are."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compositor.base.errors import UnusableInput
from compositor.scene import settings as setting
from compositor.scene.camera import RowHorizon
from compositor.scene.element import GroundPixel, GroundPosition
from compositor.scene.loader import load_scene
from compositor.scene.models import Scene
from compositor.scene.tree import Node, plain
from compositor.scene.yaml_text import file_placing, parse

EXAMPLE = Path(__file__).with_name("example.yaml")


def settled(*settings: tuple[str, str]) -> Scene:
    return load_scene(EXAMPLE, settings).scene


def refused(*settings: tuple[str, str]) -> list[str]:
    with pytest.raises(UnusableInput) as caught:
        load_scene(EXAMPLE, settings)
    return [str(fault) for fault in caught.value.faults]


def tree(text: str) -> Node:
    return parse(text, file_placing("scene.yaml", text.count("\n") + 1)).root


def test_elements_holdouts_and_deliveries_go_by_name() -> None:
    scene = settled(
        ("elements.lounge-chair.visible", "false"),
        ("plate.holdouts.lamp-post.distance", "5"),
        ("deliveries.wide.quality", "80"),
        ("elements.2.ground.offset", "-2"),
    )
    assert [element.visible for element in scene.elements] == [False, False, True, True]
    assert scene.plate.holdouts[0].distance == 5
    assert scene.deliveries[0].quality == 80
    assert scene.elements[2].ground == GroundPosition(distance=3, offset=-2)


def test_a_key_is_replaced_whole() -> None:
    scene = settled(("plate.camera.horizon", "{points: [[0, 1], [9, 2]]}"), ("plate.camera.horizon", "800"))
    assert scene.plate.camera.horizon == RowHorizon(row=800)
    assert settled(("elements.poster.ground", "{distance: 4}")).elements[3].ground == GroundPosition(distance=4)


def test_a_scalar_makes_room_for_a_form() -> None:
    assert settled(("plate.camera.horizon.row", "7")).plate.camera.horizon == RowHorizon(row=7)


def test_missing_mappings_are_made() -> None:
    scene = settled(("plate.camera.crop.offset", "[1, 2]"), ("plate.camera.crop.of", "[6000, 4000]"))
    assert scene.plate.camera.crop is not None
    assert scene.plate.camera.crop.of == (6000, 4000)


def test_a_position_in_a_list() -> None:
    scene = settled(("elements.poster.wall.1", "[2800, 1190]"), ("elements.poster.wall.0.0", "1800"))
    assert scene.elements[3].wall == ((1800, 1000), (2800, 1190))


def test_part_of_a_key_taken_over_by_like_changes_that_part_alone() -> None:
    scene = settled(("elements.second-chair.camera.height", "2"))
    chair, second = scene.elements[:2]
    assert second.camera is not None
    assert chair.camera is not None
    assert (second.camera.height, second.camera.horizon) == (2, chair.camera.horizon)
    assert chair.camera.height == 1.2


def test_what_is_set_on_an_element_holds_for_those_like_it() -> None:
    assert settled(("elements.lounge-chair.height", "1")).elements[1].height == 1


def test_null_removes_a_key_also_one_taken_over() -> None:
    assert settled(("elements.lounge-chair.height", "null")).elements[0].height is None
    second = settled(("elements.second-chair.height", "null"))
    assert (second.elements[1].height, second.elements[0].height) == (None, 0.92)


def test_a_name_with_dots(tmp_path: Path) -> None:
    path = tmp_path / "scene.yaml"
    path.write_text(EXAMPLE.read_text("utf-8").replace("name: poster", "name: poster.v2"), "utf-8")
    assert load_scene(path, [("elements.poster.v2.ground.pixel", "[2, 3]")]).scene.elements[3].ground == GroundPixel(
        pixel=(2, 3)
    )


def test_no_setting_changes_the_tree_it_is_given() -> None:
    before = tree("a: {b: [1, 2]}")
    after, faults = setting.settled(before, [("a.b.0", "7"), ("c", "3")])
    assert faults == ()
    assert plain(before) == {"a": {"b": [1, 2]}}
    assert plain(after) == {"a": {"b": [7, 2]}, "c": 3}


@pytest.mark.parametrize(
    ("settings", "line"),
    [
        (
            [("elements.lounge-chiar.height", "2")],
            "--set:1:10: elements.lounge-chiar: no element of that name; did you mean `lounge-chair`?",
        ),
        (
            [("title", "a"), ("deliveries.squar.quality", "2")],
            "--set:2:12: deliveries.squar: no delivery of that name; did you mean `square`?",
        ),
        (
            [("plate.holdouts.post.distance", "2")],
            "--set:1:16: plate.holdouts.post: no holdout of that name; did you mean `lamp-post`?",
        ),
        (
            [("elements.poster.wall.2", "[1, 2]")],
            "--set:1:22: elements.poster.wall.2: not in the list, which has 2 entries, counted from 0",
        ),
        ([("plate.camera.heigth", "2")], "--set:1:14: plate.camera.heigth: unknown key; did you mean `height`? (2)"),
        ([("plate.camera.height", "-2")], "--set:1:21: plate.camera.height: must be greater than 0 (-2)"),
        (
            [("plate.camera.crop", "{of: [1, 2], of: [1, 2], offset: [0, 0]}")],
            "--set:1:32: plate.camera.crop.of: the same key twice in one mapping, first in line 1",
        ),
        ([("title", "[")], "--set:1:7: title: a value is missing, or a bracket is not closed"),
        ([("title", "")], "--set:1:7: title: no value; write KEY=VALUE, or null to remove the key"),
        ([("title", "a\n--- b")], "--set:1:1: title: several documents"),
        ([("", "1")], "--set:1:1: not a key; write names with dots between them"),
        ([("a..b", "1")], "--set:1:1: not a key; write names with dots between them"),
        ([("title", "\ud800")], "--set:1:7: title: a character that no text file holds"),
        (
            [("elements.lounge-chair.ground.pixel", "[1, 2]")],
            "--set:1:30: elements.lounge-chair.ground: two forms at once: distance, pixel; keep one",
        ),
    ],
)
def test_faults_have_the_option_and_the_column(settings: Sequence[tuple[str, str]], line: str) -> None:
    found = refused(*settings)
    assert found[0].startswith(line)


def test_faults_of_all_settings_and_of_the_file_come_in_one_run(tmp_path: Path) -> None:
    (tmp_path / "scene.yaml").write_text("scene: 1\nplate: {image: a.jpg, camera: {horizon: x}}\n")
    path = f"{tmp_path}/./scene.yaml"  # as somebody wrote it
    with pytest.raises(UnusableInput) as caught:
        load_scene(path, [("elements.a.b", "1"), ("title", "7"), ("plate.image", "[")])
    assert [(fault.file, fault.line) for fault in caught.value.faults] == [
        (path, 2),
        ("--set", 1),
        ("--set", 2),
        ("--set", 3),
    ]


WORDS = st.text("abcdefg_", min_size=1, max_size=4)
SCALARS = st.one_of(
    st.booleans(),
    st.integers(-(10**6), 10**6),
    st.floats(allow_nan=False, allow_infinity=False),
    st.text("xyz -", max_size=5),
)
VALUES = st.recursive(SCALARS, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(WORDS, inner, max_size=3))


def read(value: Any, path: Sequence[str]) -> Any:
    for part in path:
        value = value[int(part)] if isinstance(value, list) else value[part]
    return value


@given(st.dictionaries(WORDS, VALUES, max_size=4), st.lists(WORDS, min_size=1, max_size=4), VALUES)
def test_what_is_set_is_read_back(before: dict[str, Any], path: list[str], value: Any) -> None:
    """JSON written by the standard library is the independent witness of the value."""
    start = tree(json.dumps(before))
    assert plain(start) == before
    changed, faults = setting.settled(start, [(".".join(path), json.dumps(value))])
    if faults:
        assert "not in the list" in str(faults[0])  # the path led into a list of the drawn tree
        return
    after = plain(changed)
    assert read(after, path) == value
    others = {key: entry for key, entry in before.items() if key != path[0]}
    assert {key: entry for key, entry in after.items() if key != path[0]} == others
    assert list(after)[: len(before)] == list(before)
