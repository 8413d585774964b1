"""The check job: all the geometry and the findings, no pixels."""

from collections.abc import Sequence
from pathlib import Path
from time import perf_counter

from compositor.jobs.batch import Choice, run_batch
from compositor.jobs.inputs import hashes
from compositor.jobs.outcome import Outcome, Solved
from compositor.jobs.solving import Problem
from compositor.jobs.versions import versions
from compositor.report.record import record


def check_scene(
    path: Path, settings: Sequence[tuple[str, str]], patterns: Sequence[str] = (), jobs: int | None = None
) -> Outcome:
    """Solve and audit the variants of a scene. Raises UnusableInput (see run_batch)."""
    start = perf_counter()

    def work(variant: str, problem: Problem) -> Solved:
        digests = hashes(problem.loaded.scene, path.parent, problem.inputs.shelf)
        timings_s = {"solve": perf_counter() - start}
        data = record(problem.plan, problem.findings, digests, versions(), timings_s)
        return Solved(variant, problem.plan, problem.findings, data)

    return run_batch(Choice(path, settings, patterns, jobs), work)
