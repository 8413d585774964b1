"""Geometric facts turned into faults of the key they are about.

Plain context managers: those made from generators take several times as long, and every element passes a dozen.
"""

from types import TracebackType

from compositor.base.errors import Fault, FaultyScene, GeometryError, Key

_Type = type[BaseException] | None
_Trace = TracebackType | None


class about:  # noqa: N801  (reads as a word of the statement: with about(key))
    """A GeometryError inside becomes a fault of this key; `whose` tells which horizon a message means."""

    __slots__ = ("given", "key", "whose")

    def __init__(self, key: Key, given: object = None, whose: str = "") -> None:
        self.key, self.given, self.whose = key, given, whose

    def __enter__(self) -> None:
        """Nothing is set up."""

    def __exit__(self, kind: _Type, error: BaseException | None, trace: _Trace) -> None:
        if isinstance(error, GeometryError):
            text = str(error).replace("the horizon", f"the horizon{self.whose}", 1)
            given = None if self.given is None else shown(self.given)
            raise FaultyScene([Fault(self.key, text, given)]) from error


class within:  # noqa: N801
    """Faults inside, whose keys are relative, get the key of what holds them in front."""

    __slots__ = ("prefix",)

    def __init__(self, prefix: Key) -> None:
        self.prefix = prefix

    def __enter__(self) -> None:
        """Nothing is set up."""

    def __exit__(self, kind: _Type, error: BaseException | None, trace: _Trace) -> None:
        if isinstance(error, FaultyScene):
            raise FaultyScene(_prefixed(self.prefix, error)) from error


class Collector:
    """Gathers the faults of several independent parts, so that one run names them all."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []

    def part(self, prefix: Key = ()) -> "_Part":
        """Faults inside are kept instead of raised, their keys with what holds them in front."""
        return _Part(self.faults, prefix)

    def raise_any(self) -> None:
        """Raises FaultyScene if there were faults."""
        if self.faults:
            raise FaultyScene(self.faults)


class _Part:
    """One part whose faults are gathered."""

    __slots__ = ("faults", "prefix")

    def __init__(self, faults: list[Fault], prefix: Key) -> None:
        self.faults, self.prefix = faults, prefix

    def __enter__(self) -> None:
        """Nothing is set up."""

    def __exit__(self, kind: _Type, error: BaseException | None, trace: _Trace) -> bool:
        if not isinstance(error, FaultyScene):
            return False
        self.faults.extend(_prefixed(self.prefix, error))
        return True


def _prefixed(prefix: Key, error: FaultyScene) -> list[Fault]:
    return [Fault(prefix + fault.key, fault.what, fault.given) for fault in error.faults]


def shown(value: object) -> str:
    """A number or pixels as a person writes them."""
    if isinstance(value, tuple):
        return "[" + ", ".join(shown(item) for item in value) + "]"
    return f"{value:.6g}" if isinstance(value, float) else str(value)
