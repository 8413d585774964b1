"""Geometric facts turned into faults of the key they are about."""

from collections.abc import Iterator
from contextlib import contextmanager

from compositor.base.errors import Fault, FaultyScene, GeometryError, Key


@contextmanager
def about(key: Key, given: object = None, whose: str = "") -> Iterator[None]:
    """A GeometryError inside becomes a fault of this key; `whose` tells which horizon a message means."""
    try:
        yield
    except GeometryError as error:
        text = str(error).replace("the horizon", f"the horizon{whose}", 1)
        raise FaultyScene([Fault(key, text, None if given is None else shown(given))]) from error


@contextmanager
def within(prefix: Key) -> Iterator[None]:
    """Faults inside, whose keys are relative, get the key of what holds them in front."""
    try:
        yield
    except FaultyScene as error:
        raise FaultyScene([Fault(prefix + fault.key, fault.what, fault.given) for fault in error.faults]) from error


class Collector:
    """Gathers the faults of several independent parts, so that one run names them all."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []

    @contextmanager
    def part(self, prefix: Key = ()) -> Iterator[None]:
        """Faults inside are kept instead of raised."""
        try:
            with within(prefix):
                yield
        except FaultyScene as error:
            self.faults.extend(error.faults)

    def raise_any(self) -> None:
        """Raises FaultyScene if there were faults."""
        if self.faults:
            raise FaultyScene(self.faults)


def shown(value: object) -> str:
    """A number or pixels as a person writes them."""
    if isinstance(value, tuple):
        return "[" + ", ".join(shown(item) for item in value) + "]"
    return f"{value:.6g}" if isinstance(value, float) else str(value)
