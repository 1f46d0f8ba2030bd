"""Work shared out over two cores: the same answers in the same order, whatever becomes of the copy."""

from __future__ import annotations

import multiprocessing
import os
import selectors
import signal
import subprocess
import sys
import threading
import time

import pytest

from survivor import parallel
from survivor.parallel import side_by_side


def _own(number: int) -> int:
    time.sleep(0.02)
    return os.getpid()


@pytest.fixture
def two_cores(monkeypatch: pytest.MonkeyPatch) -> None:
    if os.name != "posix" or "fork" not in multiprocessing.get_all_start_methods():
        pytest.skip("this system makes no copies of a running program")
    monkeypatch.setattr(parallel, "_two_can", lambda: True)


@pytest.mark.usefixtures("two_cores")
@pytest.mark.parametrize("count", [0, 1, 2, 7, 40])
def test_answers_stand_in_the_order_of_the_pieces(count: int) -> None:
    pieces = list(range(count))
    assert side_by_side(lambda n: n * n, pieces) == [n * n for n in pieces]


@pytest.mark.usefixtures("two_cores")
def test_what_both_have_is_the_same_object_in_every_answer() -> None:
    rows, other = [list(range(1000)) for _ in range(2)]

    def told(number: int) -> tuple[int, list[int], list[int]]:
        time.sleep(0.02)
        return os.getpid(), rows, other

    found = side_by_side(told, range(8), known=[rows])
    assert {process for process, *_ in found} > {os.getpid()}
    assert all(own is rows for _, own, _ in found)
    assert all(own == other for *_, own in found)


@pytest.mark.usefixtures("two_cores")
def test_two_programs_do_the_work() -> None:
    found = set(side_by_side(_own, range(12)))
    assert os.getpid() in found
    assert len(found) == 2


@pytest.mark.usefixtures("two_cores")
def test_what_a_copy_loses_is_done_here() -> None:
    home = os.getpid()

    def dies_in_the_copy(number: int) -> int:
        if os.getpid() != home:
            os._exit(3)
        time.sleep(0.01)
        return number

    assert side_by_side(dies_in_the_copy, range(8)) == list(range(8))


@pytest.mark.usefixtures("two_cores")
def test_an_answer_that_cannot_be_sent_is_worked_out_here() -> None:
    found = side_by_side(lambda number: lambda: number, range(8))
    assert [each() for each in found] == list(range(8))


@pytest.mark.usefixtures("two_cores")
def test_a_copy_that_hangs_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parallel, "_PATIENCE", 0.2)
    home = os.getpid()

    def hangs_in_the_copy(number: int) -> int:
        time.sleep(0.02 if os.getpid() == home else 60)
        return number

    assert side_by_side(hangs_in_the_copy, range(8)) == list(range(8))


@pytest.mark.usefixtures("two_cores")
def test_an_error_is_raised_here_with_its_words() -> None:
    def fails(number: int) -> int:
        time.sleep(0.01)
        if number == 5:
            raise ValueError("the fifth")
        return number

    with pytest.raises(ValueError, match="the fifth"):
        side_by_side(fails, range(8))


def test_in_another_thread_it_is_one_after_another() -> None:
    found: list[set[int]] = []
    thread = threading.Thread(target=lambda: found.append(set(side_by_side(_own, range(4)))))
    thread.start()
    thread.join()
    assert found == [{os.getpid()}]


def test_beside_another_thread_it_is_one_after_another() -> None:
    # That thread may hold a lock at the fork, and nobody is left in the copy to give it back.
    over = threading.Event()
    thread = threading.Thread(target=over.wait)
    thread.start()
    try:
        assert set(side_by_side(_own, range(4))) == {os.getpid()}
    finally:
        over.set()
        thread.join()


@pytest.mark.usefixtures("two_cores")
def test_where_no_memory_can_be_shared_the_work_is_done_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise OSError(30, "Read-only file system", "/dev/shm")

    monkeypatch.setattr(multiprocessing.get_context("fork"), "Value", refuse)
    assert set(side_by_side(_own, range(4))) == {os.getpid()}


KILLED = """
import os, sys, time
from survivor import parallel
parallel._two_can = lambda: True
home = os.getpid()

def work(number):
    if os.getpid() != home:
        print(os.getpid(), flush=True)
    time.sleep(300)

parallel.side_by_side(work, range(2))
"""


@pytest.mark.usefixtures("two_cores")
def test_a_program_that_is_killed_leaves_no_copy() -> None:
    program = subprocess.Popen([sys.executable, "-c", KILLED], stdout=subprocess.PIPE, text=True)
    assert program.stdout is not None
    copy = int(program.stdout.readline())
    program.kill()
    program.wait()
    # The copy holds the other end of this pipe, as it would that of a reader of the command's output.
    selector = selectors.DefaultSelector()
    selector.register(program.stdout, selectors.EVENT_READ)
    closed = selector.select(timeout=20) and program.stdout.read() == ""
    if not closed:
        os.kill(copy, signal.SIGKILL)
    program.stdout.close()
    assert closed
