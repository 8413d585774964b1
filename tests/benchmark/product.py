"""The product itself, through its render job: deliveries and report, no overlays, no layered files."""

import time
from pathlib import Path

from compositor.jobs.batch import Choice
from compositor.jobs.render import LAYERS, OVERLAY, Rendering, render_variants


def run(work: str, folder: Path, out: Path, count: int, threads: int) -> dict[str, float]:
    """Render a scene of the benchmark, so many of its variants. Returns CPU seconds of compositing."""
    patterns = () if work == "w1" else [f"v{index:0{4 if work == 'small' else 3}}" for index in range(count)]
    spent = _watched()
    choice = Choice(folder / f"{work}.yaml", patterns=patterns, jobs=threads)
    outcome = render_variants(choice, Rendering(out, frozenset((OVERLAY, LAYERS))))
    if outcome.failed:
        raise SystemExit("\n".join(outcome.failures()))
    return {"compositing_s": spent[0]} if work == "w1" else {}


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
