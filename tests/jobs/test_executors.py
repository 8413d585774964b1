"""Work through any executor: the same bytes, and a killed worker takes nobody along."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future, ThreadPoolExecutor
from dataclasses import replace
from functools import partial
from importlib import import_module
from pathlib import Path
from random import Random
from typing import Any

import pytest

from compositor.base.errors import UnusableInput
from compositor.jobs.batch import Choice, Means, run_batch
from compositor.jobs.executors import Lost, Workforce, processes, threads, work_off
from compositor.jobs.outcome import Solved
from compositor.jobs.render import LAYERS, Rendering, render_variant, render_variants
from compositor.jobs.solving import Problem

Write = Callable[[dict[str, Any]], Path]
Words = dict[str, Any]
NO_LAYERS = frozenset((LAYERS,))


def bytes_of(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


@pytest.fixture
def several(words: Words) -> Words:
    words["variants"] = [{"name": f"v{i}", "set": {"elements.post.ground.distance": 5 + i}} for i in range(5)]
    words["deliveries"] = [{"name": "small", "size": [120, 80]}]
    return words


@pytest.fixture
def local_cluster() -> Iterator[str]:
    """The address of a scheduler with two workers of their own."""
    distributed = pytest.importorskip("distributed", reason="the extra `cluster` is not installed")
    place = {"host": "127.0.0.1", "dashboard_address": "127.0.0.1:0", "memory_limit": "2GiB"}
    once = import_module("dask").config.set({"distributed.scheduler.allowed-failures": 0})
    with once, distributed.LocalCluster(n_workers=2, threads_per_worker=1, **place) as cluster:
        yield cluster.scheduler_address


class Backwards(Executor):
    """Runs nothing until the last task is there, then all of them in another order."""

    def __init__(self, total: int) -> None:
        self.total, self.tasks = total, []

    def submit(self, task: Any, /, *arguments: Any, **named: Any) -> Future[Any]:
        future: Future[Any] = Future()
        self.tasks.append((future, task))
        if len(self.tasks) == self.total:
            for each, work in Random(5).sample(self.tasks, self.total):
                each.set_result(work())
        return future


def test_the_same_bytes_wherever_and_in_any_order(several: Words, write: Write, tmp_path: Path) -> None:
    path = write(several)
    choice = Choice(path, jobs=1)
    render_variants(choice, Rendering(tmp_path / "serial", NO_LAYERS))
    serial = bytes_of(tmp_path / "serial")
    assert len([name for name in serial if name.endswith("small.png")]) == 6
    ways = {"two": replace(choice, jobs=2), "five": replace(choice, jobs=5)}
    ways["processes"] = replace(choice, jobs=2, means=Means(workers="processes"))
    ways["little memory"] = replace(choice, jobs=3, means=Means(memory_bytes=1))
    ways["cached"] = ways["cached again"] = replace(choice, jobs=2, means=Means(cache=tmp_path / "cache"))
    for name, way in ways.items():
        outcome = render_variants(way, Rendering(tmp_path / name, NO_LAYERS))
        assert [solved.variant for solved in outcome.variants] == ["base", "v0", "v1", "v2", "v3", "v4"]
        assert bytes_of(tmp_path / name) == serial, name


def deadly(rendering: Rendering, victim: str, variant: str, problem: Problem) -> Solved:
    """Rendering that loses its process on one variant."""
    if variant == victim:
        os.kill(os.getpid(), signal.SIGKILL)
    return render_variant(rendering, variant, problem)


def slipping(rendering: Rendering, victim: str, variant: str, problem: Problem) -> Solved:
    """Rendering with a mistake of ours on one variant."""
    if variant == victim:
        raise ZeroDivisionError("a slip")
    return render_variant(rendering, variant, problem)


def deadly_once(mark: Path, number: int) -> int:
    if number == 2 and not mark.exists():
        mark.write_text("")
        os.kill(os.getpid(), signal.SIGKILL)
    time.sleep(0.05)
    return number


def check_one_lost(choice: Choice, out: Path) -> None:
    outcome = run_batch(choice, partial(deadly, Rendering(out, NO_LAYERS), "v2"))
    assert [solved.variant for solved in outcome.variants] == ["base", "v0", "v1", "v3", "v4"]
    (failure,) = outcome.failures()
    assert failure.startswith("variant v2 failed: ") and "was killed, twice" in failure
    assert outcome.exit_status("error") == 3
    assert {path.name for path in (out / "scene").iterdir()} == {"base", "v0", "v1", "v3", "v4"}


def test_a_killed_process_costs_its_variant_only(several: Words, write: Write, tmp_path: Path) -> None:
    check_one_lost(Choice(write(several), jobs=2, means=Means(workers="processes")), tmp_path / "out")


def test_a_cluster_gives_the_same_bytes_and_loses_only_what_kills(
    several: Words, write: Write, tmp_path: Path, local_cluster: str
) -> None:
    path = write(several)
    render_variants(Choice(path, jobs=1), Rendering(tmp_path / "serial", NO_LAYERS))
    choice = Choice(path, means=Means(scheduler=local_cluster))
    outcome = render_variants(choice, Rendering(tmp_path / "cluster", NO_LAYERS))
    assert [solved.variant for solved in outcome.variants] == ["base", "v0", "v1", "v2", "v3", "v4"]
    assert bytes_of(tmp_path / "cluster") == bytes_of(tmp_path / "serial")
    check_one_lost(choice, tmp_path / "out")


def test_a_mistake_of_ours_costs_its_variant_only(several: Words, write: Write, tmp_path: Path) -> None:
    path, work = write(several), partial(slipping, Rendering(tmp_path / "out", NO_LAYERS), "v2")
    outcome = run_batch(Choice(path), work)
    assert len(outcome.variants) == 5 and outcome.exit_status("error") == 3
    (failure,) = outcome.failures()
    assert "went wrong inside (ZeroDivisionError: a slip); `--variant v2` alone shows where" in failure
    with pytest.raises(ZeroDivisionError):
        run_batch(Choice(path, patterns=["v2"]), work)


def test_what_was_lost_by_accident_is_made_at_the_second_try(tmp_path: Path) -> None:
    results: dict[int, int | Lost] = {}
    tasks = [partial(deadly_once, tmp_path / "mark", number) for number in range(6)]
    work_off(processes(2), tasks, results.__setitem__)
    assert results == {number: number for number in range(6)}


def test_any_executor_will_do_and_results_come_in_any_order() -> None:
    told: list[tuple[int, int | Lost]] = []
    work_off(
        Workforce(lambda count: Backwards(4), None),
        [partial(int, number) for number in range(4)],
        lambda *result: told.append(result),
    )
    assert sorted(told) == [(0, 0), (1, 1), (2, 2), (3, 3)]


class Brittle(ThreadPoolExecutor):
    """Takes two tasks and breaks; the second ends with it."""

    def __init__(self) -> None:
        super().__init__(1)
        self.taken = 0

    def submit(self, task: Any, /, *arguments: Any, **named: Any) -> Future[Any]:
        self.taken += 1
        if self.taken > 2:
            raise BrokenExecutor("broke")
        if self.taken == 1:
            return super().submit(task)
        return super().submit(broken)


def broken() -> None:
    time.sleep(0.02)
    raise BrokenExecutor("broke")


def test_an_executor_that_breaks_while_tasks_are_handed_out() -> None:
    told: dict[int, int | Lost] = {}
    work_off(Workforce(lambda count: Brittle(), 3), [partial(int, number) for number in range(7)], told.__setitem__)
    assert told == {number: number for number in range(7)}


def test_an_error_stops_the_rest_but_not_what_is_in_hand() -> None:
    done: list[int] = []

    def task(number: int) -> int:
        if number == 0:
            raise RuntimeError("a slip")
        time.sleep(0.1)
        done.append(number)
        return number

    with pytest.raises(RuntimeError, match="a slip"):
        work_off(threads(2), [partial(task, number) for number in range(50)], lambda *result: None)
    assert len(done) <= 3


def test_no_scheduler_and_no_library(several: Words, write: Write, monkeypatch: pytest.MonkeyPatch) -> None:
    choice = Choice(write(several), means=Means(scheduler="127.0.0.1:no"))
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(UnusableInput, match=r"--scheduler:1:1: a cluster needs the library distributed"):
        render_variants(choice, Rendering(Path("nowhere")))


def test_workers_leave_with_their_parent(several: Words, write: Write, tmp_path: Path) -> None:
    """kill -9 of the whole: no worker stays behind."""
    code = (
        "import os, time\nfrom functools import partial\nfrom compositor.jobs.executors import processes\n"
        "if __name__ == '__main__':\n"
        "    pool = processes(2).start(2)\n"
        "    futures = [pool.submit(os.getpid) for _ in range(2)]\n"
        "    print(*[future.result() for future in futures], flush=True)\n    time.sleep(60)\n"
    )
    script = tmp_path / "parent.py"
    script.write_text(code)
    parent = subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, text=True)
    assert parent.stdout is not None
    workers = [int(number) for number in parent.stdout.readline().split()]
    parent.kill()
    parent.wait()
    parent.stdout.close()
    deadline = time.monotonic() + 20
    while any(Path(f"/proc/{number}/cmdline").exists() for number in workers) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert workers and not any(Path(f"/proc/{number}/cmdline").exists() for number in workers)
