"""What is changed of Python's own housekeeping comes back, whatever happens."""

import gc
import sys

import pytest

from compositor.jobs.executors import processes
from compositor.jobs.housekeeping import kept_for_batches


@pytest.mark.parametrize("set_before", [(700, 10, 10), (0, 5, 5), (50_000, 3, 3)])
def test_what_was_set_comes_back(set_before: tuple[int, int, int]) -> None:
    usual = gc.get_threshold()
    gc.set_threshold(*set_before)
    try:
        with pytest.raises(OSError, match="no disk"), kept_for_batches():
            assert gc.get_threshold()[0] == {700: 10_000}.get(set_before[0], set_before[0])  # 0: switched off
            raise OSError("no disk")
        assert gc.get_threshold() == set_before
    finally:
        gc.set_threshold(*usual)


@pytest.mark.parametrize(("set_before_s", "within_s"), [(0.005, 0.0005), (0.0001, 0.0001)])
def test_turns_are_short_meanwhile(set_before_s: float, within_s: float) -> None:
    usual_s = sys.getswitchinterval()
    sys.setswitchinterval(set_before_s)
    try:
        with pytest.raises(OSError, match="no disk"), kept_for_batches():
            assert sys.getswitchinterval() == pytest.approx(within_s, abs=3e-6)  # whole microseconds
            raise OSError("no disk")
        assert sys.getswitchinterval() == pytest.approx(set_before_s, abs=3e-6)
    finally:
        sys.setswitchinterval(usual_s)


def test_a_worker_that_is_a_process_collects_seldom() -> None:
    with processes(1).start(1) as worker:
        assert worker.submit(gc.get_threshold).result()[0] == 10_000
