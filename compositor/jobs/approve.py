"""The approve job: what a scene renders now becomes what it is compared with."""

from dataclasses import dataclass
from pathlib import Path

from compositor.base.errors import LocatedFault, UnusableInput
from compositor.deliver.writing import ENDINGS
from compositor.jobs.batch import Choice
from compositor.jobs.looking import open_look
from compositor.jobs.outcome import Solved
from compositor.jobs.proofs import proofs_of, remove_approved, write_approved
from compositor.jobs.verify import in_ci, verify_scene
from compositor.report.approval import Approval


@dataclass(frozen=True)
class Consent:
    """What somebody who approves has to say beforehand. even_in_ci: that a build server may do it."""

    even_in_ci: bool = False


def approve_scene(choice: Choice, out: Path, consent: Consent) -> Approval:
    """Render, compare, and approve every variant with a picture that does not match; nothing where a variant failed.

    Raises UnusableInput (see run_batch), also on a build server without consent.
    """
    if in_ci() and not consent.even_in_ci:
        what = "approving is refused where CI is true: somebody should look first; --even-in-ci allows it"
        raise UnusableInput([LocatedFault(str(choice.path), 1, 1, "", what)])
    verified = verify_scene(choice, out)
    told = Approval(verified.verdicts, str(proofs_of(choice.path)))
    if verified.outcome.failed:
        return told
    changed = {verdict.name.split("/")[0] for verdict in told.changes}
    for solved in verified.outcome.variants:
        if solved.variant in changed:
            _approve(choice.path, solved)
            changed.discard(solved.variant)
    for variant in changed:
        remove_approved(choice.path, variant)
    return told


def _approve(scene: Path, solved: Solved) -> None:
    folder = Path(solved.files[0]).parent
    files = {d.name: folder / f"{d.name}.{ENDINGS[d.format]}" for d in solved.plan.deliveries}
    looks = {name: open_look(path) for name, path in files.items()}
    write_approved(scene, solved.variant, solved.plan, solved.record["versions"], looks)
