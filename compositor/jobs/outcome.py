"""What a job leaves to be told: records of variants, and the exit status they amount to."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from compositor.audit.findings import Finding
from compositor.audit.rules import at_or_above
from compositor.plan.model import Plan
from compositor.report.record import as_json
from compositor.report.text import told


@dataclass(frozen=True)
class Solved:
    """One variant: its plan, what the audit found, its record, and the files it wrote."""

    variant: str
    plan: Plan
    findings: tuple[Finding, ...]
    record: dict[str, Any]
    files: tuple[str, ...] = ()


@dataclass(frozen=True)
class Outcome:
    """The outcome of a job over the variants of one scene."""

    variants: Sequence[Solved]

    def exit_status(self, fail_on: str) -> int:
        """0, or 1 where a finding is at least as severe as fail_on."""
        return int(any(at_or_above(solved.findings, fail_on) for solved in self.variants))

    def as_json(self) -> str:
        """One variant's record by itself; several in a list under `variants`, each with its name."""
        if len(self.variants) == 1:
            return as_json(self.variants[0].record)
        return as_json({"variants": [{"variant": v.variant, **v.record} for v in self.variants]})

    def as_text(self) -> str:
        """For people: what stands where, what was found, what was written."""
        return "".join(told(solved.plan, solved.findings, solved.files) for solved in self.variants)
