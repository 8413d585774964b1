"""YAML text to a tree: scalars by the published core schema, JSON by the standard library, places by hand."""

import json
import math
from typing import Any

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from compositor.base.errors import UnusableInput
from compositor.scene.scalars import resolve
from compositor.scene.tree import Node, Place, plain, quoted
from compositor.scene.yaml_text import file_placing, parse


def tree(text: str) -> Node:
    return parse(text, file_placing("f", text.count("\n") + 1)).root


def test_example_10_9_of_the_yaml_specification() -> None:
    """YAML 1.2.2, example 10.9 (core tag resolution)."""
    text = """\
A null: null
Booleans: [ true, True, false, FALSE ]
Integers: [ 0, 0o7, 0x3A, -19 ]
Floats: [
  0., -0.0, .5, +12e03, -2E+05 ]
Also floats: [
  .inf, -.Inf, +.INF, .NAN ]
"""
    value = plain(tree(text))
    assert value["A null"] is None
    assert value["Booleans"] == [True, True, False, False]
    assert value["Integers"] == [0, 7, 0x3A, -19]
    assert value["Floats"] == [0.0, -0.0, 0.5, 12e3, -2e5]
    assert all(isinstance(number, float) for number in value["Floats"])
    assert value["Also floats"][:3] == [math.inf, -math.inf, math.inf]
    assert math.isnan(value["Also floats"][3])


@pytest.mark.parametrize(
    "text", ["yes", "no", "on", "off", "12:30", "2026-01-02", "1_000", "0b1", "1e", "+", "-", ".", "0x", "nan"]
)
def test_what_only_yaml_1_1_took_for_more_is_a_text(text: str) -> None:
    assert resolve(text) == text


def test_leading_zeros_are_decimal() -> None:
    assert (resolve("010"), resolve("1e3"), resolve("1.5e3")) == (10, 1000.0, 1500.0)


def test_absurdly_long_numbers_become_infinite_and_not_an_error() -> None:
    assert resolve("9" * 10_000) == math.inf
    assert resolve("9" * 18) == 10**18 - 1


def test_quotes_and_blocks_make_texts() -> None:
    assert plain(tree("a: '1'\nb: \"true\"\nc: |\n  2\nd: >-\n  3\n")) == {"a": "1", "b": "true", "c": "2\n", "d": "3"}


JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**17), 10**17)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=6), inner, max_size=4),
    max_leaves=12,
)


@given(JSON, st.sampled_from([None, 2]))
def test_json_reads_as_the_standard_library_reads_it(value: Any, indent: int | None) -> None:
    text = json.dumps(value, indent=indent).replace(
        "\\ud", "\\u0d"
    )  # pairs of escapes are joined with the file's bytes
    assert plain(tree(text)) == json.loads(text)


def test_places() -> None:
    root = tree("scene: 1\nplate:\n  camera: {horizon: 812}\nelements:\n  - name: é\n    contact: [1, 22]\n")
    camera = root.mapping["plate"].mapping["camera"]
    assert camera.mapping["horizon"].place == Place("f", 3, 21)
    assert (camera.key_place, camera.place) == (Place("f", 3, 3), Place("f", 3, 11))
    contact = root.mapping["elements"].items[0].mapping["contact"]
    assert contact.items[1].place == Place("f", 6, 18)
    assert contact.items[1].key_place is None


def test_an_alias_stands_where_it_is_written_and_its_parts_where_they_are() -> None:
    root = tree("a: &a [1, 2]\nb: *a\n")
    assert root.mapping["b"].place == Place("f", 2, 4)
    assert root.mapping["b"].items[1].place == Place("f", 1, 11)
    assert plain(root) == {"a": [1, 2], "b": [1, 2]}


def test_depth_through_aliases_is_counted() -> None:
    def nested(inner: int, outer: int) -> str:
        return f"a: &a {'[' * inner}{']' * inner}\nb: {'[' * outer}*a{']' * outer}\n"

    assert tree(nested(60, 39)).mapping["b"].items
    with pytest.raises(UnusableInput, match=r"f:2:4[0-9]: nested more than 100 deep"):
        tree(nested(60, 40))


@pytest.mark.parametrize(
    "text", ["a: [1, 2", "a: 'x", "a: b: c", "\ta: 1", "a: {b: 1}}", "- a\nb: c", 'a: "\\q"', "@a", "[" * 5000]
)
def test_the_parser_without_the_c_library_refuses_the_same(text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    sentences = []
    for _ in range(2):
        with pytest.raises(UnusableInput) as caught:
            tree(text)
        sentences.append([(fault.line, fault.what) for fault in caught.value.faults])
        monkeypatch.delattr(yaml, "CSafeLoader", raising=False)
    assert sentences[0][0][0] == sentences[1][0][0]
    assert "not readable" not in sentences[0][0][1] + sentences[1][0][1]


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("chair", "chair"),
        ("'chair '", '"chair "'),
        ("'812'", '"812"'),
        ("'true'", '"true"'),
        ("[1, 2.50, {a: yes}]", "[1, 2.5, {a: yes}]"),
        ("~", "null"),
        ("-.inf", "-.inf"),
        ('"a\\nb"', '"a\\nb"'),
        ("[" + "12, " * 50 + "]", "[" + "12, " * 14 + "12…"),
    ],
)
def test_values_are_quoted_as_yaml_on_one_line(text: str, shown: str) -> None:
    assert quoted(tree(text)) == shown
    assert len(quoted(tree(text))) <= 60
