"""The JSON Schema of scene files, checked by an independent validator (package jsonschema, draft 2020-12)."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from jsonschema import Draft202012Validator

from compositor.base.errors import UnusableInput
from compositor.scene.loader import load_scene
from compositor.scene.schema import scene_schema
from compositor.scene.tree import plain
from compositor.scene.yaml_text import file_placing, parse

EXAMPLE = Path(__file__).with_name("example.yaml")
FAULTS = Path(__file__).parents[1] / "faults"
SCHEMA = scene_schema()
CHECK = Draft202012Validator(SCHEMA)

BEYOND_A_SCHEMA = set((FAULTS / "beyond-a-schema.txt").read_text("utf-8").split())
"""Faults between several values, of names and of the text itself; all others an editor shows while one types."""


def readable(path: Path) -> bool:
    try:
        value(path)
    except UnusableInput:
        return False
    return True


def value(path: Path) -> Any:
    text = path.read_text("utf-8")
    return plain(parse(text, file_placing(str(path), text.count("\n") + 1)).root)


def definitions() -> Iterator[tuple[str, dict[str, Any]]]:
    yield "Scene", SCHEMA
    yield from SCHEMA["$defs"].items()


def test_it_is_a_schema_of_its_dialect() -> None:
    assert SCHEMA["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    Draft202012Validator.check_schema(SCHEMA)


def test_the_example_is_valid_in_both() -> None:
    assert load_scene(EXAMPLE).scene.scene == 1
    assert [error.message for error in CHECK.iter_errors(value(EXAMPLE))] == []


def test_what_the_loader_refuses_the_schema_refuses() -> None:
    passed = {path.stem for path in FAULTS.glob("*.yaml") if readable(path) and CHECK.is_valid(value(path))}
    assert passed == BEYOND_A_SCHEMA


def test_an_element_that_is_like_another_needs_its_name_only() -> None:
    scene = value(EXAMPLE)
    scene["elements"].append({"name": "third", "like": "lounge-chair", "height": None, "stance": None})
    assert CHECK.is_valid(scene)
    scene["elements"].append({"name": "fourth"})
    assert not CHECK.is_valid(scene)


def test_every_key_is_described_and_no_mapping_takes_unknown_keys() -> None:
    for name, definition in definitions():
        assert definition["additionalProperties"] is False, name
        assert definition["description"], name
        for key, field in definition["properties"].items():
            assert len(field["description"]) > 15, (name, key)
            assert "title" not in field, (name, key)
            assert ":mod:" not in field["description"] + definition["description"]


def test_choices_are_listed_and_pairs_are_plain_arrays() -> None:
    fields = {
        (name, key): field for name, definition in definitions() for key, field in definition["properties"].items()
    }
    assert fields["Extend", "fill"]["enum"] == ["mirror", "stretch", "inpaint"]
    assert fields["Delivery", "format"]["enum"] == ["png", "jpeg", "tiff", "webp", "avif"]
    assert fields["Element", "stance"]["anyOf"][0]["enum"] == ["upright", "flat", "wall"]
    assert "prefixItems" not in json.dumps(SCHEMA)
    assert ("Element", "raise") in fields
