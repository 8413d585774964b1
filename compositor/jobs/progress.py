"""Progress, told on standard error: a bar on a terminal, else a line now and then that a log can keep."""

import os
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from time import monotonic
from typing import TextIO

_LINES = 20  # about so many of a whole run
_SILENT_S = 10.0  # after so long there is a line in any case
_NARROWEST, _BAR = 40, 24


@dataclass(frozen=True)
class Step:
    """A variant was finished: how many of all are, how many of them failed; which one it was, done or failed."""

    finished: int
    total: int
    failed: int
    variant: str
    state: str


Progress = Callable[[Step], None]


def progress_on(stream: TextIO) -> Progress:
    """What tells progress there. A build server (CI is set) gets lines, whatever it pretends to be."""
    bar = stream.isatty() and not os.environ.get("CI") and os.environ.get("TERM", "") != "dumb"
    return _Bar(stream) if bar else _Lines(stream)


class _Lines:
    def __init__(self, stream: TextIO) -> None:
        self.stream, self.start = stream, monotonic()
        self.told, self.told_at = 0, self.start

    def __call__(self, step: Step) -> None:
        """A line where a share of the run is done, where something failed, where it was long silent."""
        share = step.total // _LINES
        now = monotonic()
        last, due = step.finished == step.total, step.finished - self.told >= share
        if not (due or last or step.state == "failed" or now - self.told_at >= _SILENT_S):
            return
        self.told, self.told_at = step.finished, now
        left = "" if last else _left(step, now - self.start)
        print(f"{step.finished}/{step.total}{left} {step.variant} {step.state}", file=self.stream, flush=True)


class _Bar:
    def __init__(self, stream: TextIO) -> None:
        self.stream, self.start = stream, monotonic()

    def __call__(self, step: Step) -> None:
        """The same line again; failures stay above it."""
        columns = max(shutil.get_terminal_size().columns - 1, _NARROWEST)
        if step.state == "failed":
            self._write(f"{step.variant} failed", columns, "\n")
        full = round(_BAR * step.finished / step.total)
        last = step.finished == step.total
        left = "" if last else _left(step, monotonic() - self.start)
        failures = f", {step.failed} failed" if step.failed else ""
        bar = "#" * full + "." * (_BAR - full)
        self._write(f"[{bar}] {step.finished}/{step.total}{failures}{left}", columns, "\n" if last else "")

    def _write(self, text: str, columns: int, end: str) -> None:
        self.stream.write("\r" + text[:columns].ljust(columns) + end)
        self.stream.flush()


def _left(step: Step, spent_s: float) -> str:
    """How long the rest will take at this rate."""
    seconds = round(spent_s / step.finished * (step.total - step.finished))
    return f" ({seconds // 60}:{seconds % 60:02d} left)"
