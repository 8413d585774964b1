"""The batch runner: one job over the variants of a scene; one bad variant never sinks the others.

Faults in the text of the scene or of its table end the run before anything is written, and so does a base that cannot
be solved. A variant whose own pictures or geometry cannot be used is told with its reason, and the others go on.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from threading import Lock

from compositor.base.errors import CompositorError, LocatedFault, UnusableInput
from compositor.jobs.inputs import files_of
from compositor.jobs.outcome import Failed, Outcome, Solved
from compositor.jobs.shelf import Shelf
from compositor.jobs.solving import Problem, solve_variant
from compositor.pixels.strips import run_all
from compositor.scene.batch import LoadedVariant, load_batch
from compositor.scene.loader import in_order
from compositor.scene.variants import BASE

JOBS = 2
Work = Callable[[str, Problem], Solved]
Progress = Callable[[str], None]


@dataclass(frozen=True)
class Choice:
    """What of a scene file is worked on.

    settings: KEY=VALUE pairs. patterns: of variants' names, none for all. jobs: variants worked on at once.
    progress: told a line after every variant, where there are several.
    """

    path: Path
    settings: Sequence[tuple[str, str]] = ()
    patterns: Sequence[str] = ()
    jobs: int = JOBS
    progress: Progress | None = None


def run_batch(choice: Choice, work: Work) -> Outcome:
    """Solve every variant and do the work on it. Raises UnusableInput where the base, or every variant, has faults."""
    variants = load_batch(choice.path, choice.settings, choice.patterns)
    batch = _Batch(choice, variants, work)
    results: list[Solved | Failed] = []
    if variants[0].name == BASE:
        results.append(batch.run(variants[0]))
        _stop_if_all_failed(results)
    rest = variants[len(results) :]
    results += run_all([partial(batch.run, variant) for variant in rest], choice.jobs if len(rest) > 1 else 1)
    _stop_if_all_failed(results)
    done = [result for result in results if isinstance(result, Solved)]
    return Outcome(done, tuple(result for result in results if isinstance(result, Failed)))


class _Batch:
    def __init__(self, choice: Choice, variants: Sequence[LoadedVariant], work: Work) -> None:
        self.choice, self.work, self.total = choice, work, len(variants)
        self.shelf = Shelf(files_of(variant.loaded.scene) for variant in variants)
        self.lock, self.finished = Lock(), 0

    def run(self, variant: LoadedVariant) -> Solved | Failed:
        """One variant, whatever comes of it."""
        result: Solved | Failed
        try:
            result = self.work(variant.name, solve_variant(variant.loaded, self.shelf))
        except UnusableInput as error:
            result = Failed(variant.name, error.faults)
        except (CompositorError, OSError, MemoryError) as error:
            reason = str(error) or "not enough memory"
            result = Failed(variant.name, (LocatedFault(str(self.choice.path), 1, 1, "", reason),))
        finally:
            self.shelf.done(files_of(variant.loaded.scene))
        self.tell(result)
        return result

    def tell(self, result: Solved | Failed) -> None:
        with self.lock:
            self.finished += 1
            if self.choice.progress is not None and self.total > 1:
                state = "failed" if isinstance(result, Failed) else "done"
                self.choice.progress(f"{self.finished}/{self.total} {result.variant} {state}")


def _stop_if_all_failed(results: Sequence[Solved | Failed]) -> None:
    failed = [result for result in results if isinstance(result, Failed)]
    if len(failed) == len(results):
        raise UnusableInput(in_order([fault for result in failed for fault in result.faults]))
