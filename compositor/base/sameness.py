"""Keys for results that are kept: by the very object that they were worked out from.

Frozen values that hold mappings or arrays have no hash, and values that compare equal (0 and -0, 1 and 1.0) may still
lead to other bytes. An object that nobody can change, kept alive by its key, is told apart for certain.
"""

from collections.abc import Callable
from functools import wraps
from threading import Lock
from typing import Generic, TypeVar

Value = TypeVar("Value")
Result = TypeVar("Result")

MOST_KEPT = 512
"""By eye: elements of a scene, and some dozens of changed ones; the longest unused goes first."""


class Itself(Generic[Value]):
    """A frozen value as a key that only it itself is equal to."""

    __slots__ = ("value",)

    def __init__(self, value: Value) -> None:
        self.value = value

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Itself) and other.value is self.value

    def __hash__(self) -> int:
        return id(self.value)


class SameParts(Generic[Value]):
    """A frozen value as a key that every other value is equal to which has the very same parts, and equal figures (no
    noughts among them), for results that depend on these alone."""

    __slots__ = ("_key", "_parts", "value")

    def __init__(self, value: Value, parts: tuple[object, ...], figures: tuple[object, ...]) -> None:
        self.value, self._parts = value, parts  # held, so that no id is used again
        self._key = (*map(id, parts), *figures)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, SameParts) and other._key == self._key

    def __hash__(self) -> int:
        return hash(self._key)


def once_for_each(work: Callable[[Value], Result]) -> Callable[[Value], Result]:
    """A function of one frozen value whose results are kept for as long as there is room; the first kept goes first.

    Looked up a hundred times for a variant, whence no key is made: the value is held, so its id stays its own.
    """
    kept: dict[int, tuple[Value, Result]] = {}
    room = Lock()

    @wraps(work)
    def found(value: Value) -> Result:
        known = kept.get(id(value))
        if known is not None:
            return known[1]
        result = work(value)
        with room:
            if len(kept) >= MOST_KEPT:
                del kept[next(iter(kept))]
            kept[id(value)] = value, result
        return result

    return found
