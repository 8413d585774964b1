"""Python's search for values that only hold each other, called less often while a batch is worked on."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager

_NEW_VALUES = 10_000
"""By eye: after so many more are alive, the young ones are searched. The usual 700 are less than one variant makes, and
every so often all are looked through that there are, of all variants: a fifth of the time of a check of 1,000."""


def collect_seldom() -> None:
    """From now on, in a process that does nothing else."""
    before = gc.get_threshold()
    if 0 < before[0] < _NEW_VALUES:
        gc.set_threshold(_NEW_VALUES, *before[1:])


@contextmanager
def seldom_collecting() -> Iterator[None]:
    """For work whose values are frozen and hardly ever hold each other. What was set before comes back after it."""
    before = gc.get_threshold()
    collect_seldom()
    try:
        yield
    finally:
        gc.set_threshold(*before)
