"""What variants share: pictures opened and made ready once for all that need them, and let go after the last."""

import threading
from collections import Counter, OrderedDict, defaultdict
from collections.abc import Callable, Hashable, Iterable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from typing import Any, TypeVar, cast

import numpy as np

from compositor.base.errors import CompositorError
from compositor.jobs.cache import Cache
from compositor.jobs.memory import Gate
from compositor.pixels.mips import Mips
from compositor.pixels.softened import Softened

Value = TypeVar("Value")
_Key = tuple[str, tuple[str, ...], Hashable]


_LEAST_PASSING_BYTES = 24 << 20
_MOST_PASSING_FRACTION = 0.5  # of what may be held
_REMEMBERED = 10_000  # keys of passing things that were let go
_WITHOUT_SAMPLES = {str, bytes, int, float, bool, type(None)}
_EMPTY_BYTES = 1 << 10  # what a passing thing without samples counts: there may be several for every variant


@dataclass(slots=True)
class _Thing:
    """in_hand: where others wait for it, if any do. made: nobody has to any more. held_bytes: 0 until then."""

    passing: bool
    in_hand: Future[Any] | None = None
    made: bool = False
    value: Any = None
    held_bytes: int = 0

    def waited_for(self) -> Future[Any]:
        """Made when somebody waits first: hardly ever, and it takes as long as all the rest."""
        self.in_hand = self.in_hand or Future()
        return self.in_hand


