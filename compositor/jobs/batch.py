"""The batch runner: one job over the variants of a scene; one bad variant never sinks the others.

Faults in the text of the scene or of its table end the run before anything is written, and so does a base that cannot
be solved. A variant whose own pictures or geometry cannot be used is told with its reason, and the others go on.
"""

import threading
import uuid
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from pathlib import Path

from compositor.base.errors import CompositorError, LocatedFault, UnusableInput
from compositor.jobs.cache import Cache
from compositor.jobs.executors import Lost, Workers, Workforce, cluster, processes, threads, work_off
from compositor.jobs.housekeeping import kept_for_batches
from compositor.jobs.inputs import files_of
from compositor.jobs.memory import Gate, usable_bytes, usable_cores
from compositor.jobs.outcome import Failed, Outcome, Solved
from compositor.jobs.progress import Progress, Step
from compositor.jobs.shelf import Shelf
from compositor.jobs.solving import Problem, solve_variant
from compositor.pixels.strips import work_alone
from compositor.scene.batch import LoadedVariant, load_batch
from compositor.scene.loader import in_order
from compositor.scene.variants import BASE

Work = Callable[[str, Problem], Solved]
"""What is done with a solved variant; travels to other processes."""

_MEMORY_FRACTION = 0.5  # of the machine's, where nothing is said: others want some, too
_SHELF_FRACTION = 0.5  # of that for what is kept, the rest for what is worked on


@dataclass(frozen=True)
class Means:
    """How the work is done, which shapes nothing of what comes out.

    workers: threads of this process, or a process for each. scheduler: of a cluster, whose workers see the same files.
    memory_bytes: to keep to, None = half of the machine's. cache: folder of what is kept for later runs.
    """

    workers: Workers = "threads"
    scheduler: str | None = None
    memory_bytes: int | None = None
    cache: Path | None = None


@dataclass(frozen=True)
class Choice:
    """What of a scene file is worked on, and how.

    settings: KEY=VALUE pairs. patterns: of variants' names, none for all. jobs: variants worked on at once, None =
    as many as cores. progress: told after every variant, where there are several.
    """

    path: Path
    settings: Sequence[tuple[str, str]] = ()
    patterns: Sequence[str] = ()
    jobs: int | None = None
    progress: Progress | None = None
    means: Means = Means()


@kept_for_batches()
def run_batch(choice: Choice, work: Work) -> Outcome:
    """Solve every variant and do the work on it. Raises UnusableInput where the base, or every variant, has faults."""
    if choice.means.scheduler is not None:  # workers are at home elsewhere
        choice = replace(choice, path=choice.path.absolute())
    variants = load_batch(choice.path, choice.settings, choice.patterns)
    batch = _Batch(choice, variants, work)
    with batch.workforce() as workforce:
        first = variants[:1] if variants[0].name == BASE else []
        for part in (first, variants[len(first) :]):
            batch.run(part, workforce)
            _stop_if_all_failed(batch.results)
    if choice.means.cache is not None:
        Cache(choice.means.cache).trim()
    results = [batch.results[variant.name] for variant in variants]
    done = [result for result in results if isinstance(result, Solved)]
    return Outcome(done, tuple(result for result in results if isinstance(result, Failed)))


@dataclass(frozen=True)
class Limits:
    """What one process keeps to. run: names the run it works for."""

    run: str
    memory_bytes: int
    cache: Path | None

    def shelf(self, variants: Sequence[LoadedVariant] = ()) -> Shelf:
        """A shelf that lets go of what these variants use after the last of them."""
        kept_bytes = int(self.memory_bytes * _SHELF_FRACTION)
        needed = (files_of(variant.loaded.scene) for variant in variants)
        cache = None if self.cache is None else Cache(self.cache)
        return Shelf(needed, kept_bytes, cache, Gate(self.memory_bytes - kept_bytes))


