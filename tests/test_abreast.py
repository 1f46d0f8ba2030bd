"""Work shared out over two cores: the same answers in the same order, whatever becomes of the copy."""

from __future__ import annotations

import multiprocessing
import os
import threading
import time

import pytest

from survivor import abreast
from survivor.abreast import side_by_side


def _own(number: int) -> int:
    time.sleep(0.02)
    return os.getpid()


@pytest.fixture
def two_cores(monkeypatch: pytest.MonkeyPatch) -> None:
    if os.name != "posix" or "fork" not in multiprocessing.get_all_start_methods():
        pytest.skip("this system makes no copies of a running program")
    monkeypatch.setattr(abreast, "_two_can", lambda: True)


@pytest.mark.usefixtures("two_cores")
@pytest.mark.parametrize("count", [0, 1, 2, 7, 40])
def test_answers_stand_in_the_order_of_the_pieces(count: int) -> None:
    pieces = list(range(count))
    assert side_by_side(lambda n: n * n, pieces) == [n * n for n in pieces]


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
    monkeypatch.setattr(abreast, "_PATIENCE", 0.2)
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


def test_beside_other_threads_and_in_workers_it_is_one_after_another() -> None:
    found: list[set[int]] = []
    thread = threading.Thread(target=lambda: found.append(set(side_by_side(_own, range(4)))))
    thread.start()
    thread.join()
    assert found == [{os.getpid()}]
