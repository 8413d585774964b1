"""How much memory there is, and work kept within it."""

import os
import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_CGROUP_LIMITS = (Path("/sys/fs/cgroup/memory.max"), Path("/sys/fs/cgroup/memory/memory.limit_in_bytes"))
_UNKNOWN_BYTES = 4 << 30  # by eye: of a machine that does not say
_UNITS = {"": 1, "k": 1 << 10, "m": 1 << 20, "g": 1 << 30, "t": 1 << 40}


class Gate:
    """Lets work in as long as all that is inside fits into most_bytes; None = everything."""

    def __init__(self, most_bytes: int | None) -> None:
        self.most_bytes = most_bytes
        self._inside, self._changed = 0, threading.Condition()

    @contextmanager
    def working(self, wanted_bytes: int) -> Iterator[None]:
        """Waits until there is room; what fits nowhere is let in alone."""
        with self._changed:
            self._changed.wait_for(lambda: self._fits(wanted_bytes))
            self._inside += wanted_bytes
        try:
            yield
        finally:
            with self._changed:
                self._inside -= wanted_bytes
                self._changed.notify_all()

    def _fits(self, wanted_bytes: int) -> bool:
        return self.most_bytes is None or not self._inside or self._inside + wanted_bytes <= self.most_bytes


def usable_bytes() -> int:
    """Memory of the machine, or of the control group that this process is held to."""
    found = [limit for limit in map(_limit, _CGROUP_LIMITS) if limit is not None]
    try:
        found.append(os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE"))
    except (AttributeError, ValueError, OSError):
        found.append(_UNKNOWN_BYTES)
    return min(found)


def usable_cores() -> int:
    """Processors that this process may use."""
    allowed = getattr(os, "sched_getaffinity", None)
    return len(allowed(0)) if allowed is not None else os.cpu_count() or 1


def bytes_of(text: str) -> int:
    """Bytes of a size such as 800M or 1.5G (powers of 1024). Raises ValueError."""
    match = re.fullmatch(r"(\d+(?:\.\d+)?) ?([kmgt]?)(?:i?b)?", text.strip().lower())
    if match is None or float(match[1]) <= 0:
        raise ValueError(f"must be a size such as 800M or 2G ({text})")
    return int(float(match[1]) * _UNITS[match[2]])


def _limit(path: Path) -> int | None:
    try:
        return int(path.read_text())
    except (OSError, ValueError):  # "max": no limit
        return None
