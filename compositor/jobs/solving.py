"""From a scene file to a plan with findings: the part that check and render share."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from compositor.audit.findings import Finding
from compositor.audit.rules import audit
from compositor.base.errors import Fault, FaultyScene
from compositor.jobs.alternatives import alternative_facts, with_folders
from compositor.jobs.automatic import with_found_cameras
from compositor.jobs.coverage import holdout_coverage
from compositor.jobs.inputs import Inputs, cut_out, open_inputs
from compositor.jobs.shelf import Shelf
from compositor.measure.facts import PictureFacts
from compositor.plan.model import Plan
from compositor.scene.delivery import LOSSY
from compositor.scene.loader import LoadedScene, load_scene
from compositor.scene.models import Scene
from compositor.solve.planning import solve


@dataclass(frozen=True)
class Problem:
    """A scene that has been read and solved."""

    loaded: LoadedScene
    inputs: Inputs
    plan: Plan
    findings: tuple[Finding, ...]


def solved(path: Path, settings: list[tuple[str, str]]) -> Problem:
    """Read, open and solve a scene, variant base. Raises UnusableInput with every fault found on the way."""
    return solve_variant(load_scene(path, settings))


def solve_variant(loaded: LoadedScene, shelf: Shelf | None = None) -> Problem:
    """Open and solve a scene that was read. shelf: shared with other variants. Raises UnusableInput."""
    inputs = open_inputs(loaded.scene, loaded.path.parent, shelf)
    faults = list(inputs.faults)
    folder = loaded.path.parent
    scene = with_folders(loaded.scene, folder, faults)
    plan = _plan(scene, inputs, folder, alternative_facts(scene, folder, faults), faults)
    if plan is None or faults:
        raise loaded.unusable(faults)
    notices = tuple(
        Finding("taken-for-granted", "info", None, f"{text} ({', '.join(names)}).")
        for text, names in inputs.notices.items()
    )
    return Problem(
        loaded, inputs, plan, (*notices, *_reduced(inputs, plan), *audit(plan, holdout_coverage(inputs, plan)))
    )


def _reduced(inputs: Inputs, plan: Plan) -> Iterator[Finding]:
    """A word where a plate of 16 bits is delivered in a format that holds eight."""
    names = [d.name for d in plan.deliveries if d.format in LOSSY]
    if names and inputs.plate is not None and inputs.plate.deep:
        message = f"The plate has 16 bits; delivered in 8, which is what the format holds: {', '.join(names)}."
        yield Finding("reduced-to-eight-bits", "info", None, message)


def _plan(
    scene: Scene, inputs: Inputs, folder: Path, alternatives: Mapping[str, PictureFacts], faults: list[Fault]
) -> Plan | None:
    """The plan; where pictures are missing, whatever else is wrong is found all the same."""
    facts = inputs.facts(scene)
    if facts is None:
        return None
    try:
        facts = with_found_cameras(scene, replace(facts, alternatives=alternatives), folder, inputs.shelf)
        return solve(_readable(scene, inputs) if faults else scene, facts)
    except FaultyScene as error:
        faults.extend(error.faults)
        return None


def _readable(scene: Scene, inputs: Inputs) -> Scene:
    """The scene with the elements whose pictures could not be opened switched off (positions stay)."""
    elements = tuple(
        element.model_copy(update={"visible": False})
        if element.image is not None and cut_out(element) not in inputs.cut_outs
        else element
        for element in scene.elements
    )
    return scene.model_copy(update={"elements": elements, "deliveries": (), "graphics": ()})
