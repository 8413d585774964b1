"""The error tree.

CompositorError
├── GeometryError      a short fact about a camera, a plane or a point (no ground there, behind the camera)
├── PictureError       a picture file that cannot be used: which file, why
└── UnusableInput      one or several faults of a scene file or of options (exit status 2)

Low levels raise the short fact; solving adds the key of the scene, loading adds file, line and column.
"""

from dataclasses import dataclass
from pathlib import Path

Key = tuple[str | int, ...]
"""Where in a scene: mapping keys and list positions from the top, ('elements', 2, 'contact')."""


class CompositorError(Exception):
    """Base of every error that is ours."""


class GeometryError(CompositorError):
    """A geometric request without an answer; the message is a short fact."""


class PictureError(CompositorError):
    """A picture file that cannot be used.

    Attributes: path (the file), reason (a short fact without the path).
    """

    def __init__(self, path: Path, reason: str) -> None:
        super().__init__(f"{path.name}: {reason}")
        self.path = path
        self.reason = reason


@dataclass(frozen=True)
class Fault:
    """One thing wrong with the input, by key: what is wrong (and its remedy), what was given."""

    key: Key
    what: str
    given: str | None = None


@dataclass(frozen=True, order=True)
class LocatedFault:
    """A fault with its place; prints as ``FILE:LINE:COLUMN: key: what is wrong (what was given)``."""

    file: str
    line: int
    column: int
    key: str
    what: str
    given: str | None = None

    def __str__(self) -> str:
        given = "" if self.given is None else f" ({self.given})"
        key = f"{self.key}: " if self.key else ""
        return f"{self.file}:{self.line}:{self.column}: {key}{self.what}{given}"


class UnusableInput(CompositorError):
    """Input that cannot be used, with all its faults (at least one)."""

    def __init__(self, faults: list[LocatedFault]) -> None:
        super().__init__("\n".join(str(fault) for fault in faults))
        self.faults = tuple(faults)


class FaultyScene(CompositorError):
    """Faults found while solving, by key; the edge that knows the file turns them into UnusableInput."""

    def __init__(self, faults: list[Fault]) -> None:
        super().__init__("; ".join(f"{'.'.join(map(str, fault.key))}: {fault.what}" for fault in faults))
        self.faults = tuple(faults)
