"""The diff job: how settings would move and scale every element, without drawing anything."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from compositor.jobs.solving import solved
from compositor.plan.change import PlanChange
from compositor.plan.difference import plan_changes
from compositor.plan.stable import plan_data
from compositor.report.record import as_json


@dataclass(frozen=True)
class SceneDifference:
    """What settings change in a scene's plan."""

    changes: tuple[PlanChange, ...]

    def as_json(self) -> str:
        """The record."""
        return as_json({"plan_changes": [{"subject": c.subject, "text": c.text, **c.figures} for c in self.changes]})

    def as_text(self) -> str:
        """A line for each change."""
        lines = [change.text for change in self.changes] or ["nothing would move"]
        return "\n".join(lines) + "\n"


def scene_difference(path: Path, settings: Sequence[tuple[str, str]]) -> SceneDifference:
    """Solve a scene without and with settings. Raises UnusableInput."""
    before, after = (plan_data(solved(path, list(chosen)).plan) for chosen in ((), settings))
    return SceneDifference(plan_changes(before, after))
