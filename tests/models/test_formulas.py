"""Formulas read in many threads at once, and in a copy of a process that reads some."""

import gc
import os
import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from survivor.models.design import build_design
from survivor.models.formulas import ONE_AT_A_TIME
from tests.models.cohorts import counts


def test_threads_read_formulas_one_at_a_time():
    """Python before 3.11.8 fails where two threads make syntax trees at once (CPython's issue gh-106905).

    The collector stops at every call here and lets another thread go on: without the lock one of these
    readings ends with a SystemError about half of the times that this test runs.
    """
    frame = counts(planted=6, sites=3)

    def columns(_: int) -> int:
        return build_design(frame, "method", "site", "plot").columns.shape[1]

    def give_way(*_: object) -> None:
        time.sleep(1e-4)

    usual = gc.get_threshold()
    gc.callbacks.append(give_way)
    gc.set_threshold(30, 50, 50)
    try:
        with ThreadPoolExecutor(6) as threads:
            assert set(threads.map(columns, range(120))) == {2}
    finally:
        gc.set_threshold(*usual)
        gc.callbacks.remove(give_way)


@pytest.mark.filterwarnings("ignore:.*multi-threaded:DeprecationWarning")
def test_a_copy_of_a_process_finds_the_lock_free():
    """It is copied only while no other thread holds the lock, and can take it at once."""
    with ThreadPoolExecutor(1) as other:
        held = other.submit(_hold, 0.2)
        while not held.running():
            time.sleep(0.001)
        child = os.fork()
        if child == 0:
            os._exit(0 if ONE_AT_A_TIME.acquire(blocking=False) else 1)
        assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0


def _hold(seconds: float) -> None:
    with ONE_AT_A_TIME:
        time.sleep(seconds)