def run_variant(variant: LoadedVariant, work: Work, shelf: Shelf, alone: bool) -> Solved | Failed:
    """One variant, whatever comes of it. alone: there are no others, so that an error of ours may end the run."""
    try:
        return work(variant.name, solve_variant(variant.loaded, shelf))
    except UnusableInput as error:
        return Failed(variant.name, error.faults)
    except (CompositorError, OSError, MemoryError) as error:
        return failed(variant, str(error) or "not enough memory")
    except Exception as error:
        if alone:
            raise
        name = type(error).__name__
        return failed(variant, f"went wrong inside ({name}: {error}); `--variant {variant.name}` alone shows where")
    finally:
        shelf.done(files_of(variant.loaded.scene))


def run_elsewhere(variant: LoadedVariant, work: Work, limits: Limits, alone: bool) -> Solved | Failed:
    """One variant in a process that may have worked on others of the same run. All arguments travel."""
    work_alone()
    with _first:
        shelf = _shelf(limits)
    return run_variant(variant, work, shelf, alone)


def failed(variant: LoadedVariant, reason: str) -> Failed:
    """A variant that could not be made for a reason that has no place in the scene."""
    return Failed(variant.name, (LocatedFault(str(variant.loaded.path), 1, 1, "", reason),))


_first = threading.Lock()
_shelf = lru_cache(maxsize=1)(Limits.shelf)


class _Batch:
    def __init__(self, choice: Choice, variants: Sequence[LoadedVariant], work: Work) -> None:
        self.choice, self.work, self.total = choice, work, len(variants)
        self.jobs = choice.jobs or usable_cores()
        memory_bytes = choice.means.memory_bytes or int(usable_bytes() * _MEMORY_FRACTION)
        self.limits = Limits(uuid.uuid4().hex, memory_bytes, choice.means.cache)
        self.shelf = self.limits.shelf(variants)
        self.results: dict[str, Solved | Failed] = {}

    @contextmanager
    def workforce(self) -> Iterator[Workforce]:
        """Raises UnusableInput where a cluster cannot be reached."""
        if self.choice.means.scheduler is not None:
            with cluster(self.choice.means.scheduler) as workforce:
                yield workforce
        elif self.choice.means.workers == "processes":
            yield processes(self.jobs)
        else:
            yield threads(self.jobs)

    def run(self, variants: Sequence[LoadedVariant], workforce: Workforce) -> None:
        """Run variants, several at once."""
        means, alone = self.choice.means, self.total == 1
        if means.scheduler is not None or means.workers == "processes":
            # Of a cluster's workers each is taken to be one of as many as its machine has cores.
            at_once = usable_cores() if means.scheduler is not None else min(self.jobs, self.total)
            limits = replace(self.limits, memory_bytes=self.limits.memory_bytes // at_once)
            tasks = [partial(run_elsewhere, variant, self.work, limits, alone) for variant in variants]
        else:
            tasks = [partial(run_variant, variant, self.work, self.shelf, alone) for variant in variants]
            if len(variants) <= 1 or self.jobs == 1:  # the strips of one variant are shared out
                for number, task in enumerate(tasks):
                    self.told(variants[number], task())
                return
        if variants:
            work_off(workforce, tasks, lambda number, result: self.told(variants[number], result))

    def told(self, variant: LoadedVariant, result: Solved | Failed | Lost) -> None:
        """One variant is done."""
        if isinstance(result, Lost):
            result = failed(variant, "the process that worked on it was killed, twice (not enough memory?)")
        self.results[variant.name] = result
        if self.choice.progress is not None and self.total > 1:
            count = sum(isinstance(each, Failed) for each in self.results.values())
            state = "failed" if isinstance(result, Failed) else "done"
            self.choice.progress(Step(len(self.results), self.total, count, variant.name, state))


def _stop_if_all_failed(results: dict[str, Solved | Failed]) -> None:
    failures = [result for result in results.values() if isinstance(result, Failed)]
    if results and len(failures) == len(results):
        raise UnusableInput(in_order([fault for result in failures for fault in result.faults]))
