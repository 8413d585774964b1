"""Housekeeping while a batch is worked on: Python's search for dead cycles, how threads take turns, and memory."""

import gc
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np

_NEW_VALUES = 10_000
"""By eye: after so many more are alive, the young ones are searched. The usual 700 are less than one variant makes, and
every so often all are looked through that there are, of all variants: a fifth of the time of a check of 1,000."""

_TURN_S = 0.0005
"""How long a thread that comes back from OpenCV waits at most for one that runs Python code. With the usual 5 ms, which
is longer than most of what it comes back from, two threads did a tenth less of the benchmark's small deliveries."""

_LARGEST_BYTES = 31 << 20
"""glibc gives memory of at least 128 KB back to the system each time, until it has seen a larger piece freed: pieces of
up to that size, 32 MB at most, then stay at hand. mallopt(3), M_MMAP_THRESHOLD and M_TRIM_THRESHOLD."""


def collect_seldom() -> None:
    """From now on, in a process that does nothing else."""
    before = gc.get_threshold()
    if 0 < before[0] < _NEW_VALUES:
        gc.set_threshold(_NEW_VALUES, *before[1:])


@contextmanager
def kept_for_batches() -> Iterator[None]:
    """For work whose values are frozen and hardly ever hold each other, and whose threads compute outside the
    interpreter most of the time. What was set in Python before comes back after it; memory stays kept."""
    threshold, turn_s = gc.get_threshold(), sys.getswitchinterval()
    _keep_memory()
    collect_seldom()
    sys.setswitchinterval(min(turn_s, _TURN_S))
    try:
        yield
    finally:
        gc.set_threshold(*threshold)
        sys.setswitchinterval(turn_s)


def _keep_memory() -> None:
    """Strips and pictures that come and go are put where others were, from the first one on: a sixth fewer page faults
    and 2 to 5 % less time of one large picture. Elsewhere than with glibc it does nothing."""
    np.empty(_LARGEST_BYTES, np.uint8)
