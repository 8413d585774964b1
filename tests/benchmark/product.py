"""The product itself, through its render job: deliveries and report, no overlays, no layered files."""

import shutil
import time
from pathlib import Path

from compositor.jobs.batch import Choice, Means, run_batch
from compositor.jobs.outcome import Solved
from compositor.jobs.render import LAYERS, OVERLAY, Rendering, render_variants
from compositor.jobs.solving import Problem


def run(work: str, folder: Path, out: Path, count: int, threads: int) -> dict[str, float]:
    """Render a scene of the benchmark, so many of its variants. Returns CPU seconds of compositing.

    threads: jobs at once.
    """
    spent = _watched()
    outcome = render_variants(_choice(work, folder, count, threads), Rendering(out, frozenset((OVERLAY, LAYERS))))
    if outcome.failed:
        raise SystemExit("\n".join(outcome.failures()))
    return {"compositing_s": spent[0]} if work == "w1" else {}


def warm(folder: Path, count: int) -> None:
    """A new cache of cut-outs, and of nothing else, for `w2-cached`."""
    shutil.rmtree(folder / "cache", ignore_errors=True)
    run_batch(_choice("w2-cached", folder, count, 2), solved)


def solved(variant: str, problem: Problem) -> Solved:
    """No work."""
    return Solved(variant, problem.plan, problem.findings, {})


def _choice(work: str, folder: Path, count: int, threads: int) -> Choice:
    scene = {"w2-cached": "w2"}.get(work, work)
    patterns = () if work == "w1" else [f"v{index:0{4 if work == 'small' else 3}}" for index in range(count)]
    means = Means(cache=folder / "cache" if work == "w2-cached" else None)
    return Choice(folder / f"{scene}.yaml", patterns=patterns, jobs=threads, means=means)


def _watched() -> list[float]:
    """CPU seconds of this process inside compositing: layers with their warps and shadows, and their meeting."""
    from compositor.jobs import delivering

    spent, inner = [0.0], delivering.composed

    def composed(*given):
        start = time.process_time()
        try:
            return inner(*given)
        finally:
            spent[0] += time.process_time() - start

    delivering.composed = composed
    return spent
