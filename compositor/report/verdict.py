"""What came of comparing pictures: a verdict for each, and the record of all of them, which owns the exit status."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from compositor.plan.change import PlanChange
from compositor.report.record import as_json

Status = Literal["match", "differs", "missing", "size changed", "orphaned"]
STATUSES: tuple[Status, ...] = ("differs", "size changed", "missing", "orphaned", "match")
"""As they are listed: what needs a look first."""


@dataclass(frozen=True)
class Views:
    """Small JPEG pictures of a picture, to be looked at; None where there is none. overlay: transparent or not, it is
    laid over the others."""

    approved: bytes | None = None
    new: bytes | None = None
    difference: bytes | None = None
    overlay: bytes | None = None


@dataclass(frozen=True)
class Verdict:
    """One picture. name: variant and delivery, or a file's place in its folder.

    match: equal, or alike within the tolerances. missing: nothing was approved. orphaned: approved, but made no more.
    reasons: in words, worst first. figures: of the comparison. worst_box_px: left, top, right, bottom of the worst
    place. files: where the approved, the new and the difference picture lie.
    """

    name: str
    status: Status
    reasons: tuple[str, ...] = ()
    plan_changes: tuple[PlanChange, ...] = ()
    figures: Mapping[str, float] = field(default_factory=dict)
    size_px: tuple[int, int] | None = None
    worst_box_px: tuple[int, int, int, int] | None = None
    files: Mapping[str, str] = field(default_factory=dict)
    views: Views = field(default_factory=Views)

    @property
    def passes(self) -> bool:
        """Whether nobody has to look at it."""
        return self.status == "match"

    def told(self) -> list[str]:
        """Lines for people: the plan first, then the pixels, then where the pictures lie."""
        lines = [f"{self.name}: {self.status}"]
        lines += [f"    {change.text}" for change in self.plan_changes]
        lines += [f"    {reason}" for reason in self.reasons]
        if not self.passes:
            lines += [f"    {kind + ':':<12} {path}" for kind, path in self.files.items()]
        return lines

    def data(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {
            "name": self.name,
            "status": self.status,
            "plan_changes": [{"subject": c.subject, "text": c.text, **c.figures} for c in self.plan_changes],
            "reasons": list(self.reasons),
            "figures": dict(self.figures),
            "size": None if self.size_px is None else list(self.size_px),
            "worst_box": None if self.worst_box_px is None else list(self.worst_box_px),
            "files": dict(self.files),
        }


@dataclass(frozen=True)
class Verdicts:
    """All verdicts of a run. title: of what was compared. failed: lines about variants that could not be made.

    notes: what is worth knowing and fails nothing. page: where the page lies.
    """

    title: str
    verdicts: Sequence[Verdict]
    failed: Sequence[str] = ()
    notes: Sequence[str] = ()
    page: str | None = None

    def exit_status(self) -> int:
        """3 where variants failed; else 1 where a picture does not match; else 0."""
        if self.failed:
            return 3
        return int(not all(verdict.passes for verdict in self.verdicts))

    def count(self, status: Status) -> int:
        """How many have a status."""
        return sum(verdict.status == status for verdict in self.verdicts)

    def as_json(self) -> str:
        """The record."""
        counts = {status: self.count(status) for status in STATUSES}
        pictures = [verdict.data() for verdict in self.verdicts]
        told = {"title": self.title, "counts": counts, "notes": list(self.notes), "failed": list(self.failed)}
        return as_json({**told, "pictures": pictures})

    def as_text(self) -> str:
        """For people: what does not match, then how many do."""
        lines = [line for verdict in self.verdicts if not verdict.passes for line in verdict.told()]
        lines += [f"note: {note}" for note in self.notes]
        counts = [f"{self.count(status)} {status}" for status in STATUSES if self.count(status)]
        lines.append(f"{self.title}: " + (", ".join(counts) if counts else "no pictures"))
        if self.page is not None:
            lines.append(f"to look at: {self.page}")
        return "\n".join(lines) + "\n"
