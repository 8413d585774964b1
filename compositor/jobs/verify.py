"""The verify job: render a scene and compare it with what was approved."""

import os
import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from compositor.deliver.writing import ENDINGS
from compositor.jobs.batch import Choice
from compositor.jobs.judging import Case, judged_by_proof, overlaid, regions_of
from compositor.jobs.looking import unusable_pictures
from compositor.jobs.outcome import Outcome, Solved
from compositor.jobs.proofs import Approved, approved_variants, read_approved
from compositor.jobs.render import render_scene
from compositor.pixels.strips import run_all
from compositor.plan.difference import plan_changes
from compositor.plan.model import Delivery
from compositor.plan.stable import plan_data
from compositor.report.verdict import STATUSES, Verdict, Verdicts


@dataclass(frozen=True)
class Verified:
    """A run: the verdicts, and what was rendered for them."""

    verdicts: Verdicts
    outcome: Outcome


def verify_scene(choice: Choice, out: Path, folder: Path | None = None) -> Verified:
    """Render the chosen variants into out and judge every picture. folder: for small pictures, out/<scene>.verify.

    Raises UnusableInput (see run_batch), also for approvals that cannot be read.
    """
    folder = run_folder(choice.path, out) if folder is None else folder
    _cleared(folder)
    outcome = render_scene(choice.path, choice.settings, out, choice.patterns, choice.jobs, choice.progress)
    judge = _Judge(choice.path, folder)
    tasks = [partial(judge.variant, solved) for solved in outcome.variants]
    verdicts = [verdict for found in run_all(tasks) for verdict in found]
    if not choice.patterns:
        verdicts += judge.orphans([*outcome.variants], [failed.variant for failed in outcome.failed])
    verdicts.sort(key=lambda verdict: STATUSES.index(verdict.status))
    told = Verdicts(choice.path.stem, verdicts, tuple(outcome.failures()), judge.notes(outcome.variants))
    return Verified(told, outcome)


def run_folder(scene: Path, out: Path) -> Path:
    """Where a run leaves its page, record and small pictures."""
    return out / f"{scene.stem}.verify"


def in_ci() -> bool:
    """Whether this process was started by a build server (common practice: CI is set to true there)."""
    return os.environ.get("CI", "").lower() in ("true", "1")


class _Judge:
    def __init__(self, scene: Path, folder: Path) -> None:
        self.scene, self.folder = scene, folder

    def variant(self, solved: Solved) -> list[Verdict]:
        """Verdicts of a variant's deliveries, and of what was approved of it and is made no more."""
        approved = read_approved(self.scene, solved.variant)
        changes = () if approved is None else plan_changes(approved.plan, plan_data(solved.plan))
        verdicts = []
        for delivery in solved.plan.deliveries:
            proof = None if approved is None else approved.pictures.get(delivery.name)
            case = Case(
                name=f"{solved.variant}/{delivery.name}",
                file=Path(solved.files[0]).parent / f"{delivery.name}.{ENDINGS[delivery.format]}",
                folder=self.folder / "pictures" / solved.variant,
                stem=delivery.name,
                plan_changes=tuple(c for c in changes if c.delivery in (None, delivery.name)),
                regions=regions_of(solved.plan, delivery),
                tolerances=delivery.likeness,
            )
            with unusable_pictures():
                verdict = judged_by_proof(case, proof, f"accept it with: compositor approve {self.scene}")
            verdicts.append(_with_overlay(verdict, case, delivery, solved))
        made = {delivery.name for delivery in solved.plan.deliveries}
        return verdicts + ([] if approved is None else self.gone(solved.variant, approved, made))

    def gone(self, variant: str, approved: Approved, made: set[str]) -> list[Verdict]:
        """Approved pictures that are not made."""
        return [
            Verdict(
                f"{variant}/{name}",
                "orphaned",
                reasons=("approved, but no longer made; take it away with: compositor approve " + str(self.scene),),
                files={"approved": str(proof.picture)},
            )
            for name, proof in approved.pictures.items()
            if name not in made
        ]

    def orphans(self, solved: Sequence[Solved], failed: Sequence[str]) -> list[Verdict]:
        """Of variants that there are no more."""
        known = {each.variant for each in solved} | set(failed)
        found = []
        for variant in approved_variants(self.scene):
            approved = None if variant in known else read_approved(self.scene, variant)
            found += [] if approved is None else self.gone(variant, approved, set())
        return found

    def notes(self, solved: Sequence[Solved]) -> tuple[str, ...]:
        """Where the libraries are others than those that drew what was approved."""
        found: dict[str, None] = {}
        for each in solved:
            approved = read_approved(self.scene, each.variant)
            if approved is not None:
                for name, version in each.record["versions"].items():
                    before = approved.versions.get(name, "none")
                    if before != version:
                        found[f"{name} {version} draws what was approved with {before}"] = None
        return tuple(found)


def _with_overlay(verdict: Verdict, case: Case, delivery: Delivery, solved: Solved) -> Verdict:
    """The overlay beside the picture, where there is one of the same frame."""
    size_px = solved.plan.plate.size_px
    whole = delivery.window_px == (0, 0, *size_px)
    name = f"{delivery.name}-overlay.png" if delivery.overlay else "overlay.png"
    if not whole and not delivery.overlay:
        return verdict
    return overlaid(verdict, case.file.parent / name)


def _cleared(folder: Path) -> None:
    """What an earlier run left there goes."""
    if (folder / "record.json").exists():
        shutil.rmtree(folder / "pictures", ignore_errors=True)
