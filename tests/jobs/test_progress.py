"""Progress: a bar on a terminal, lines that a log can keep elsewhere; and memory that is kept to."""

import io
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from compositor.jobs import progress as progress_room
from compositor.jobs.memory import Gate, bytes_of, usable_bytes, usable_cores
from compositor.jobs.progress import Step, progress_on


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


class Clock:
    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    monkeypatch.delenv("CI", raising=False)
    monkeypatch.setenv("TERM", "xterm")
    ticking = Clock()
    monkeypatch.setattr(progress_room, "monotonic", ticking)
    return ticking


def run(stream: io.StringIO, clock: Clock, total: int, seconds: float, bad: set[int] = frozenset()) -> str:  # type: ignore[assignment]
    told = progress_on(stream)
    failed = 0
    for number in range(1, total + 1):
        clock.now += seconds
        failed += number in bad
        told(Step(number, total, failed, f"v{number}", "failed" if number in bad else "done"))
    return stream.getvalue()


def test_few_variants_get_a_line_each(clock: Clock) -> None:
    lines = run(io.StringIO(), clock, 4, 1.0).splitlines()
    assert lines == ["1/4 (0:03 left) v1 done", "2/4 (0:02 left) v2 done", "3/4 (0:01 left) v3 done", "4/4 v4 done"]


def test_of_many_a_log_keeps_some_lines_and_every_failure(clock: Clock) -> None:
    text = run(io.StringIO(), clock, 1000, 0.01, {333, 334})
    lines = text.splitlines()
    assert len(lines) in range(20, 24) and text.endswith("1000/1000 v1000 done\n")
    assert "\r" not in text and "\x1b" not in text
    assert sum(line.endswith("failed") for line in lines) == 2


def test_slow_runs_are_never_silent_for_long(clock: Clock) -> None:
    assert len(run(io.StringIO(), clock, 1000, 6.0).splitlines()) >= 490


def test_a_bar_on_a_terminal(clock: Clock, monkeypatch: pytest.MonkeyPatch) -> None:
    text = run(Terminal(), clock, 10, 1.0, {3})
    assert text.count("\n") == 2 and "v3 failed" in text and text.count("\r") == 11
    assert "[############............] 5/10, 1 failed (0:05 left)" in text
    assert text.rstrip().endswith("[########################] 10/10, 1 failed")
    assert "\x1b" not in text  # no colour, whatever NO_COLOR says
    monkeypatch.setenv("CI", "true")
    assert "\r" not in run(Terminal(), clock, 10, 1.0)


@pytest.mark.parametrize(("text", "size"), [("800M", 800 << 20), ("1.5G", 3 << 29), ("2 GiB", 2 << 30), ("4096", 4096)])
def test_sizes(text: str, size: int) -> None:
    assert bytes_of(text) == size


@pytest.mark.parametrize("text", ["", "0", "-1G", "much", "1X", "G"])
def test_sizes_that_are_none(text: str) -> None:
    with pytest.raises(ValueError, match="such as 800M"):
        bytes_of(text)


def test_the_machine_tells_what_there_is(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    whole = usable_bytes()
    assert whole > 1 << 20 and usable_cores() >= 1
    limit = tmp_path / "memory.max"
    monkeypatch.setattr("compositor.jobs.memory._CGROUP_LIMITS", (tmp_path / "nowhere", limit))
    limit.write_text("max\n")
    assert usable_bytes() >= whole
    limit.write_text(f"{300 << 20}\n")  # cgroup v2, Linux kernel documentation: memory.max
    assert usable_bytes() == 300 << 20


def test_a_gate_lets_in_what_fits_and_anything_alone() -> None:
    gate, lock = Gate(100), threading.Lock()
    inside: list[int] = []
    most: list[int] = []

    def work(size: int) -> None:
        with gate.working(size):
            with lock:
                inside.append(size)
                most.append(sum(inside))
            time.sleep(0.002)
            with lock:
                inside.remove(size)

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(work, [40, 30, 70, 20, 500, 60, 10, 90, 40, 40] * 3))
    assert len(most) == 30 and max(total for total in most if total < 500) <= 100 and 500 in most
    assert max(most) == 500  # alone
