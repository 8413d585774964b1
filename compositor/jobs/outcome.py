"""What a job leaves to be told: records of variants, and the exit status they amount to."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from compositor.audit.findings import Finding
from compositor.audit.rules import at_or_above
from compositor.base.errors import LocatedFault
from compositor.plan.model import Plan
from compositor.report.record import as_json
from compositor.report.text import told, told_of_several

SOME_FAILED = 3


@dataclass(frozen=True)
class Labour:
    """What rendering took: layers that were there already and layers made. done: all of it was there from before."""

    kept: int = 0
    made: int = 0
    done: bool = False


@dataclass(frozen=True)
class Solved:
    """One variant: its plan, what the audit found, its record, the files it wrote. labour: where it was rendered."""

    variant: str
    plan: Plan
    findings: tuple[Finding, ...]
    record: dict[str, Any]
    files: tuple[str, ...] = ()
    labour: Labour | None = None


@dataclass(frozen=True)
class Failed:
    """One variant that could not be made, and why."""

    variant: str
    faults: tuple[LocatedFault, ...]


@dataclass(frozen=True)
class Outcome:
    """The outcome of a job over the variants of one scene."""

    variants: Sequence[Solved]
    failed: Sequence[Failed] = ()

    def exit_status(self, fail_on: str) -> int:
        """3 where variants failed; else 1 where a finding is at least as severe as fail_on; else 0."""
        if self.failed:
            return SOME_FAILED
        return int(any(at_or_above(solved.findings, fail_on) for solved in self.variants))

    def as_json(self) -> str:
        """One variant's record by itself; several in a list under `variants`, each with its name, and under `failed`
        those that failed, with their faults. After a render `layers` says how many were kept and made."""
        if len(self.variants) == 1 and not self.failed:
            return as_json({**self.variants[0].record, **self._labour()})
        failed = [{"variant": f.variant, "faults": [str(fault) for fault in f.faults]} for f in self.failed]
        variants = [{"variant": v.variant, **v.record} for v in self.variants]
        return as_json({"variants": variants, "failed": failed, **self._labour()})

    def as_text(self) -> str:
        """For people: what stands where, what was found, what was written; of several variants what they differ in."""
        if len(self.variants) == 1 and not self.failed:
            solved = self.variants[0]
            text = told(solved.plan, solved.findings, solved.files)
        else:
            text = told_of_several([(v.variant, v.findings, v.files) for v in self.variants])
        for labour in self._labour().values():
            text += f"layers: {labour['kept']} used again, {labour['made']} made"
            text += f"; variants left as they were: {labour['variants_done']}\n" if labour["variants_done"] else "\n"
        return text

    def _labour(self) -> dict[str, dict[str, int]]:
        """The sum over variants under `layers`; nothing where none was rendered."""
        labours = [v.labour for v in self.variants if v.labour is not None]
        if not labours:
            return {}
        kept, made = sum(labour.kept for labour in labours), sum(labour.made for labour in labours)
        return {"layers": {"kept": kept, "made": made, "variants_done": sum(labour.done for labour in labours)}}

    def failures(self) -> list[str]:
        """A line for each fault of each variant that failed, for the error output."""
        return [f"variant {failed.variant} failed: {fault}" for failed in self.failed for fault in failed.faults]
