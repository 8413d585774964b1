"""Keys: whatever shapes a thing makes another key, and nothing else does."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compositor.jobs.keys import key_of
from compositor.plan.model import Extension, Source

HASHES = {"a.png": "1", "b.png": "2", "same-as-a.png": "1"}.__getitem__


@dataclass(frozen=True)
class Thing:
    value: Any
    other: Any = None


@dataclass
class Changing:
    value: int


def key(*parts: Any) -> str:
    return key_of(parts, HASHES)


DIFFERENT: list[Any] = [
    0,
    0.0,
    -0.0,
    False,
    None,
    "0",
    "None",
    "",
    (),
    [0, 0],
    ((0, 0),),
    ("0, 0",),
    ("0", "0"),
    {},
    {"a": 0},
    {"a": 0.0},
    {"b": 0},
    0.1,
    np.nextafter(0.1, 1.0),
    np.float32(0.1),
    np.zeros(2),
    np.zeros(2, np.float32),
    np.zeros((2, 1)),
    Thing((Thing(0), None)),
    Extension(),
    Extension(left=1),
    Source("a.png"),
    Source("b.png"),
    Source("a.png", "b.png"),
    Source("b.png", "a.png"),
    Source("a.png", outline_px=((0.0, 0.0), (1.0, 0.0), (0.0, 1.0))),
]


def test_what_differs_has_another_key() -> None:
    keys = [key(*parts) for part in DIFFERENT for parts in ((part,), (part, part), (Thing(part),), (Thing(1, part),))]
    assert len(set(keys)) == 4 * len(DIFFERENT)


def test_files_count_by_what_they_hold() -> None:
    assert key(Thing(Source("a.png"))) == key(Thing(Source("same-as-a.png")))
    first, second = Thing(Source("a.png")), Thing(Source("b.png"))
    assert key(first, second) != key(second, first)
    now = {"a.png": "1"}
    before = key_of(first, now.__getitem__)
    now["a.png"] = "3"
    assert key_of(first, now.__getitem__) != before, "the digest of the same object is kept, and its file's is not"


@given(st.floats(allow_nan=False), st.floats(allow_nan=False))
def test_every_number_counts_to_its_last_bit(one: float, other: float) -> None:
    assert (key(Thing((one, 2.0))) == key(Thing((other, 2.0)))) == (one.hex() == other.hex())


def test_equal_values_have_one_key_whoever_made_them() -> None:
    thing = Thing((1.0, "x"), {"b": 2, "a": (1, 2)})
    assert key(thing) == key(replace(thing)) == key(Thing((1.0, "x"), {"a": (1, 2), "b": 2}))


@pytest.mark.parametrize("value", [Changing(1), object(), {1, 2}, b"x"])
def test_what_may_change_or_cannot_be_told_has_no_key(value: Any) -> None:
    with pytest.raises(TypeError, match="has no place in a key"):
        key(value)
