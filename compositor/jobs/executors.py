"""Work through any `concurrent.futures.Executor`: threads, processes, or a cluster's workers.

A task whose worker was killed takes nobody along: what was in hand with it is tried again at the end, each task alone,
and the one that loses its worker a second time is told as lost.
"""

import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    Executor,
    Future,
    ProcessPoolExecutor,
    ThreadPoolExecutor,
    wait,
)
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import import_module
from multiprocessing.connection import wait as wait_for
from typing import Any, Generic, Literal, TypeVar

from compositor.base.errors import LocatedFault, UnusableInput
from compositor.jobs.housekeeping import collect_seldom
from compositor.pixels.strips import work_alone

Workers = Literal["threads", "processes"]
SCHEDULER_OPTION = "--scheduler"

Result = TypeVar("Result")


@dataclass(frozen=True)
class Workforce:
    """Where tasks are worked on. start: an executor for so many at once. at_once: tasks in hand; None = no limit of
    ours. lost: what a task raises whose worker was killed."""

    start: Callable[[int], Executor]
    at_once: int | None
    lost: tuple[type[Exception], ...] = (BrokenExecutor,)


class Lost:
    """Instead of the result of a task that lost its worker twice."""


def threads(jobs: int) -> Workforce:
    """Threads of this process."""
    return Workforce(lambda count: ThreadPoolExecutor(count, initializer=work_alone), jobs)


def processes(jobs: int) -> Workforce:
    """Processes of their own, never forked from this one, whose threads may hold locks: where the platform can, from a
    server that has done nothing but load the code."""
    server = "forkserver" in multiprocessing.get_all_start_methods()
    context = multiprocessing.get_context("forkserver" if server else "spawn")
    if server:
        context.set_forkserver_preload(["compositor.jobs.render"])
    return Workforce(lambda count: ProcessPoolExecutor(count, context, initializer=_enter_process), jobs)


@contextmanager
def cluster(address: str) -> Iterator[Workforce]:
    """The workers of a dask.distributed scheduler. Raises UnusableInput where there is none."""
    try:
        distributed: Any = import_module("distributed")  # an extra without types
    except ImportError as error:
        what = "a cluster needs the library distributed: pip install 'compositor[cluster]'"
        raise _no_cluster(what, address) from error
    try:
        client = distributed.Client(address, timeout="10s", set_as_default=False)
    except (OSError, ValueError) as error:
        raise _no_cluster(f"no scheduler answers there: {type(error).__name__}", address) from error
    lost = (BrokenExecutor, distributed.KilledWorker)
    with client:
        yield Workforce(lambda count: client.get_executor(retries=0, pure=False), None, lost)


def _no_cluster(what: str, address: str) -> UnusableInput:
    return UnusableInput([LocatedFault(SCHEDULER_OPTION, 1, 1, "", what, address)])


def work_off(
    workforce: Workforce, tasks: Sequence[Callable[[], Result]], told: Callable[[int, Result | Lost], None]
) -> None:
    """Run tasks; `told` gets the number and result of each as it is done, here and one at a time.

    What a task raises is raised, after those in hand are done; so it is with an interruption.
    """
    crew = _Crew(workforce, tasks, told)
    with crew.hired():
        crew.work()
    for number in crew.suspects:
        told(number, _tried_again(workforce, tasks[number]))


def _tried_again(workforce: Workforce, task: Callable[[], Result]) -> Result | Lost:
    with workforce.start(1) as executor:
        try:
            return executor.submit(task).result()
        except workforce.lost:
            return Lost()


class _Crew(Generic[Result]):
    def __init__(
        self,
        workforce: Workforce,
        tasks: Sequence[Callable[[], Result]],
        told: Callable[[int, Result | Lost], None],
    ) -> None:
        self.workforce, self.tasks, self.told = workforce, tasks, told
        self.waiting = deque(range(len(tasks)))
        self.in_hand: dict[Future[Result], int] = {}
        self.suspects: list[int] = []
        at_once = len(tasks) if workforce.at_once is None else workforce.at_once
        self.at_once = max(1, min(at_once, len(tasks)))
        self.executor = workforce.start(self.at_once)

    @contextmanager
    def hired(self) -> Iterator[None]:
        """Until all is done, or something is raised: then what is in hand is finished and the rest is left."""
        try:
            yield
        except BaseException:
            for future in self.in_hand:
                future.cancel()
            raise
        finally:
            self.executor.shutdown(wait=True)

    def work(self) -> None:
        while self.waiting or self.in_hand:
            while self.waiting and len(self.in_hand) < self.at_once and self._handed_out():
                pass
            done, _ = wait(self.in_hand, return_when=FIRST_COMPLETED)
            if any(isinstance(future.exception(), BrokenExecutor) for future in done):
                done, _ = wait(self.in_hand)  # all of them end with it
                self.executor.shutdown(wait=False)
                self.executor = self.workforce.start(self.at_once)
            for future in done:
                self._take(self.in_hand.pop(future), future)

    def _handed_out(self) -> bool:
        """The next task; not where the executor broke since the last look, of which those in hand will tell."""
        try:
            future = self.executor.submit(self.tasks[self.waiting[0]])
        except BrokenExecutor:
            if self.in_hand:
                return False
            self.executor = self.workforce.start(self.at_once)
            return True
        self.in_hand[future] = self.waiting.popleft()
        return True

    def _take(self, number: int, future: Future[Result]) -> None:
        try:
            result = future.result()
        except self.workforce.lost:
            self.suspects.append(number)
        else:
            self.told(number, result)


def _enter_process() -> None:
    """In a worker: interruptions are the parent's business, and without it there is nothing left to do."""
    collect_seldom()
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_leave_with_parent, daemon=True).start()


def _leave_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait_for([parent.sentinel])
        os._exit(1)
