"""What variants share: pictures opened and made ready once for all that need them, and let go after the last."""

import threading
from collections import Counter
from collections.abc import Callable, Hashable, Iterable
from concurrent.futures import Future
from typing import Any, TypeVar, cast

Value = TypeVar("Value")


class Shelf:
    """Made things by kind, files and whatever else they depend on.

    needed: for each variant the files it uses. A thing is dropped as soon as one of its files is needed no more.
    May be used by several threads: the first makes a thing, the others wait for it.
    """

    def __init__(self, needed: Iterable[Iterable[str]] = ()) -> None:
        self._left = Counter(file for files in needed for file in set(files))
        self._things: dict[tuple[str, tuple[str, ...], Hashable], Future[Any]] = {}
        self._lock = threading.Lock()

    def take(self, kind: str, files: tuple[str, ...], rest: Hashable, make: Callable[[], Value]) -> Value:
        """The thing, made now if it is not there. What making it raises is raised for everybody."""
        key = (kind, files, rest)
        with self._lock:
            thing = self._things.get(key)
            first = thing is None
            if thing is None:
                thing = self._things[key] = Future()
        if first:
            try:
                thing.set_result(make())
            except BaseException as error:
                thing.set_exception(error)
        return cast(Value, thing.result())

    def done(self, files: Iterable[str]) -> None:
        """One variant with these files is finished."""
        with self._lock:
            self._left.subtract(set(files))
            gone = {file for file, count in self._left.items() if count <= 0}
            for key in [key for key in self._things if gone.intersection(key[1])]:
                del self._things[key]
