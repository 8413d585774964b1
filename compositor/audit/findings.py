"""What the audit has to say about a plan, one fact at a time, and what can be done about it."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

from compositor.base.arrays import Floats
from compositor.plan.model import Plan

Severity = Literal["info", "warning", "error"]
SEVERITIES: tuple[Severity, ...] = ("info", "warning", "error")

Covers = Callable[[str, Floats], Floats]
"""How far a holdout, by name, covers pixels (n, 2) of the full frame: (n,), 0..1."""


@dataclass(frozen=True)
class Remedy:
    """A way out, in a sentence with its numbers.

    settings: KEY=VALUE pairs that apply it; empty where somebody has to do something. mends: whether these settings
    alone take the finding away. change: how much it changes the picture (0 = nothing; shares of the frame and of the
    element's size), by which ways out are sorted.
    """

    text: str
    settings: tuple[tuple[str, str], ...] = ()
    mends: bool = False
    change: float = 1.0


@dataclass(frozen=True)
class Finding:
    """One thing worth knowing: a code to filter by, the element it is about (None: the plate), a sentence, ways out.

    brief: the same in a few words, for a label.
    """

    code: str
    severity: Severity
    element: str | None
    message: str
    remedies: tuple[Remedy, ...] = ()
    brief: str | None = None

    @property
    def remedy(self) -> str | None:
        """The first way out."""
        return self.remedies[0].text if self.remedies else None


@dataclass(frozen=True)
class Case:
    """What rules look at: the plan, and how far holdouts cover pixels where that is known."""

    plan: Plan
    covers: Covers | None = None


def ranked(remedies: Iterable[Remedy | None]) -> tuple[Remedy, ...]:
    """Ways out, those that mend first, then by how little they change."""
    found = [remedy for remedy in remedies if remedy is not None]
    return tuple(sorted(found, key=lambda remedy: (not remedy.mends, remedy.change)))


def lowered(severity: Severity) -> Severity:
    """One step less severe."""
    return SEVERITIES[max(0, SEVERITIES.index(severity) - 1)]
