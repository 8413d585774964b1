"""What an approval changes, told picture by picture."""

from dataclasses import dataclass

from compositor.report.record import as_json
from compositor.report.verdict import Status, Verdict, Verdicts

_WHAT: dict[Status, str] = {
    "match": "stays as it is",
    "missing": "approved for the first time",
    "differs": "approved anew",
    "size changed": "approved anew",
    "orphaned": "taken away",
}


@dataclass(frozen=True)
class Approval:
    """Verdicts before approving; folder: where what is approved lies."""

    verdicts: Verdicts
    folder: str

    @property
    def changes(self) -> list[Verdict]:
        """Verdicts whose approval changes."""
        return [verdict for verdict in self.verdicts.verdicts if not verdict.passes]

    def exit_status(self) -> int:
        """3 where variants failed, and nothing was approved; else 0."""
        return 3 if self.verdicts.failed else 0

    def as_json(self) -> str:
        """The record: every picture with what became of it."""
        done = "nothing: variants failed" if self.verdicts.failed else None
        pictures = [{**v.data(), "approval": done or _WHAT[v.status]} for v in self.verdicts.verdicts]
        told = {"title": self.verdicts.title, "folder": self.folder, "failed": list(self.verdicts.failed)}
        return as_json({**told, "pictures": pictures})

    def as_text(self) -> str:
        """For people: what changes, and why it was not a match."""
        lines = []
        for verdict in self.changes:
            lines.append(f"{verdict.name}: {_WHAT[verdict.status]}")
            lines += [f"    {change.text}" for change in verdict.plan_changes]
            if verdict.status in ("differs", "size changed"):
                lines += [f"    {reason}" for reason in verdict.reasons]
        unchanged = len(self.verdicts.verdicts) - len(self.changes)
        if self.verdicts.failed:
            lines = ["nothing approved, because variants failed"]
        elif unchanged:
            lines.append(f"{unchanged} of {len(self.verdicts.verdicts)} stay as they are")
        lines.append(f"approved pictures lie in {self.folder}")
        return "\n".join(lines) + "\n"
