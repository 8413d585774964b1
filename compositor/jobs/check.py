"""The check job: all the geometry and the findings, no pixels."""

from pathlib import Path
from time import perf_counter

from compositor.jobs.inputs import hashes
from compositor.jobs.outcome import Outcome, Solved
from compositor.jobs.solving import solved, versions
from compositor.report.record import record


def check_scene(path: Path, settings: list[tuple[str, str]]) -> Outcome:
    """Solve and audit a scene. Raises UnusableInput."""
    start = perf_counter()
    problem = solved(path, settings)
    timings_s = {"solve": perf_counter() - start}
    data = record(problem.plan, problem.findings, hashes(problem.loaded.scene, path.parent), versions(), timings_s)
    return Outcome([Solved("base", problem.plan, problem.findings, data)])
