"""What is changed of Python's own housekeeping comes back, whatever happens."""

import gc

import pytest

from compositor.jobs.collecting import seldom_collecting
from compositor.jobs.executors import processes


@pytest.mark.parametrize("set_before", [(700, 10, 10), (0, 5, 5), (50_000, 3, 3)])
def test_what_was_set_comes_back(set_before: tuple[int, int, int]) -> None:
    usual = gc.get_threshold()
    gc.set_threshold(*set_before)
    try:
        with pytest.raises(OSError, match="no disk"), seldom_collecting():
            assert gc.get_threshold()[0] == {700: 10_000}.get(set_before[0], set_before[0])  # 0: switched off
            raise OSError("no disk")
        assert gc.get_threshold() == set_before
    finally:
        gc.set_threshold(*usual)


def test_a_worker_that_is_a_process_collects_seldom() -> None:
    with processes(1).start(1) as worker:
        assert worker.submit(gc.get_threshold).result()[0] == 10_000