class Shelf:
    """Made things by kind, files and whatever else they depend on.

    needed: for each variant the files it uses. A thing is dropped as soon as one of its files is needed no more, and
    the longest unused ones where they would hold more than most_bytes together; whoever uses one still, keeps it.
    Things of no file are passing: what a view shows serves those that show the same. Little of that is held, and more
    when something is asked for that was let go: a batch in which no two variants show the same stays small.
    cache: where things last from run to run. gate: how much may be worked on at once. May be used by several threads:
    the first makes a thing, the others wait for it.
    """

    def __init__(
        self,
        needed: Iterable[Iterable[str]] = (),
        most_bytes: int | None = None,
        cache: Cache | None = None,
        gate: Gate | None = None,
    ) -> None:
        self.most_bytes, self.cache = most_bytes, cache
        self.gate = Gate(None) if gate is None else gate
        users = [set(files) for files in needed]
        self._left = Counter(file for files in users for file in files)
        self._things: OrderedDict[_Key, _Thing] = OrderedDict()
        self._passing: OrderedDict[_Key, _Thing] = OrderedDict()  # of these, for those that go do so all the time
        self._of_file: defaultdict[str, set[_Key]] = defaultdict(set)
        self._held_bytes = {False: 0, True: 0}  # of things of files, and of passing ones
        self._passing_bytes = 0 if len(users) == 1 else _LEAST_PASSING_BYTES
        self._let_go_before: OrderedDict[_Key, int] = OrderedDict()
        self._asked: OrderedDict[_Key, int] = OrderedDict()
        self._lock = threading.Lock()

    def take(self, kind: str, files: tuple[str, ...], rest: Hashable, make: Callable[[], Value]) -> Value:
        """The thing, made now if it is not there. What making it raises is raised for everybody."""
        key = (kind, files, rest)
        with self._lock:
            thing = self._things.get(key)
            if thing is not None:
                self._things.move_to_end(key)
                if not files:
                    self._passing.move_to_end(key)
                in_hand = None if thing.made else thing.waited_for()
            else:
                made = self._things[key] = _Thing(not files)
                if not files:
                    self._passing[key] = made
                self._passing_bytes += self._let_go_before.pop(key, 0)
                for file in files:
                    self._of_file[file].add(key)
        if thing is None:
            return self._make(key, made, make)
        return cast(Value, thing.value if in_hand is None else in_hand.result())

    def holds(self, kind: str, files: tuple[str, ...], rest: Hashable) -> bool:
        """Whether a thing is there or being made."""
        with self._lock:
            return (kind, files, rest) in self._things

    def again(self, kind: str, files: tuple[str, ...], rest: Hashable) -> bool:
        """Whether this was asked before: for what is worth holding only if somebody looks at it twice."""
        key = (kind, files, rest)
        with self._lock:
            asked = key in self._asked
            _remember(self._asked, key, 0)
        return asked

    def users(self, file: str) -> int:
        """How many variants need a file still; 0 where that is not known."""
        return self._left[file]

    def done(self, files: Iterable[str]) -> None:
        """One variant with these files is finished."""
        if not self._left:  # who does not know what is to come keeps what there is room for
            return
        with self._lock:
            self._left.subtract(set(files))
            for file in [file for file in files if self._left[file] <= 0]:
                for key in list(self._of_file[file]):
                    self._remove(key)

    @property
    def held_bytes(self) -> int:
        """Of all things that are made."""
        with self._lock:
            return sum(self._held_bytes.values())

    def _make(self, key: _Key, thing: _Thing, make: Callable[[], Value]) -> Value:
        try:
            value = make()
        except BaseException as error:
            with self._lock:
                in_hand = thing.waited_for()
                there = self._things.get(key) is thing
                if there and not isinstance(error, CompositorError):  # the memory or the disk may have room again
                    self._remove(key)
            in_hand.set_exception(error)
            raise
        with self._lock:
            thing.value, thing.made = value, True
            waiting, thing.in_hand = thing.in_hand, None
        if waiting is not None:
            waiting.set_result(value)
        with self._lock:
            if self._things.get(key) is thing:
                thing.held_bytes = held_bytes(value) or (_EMPTY_BYTES if thing.passing else 0)
                self._held_bytes[thing.passing] += thing.held_bytes
            self._make_room()
        return value

    def _make_room(self) -> None:
        passing_bytes = self._passing_bytes
        if self.most_bytes is not None:
            self._drop(False, sum(self._held_bytes.values()) - self.most_bytes)
            passing_bytes = min(passing_bytes, int(self.most_bytes * _MOST_PASSING_FRACTION))
        self._drop(True, self._held_bytes[True] - passing_bytes)

    def _drop(self, passing: bool, surplus_bytes: int) -> None:
        """Let the longest unused things go, only passing ones or any, until so much less is held."""
        if surplus_bytes <= 0:  # nearly always, and with many variants there are many things to walk over
            return
        gone: list[_Key] = []
        for key, thing in (self._passing if passing else self._things).items():
            if thing.held_bytes:
                gone.append(key)
                surplus_bytes -= thing.held_bytes
                if surplus_bytes <= 0:
                    break
        for key in gone:
            thing = self._remove(key)
            if thing.passing:
                _remember(self._let_go_before, key, thing.held_bytes)

    def _remove(self, key: _Key) -> _Thing:
        thing = self._things.pop(key)
        if thing.passing:
            del self._passing[key]
        self._held_bytes[thing.passing] -= thing.held_bytes
        for file in key[1]:
            self._of_file[file].discard(key)
        return thing


def _remember(keys: OrderedDict[_Key, int], key: _Key, value: int) -> None:
    keys[key] = value
    if len(keys) > _REMEMBERED:
        keys.popitem(last=False)


def held_bytes(value: object) -> int:
    """Memory that a thing's samples take, with all of an array that they are a part of; pyramids that are mapped from
    files take none."""
    kind: Any = type(value)
    if kind in _WITHOUT_SAMPLES:
        return 0
    if isinstance(value, np.ndarray):
        return value.base.nbytes if isinstance(value.base, np.ndarray) else value.nbytes
    if isinstance(value, Mips | Softened):
        return value.held_bytes
    if kind is tuple or kind is list:
        items = cast("Sequence[object]", value)
    elif is_dataclass(value):
        items = [getattr(value, name) for name in _field_names(kind)]
    else:
        return 0
    return sum([held_bytes(item) for item in items if type(item) not in _WITHOUT_SAMPLES])


@cache
def _field_names(kind: Any) -> tuple[str, ...]:
    return tuple(field.name for field in fields(kind))
