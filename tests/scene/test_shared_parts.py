"""Parts of a scene that are checked once for all variants: the same verdict as of the scene checked as a whole."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from compositor.scene.batch import load_batch
from compositor.scene.likes import expand
from compositor.scene.models import Scene
from compositor.scene.settings import settled
from compositor.scene.shared import good_scene, is_too_large
from compositor.scene.tree import Node, plain, walk
from compositor.scene.yaml_text import MOST_NODES, file_placing, parse

EXAMPLE = Path(__file__).with_name("example.yaml").read_text("utf-8")
TREE = parse(EXAMPLE, file_placing("scene.yaml", EXAMPLE.count("\n") + 1)).root
KEYS = [
    "title",
    "plate",
    "plate.camera.height",
    "plate.extend.bottom",
    "plate.holdouts",
    "elements",
    "elements.lounge-chair.ground.distance",
    "elements.lounge-chair.camera",
    "elements.second-chair.like",
    "elements.poster.size",
    "elements.poster.ground",
    "deliveries.wide.quality",
    "deliveries.square.size",
    "graphics",
    "tolerances.height",
    "marks",
    "surprise",
]
VALUES = [
    "0",
    "-1",
    "2.5",
    "800",
    "true",
    "null",
    "[]",
    "{}",
    "[1, 2]",
    "poster",
    "{distance: 4}",
    "[null]",
    "{a: null}",
]


@given(st.lists(st.tuples(st.sampled_from(KEYS), st.sampled_from(VALUES)), max_size=3))
def test_verdict_is_that_of_the_whole(settings: list[tuple[str, str]]) -> None:
    root = expand(settled(TREE, settings)[0]).root
    found = good_scene(root)
    try:
        whole = Scene.model_validate(plain(root))
    except ValidationError:
        assert found is None
        return
    if any(node.value is None for _, node in walk(root)):
        assert found is None  # what is left empty is told by its place
        return
    assert found == whole
    assert found is not None
    assert found.model_dump_json(exclude_unset=True) == whole.model_dump_json(exclude_unset=True)


def test_what_variants_have_in_common_is_one_value(tmp_path: Path) -> None:
    (tmp_path / "scene.yaml").write_text(
        f"{EXAMPLE}variants:\n"
        "  - {name: a, set: {elements.poster.ground.pixel: [2300, 1100]}}\n"
        "  - {name: b, set: {elements.lounge-chair.height: 1}}\n",
        "utf-8",
    )
    _, a, b = (variant.loaded.scene for variant in load_batch(tmp_path / "scene.yaml"))
    assert a.plate is b.plate
    assert [one is other for one, other in zip(a.elements, b.elements, strict=True)] == [False, False, True, False]
    assert b.elements[1].height == 1.0  # the second chair is like the first


@pytest.mark.parametrize(("items", "expected"), [(MOST_NODES - 2, False), (MOST_NODES - 1, True)])
def test_size_counts_every_value(items: int, expected: bool) -> None:
    place = TREE.place
    root = Node({"elements": Node([Node(1, place)] * items, place)}, place)
    assert is_too_large(root) is expected
