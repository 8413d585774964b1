"""Words of tolerances, kinds, alternatives and marks that are wrong get a sentence with a remedy."""

import copy
from typing import Any

import pytest
from audit_scenes import aimed, scene, solved, subject

from compositor.base.errors import UnusableInput


def words() -> dict[str, Any]:
    made = scene(subject("man", aimed(1.6, 6.0, 1.75), (0.0, 6.0), 1.75))
    return {**made, "marks": [{"name": "door", "contact": [1500, 1600], "top": [1500, 900], "kind": "door"}]}


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"tolerances": {"view_elevaton": 3}}, "did you mean `view_elevation`?"),
        ({"tolerances": {"view_elevation": -1}}, "must be greater than 0"),
        ({"elements": {"kind": "persn"}}, "no kind of known height; did you mean `person`?"),
        ({"elements": {"light": {"azimuth": 5, "elevaton": 5}}}, "did you mean `elevation`?"),
        ({"elements": {"alternatives": [{"image": "x.png", "contcat": [1, 2]}]}}, "did you mean `contact`?"),
        ({"elements": {"plumb": [[1, 1], [1, 1]]}}, "they must differ"),
        ({"marks": {"hight": 2}}, "did you mean `height`?"),
        ({"marks": {"top": [1, "a"]}}, "must be a number"),
    ],
)
def test_a_wrong_word_gets_a_sentence(change: dict[str, Any], said: str) -> None:
    made = copy.deepcopy(words())
    for key, value in change.items():
        made[key] = value if key == "tolerances" else [{**made[key][0], **value}]
    with pytest.raises(UnusableInput) as caught:
        solved(made)
    assert said in str(caught.value)


def test_words_that_are_right() -> None:
    assert solved(words())[0].marks[0].name == "door"
