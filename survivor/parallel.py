"""Pieces of work that do not know of each other, shared out over the cores of the machine.

A copy of the running program (``fork``) takes pieces as they come, beside the program
itself, so nothing has to be packed up to be handed over but the answers, and of these not
what both have. Where a copy can't be made (no ``fork``, one core, a program that is itself
a worker, or one with threads of its own, of which one may hold a lock that the copy would
wait for) the pieces are done one after another. Answers and their order are the same either
way.
"""

from __future__ import annotations

import io
import multiprocessing
import os
import signal
import sys
import threading
import time
import warnings
from collections.abc import Callable, Iterable, Iterator, Sequence
from multiprocessing.connection import Connection
from multiprocessing.reduction import ForkingPickler
from pickle import PicklingError, Unpickler
from typing import Any, Final, TypeVar

from survivor.memory import give_back
from survivor.progress import tell, unheard

T = TypeVar("T")
R = TypeVar("R")

# A copy that says nothing for so long, once all else is done, is given up and its piece done here.
_PATIENCE: Final = 60.0
# Seconds between two looks of a copy whether its program is still there.
_WATCH: Final = 0.5


def side_by_side(work: Callable[[T], R], pieces: Sequence[T], known: Sequence[object] = ()) -> list[R]:
    """Do each piece of work, on two cores where there are two.

    Parameters
    ----------
    work
        A pure function; its answer can be pickled. What it raises is raised here.
    pieces
        What it is to be done for; of different lengths: the longest first.
    known
        Large objects that exist already; in an answer they are the same objects again, not copies.

    Returns
    -------
    list
        The answers, in the order of the pieces.
    """
    if len(pieces) < 2 or not _two_can():
        return _alone(work, pieces)
    context: Any = multiprocessing.get_context("fork")
    give_back()
    try:
        taken = context.Value("i", 0)
        here, there = context.Pipe(duplex=False)
        copy = context.Process(target=_help, args=(work, pieces, known, taken, here, there), daemon=True)
        with warnings.catch_warnings():
            # Threads of the numerical libraries are counted too; those libraries see to a fork themselves.
            warnings.filterwarnings("ignore", message=".*multi-threaded", category=DeprecationWarning)
            copy.start()
    except OSError:  # no shared memory, no room for one more process: some small machines are so
        return _alone(work, pieces)
    there.close()
    try:
        done = {number: work(pieces[number]) for number in _told(_next(taken, len(pieces)), len(pieces))}
        give_back()  # before the answers of the copy come to those of the program
        done |= _heard(here, known)
    finally:
        here.close()
        copy.kill()
        copy.join()
    # What the copy took and did not bring back, whatever became of it: an error shows here.
    return [done[number] if number in done else work(piece) for number, piece in enumerate(pieces)]


def _two_can() -> bool:
    """Whether a copy can be made, and would have a core of its own."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else 1
    return (
        sys.platform == "linux"
        and cores > 1
        and threading.current_thread() is threading.main_thread()
        and len(sys._current_frames()) == 1
        and not multiprocessing.current_process().daemon
    )


def _next(taken: Any, count: int) -> Any:
    """Go through the pieces that nobody has taken."""
    while True:
        with taken.get_lock():
            number = taken.value
            taken.value += 1
        if number >= count:
            return
        yield number


def _told(numbers: Iterable[int], count: int) -> Iterator[int]:
    for number in numbers:
        tell(f"{number + 1:,} of {count:,}")
        yield number


def _alone(work: Callable[[T], R], pieces: Sequence[T]) -> list[R]:
    return [work(pieces[number]) for number in _told(range(len(pieces)), len(pieces))]


def _help(
    work: Callable[[T], R],
    pieces: Sequence[T],
    known: Sequence[object],
    taken: Any,
    heard: Connection,
    answers: Connection,
) -> None:
    """Do pieces in the copy, and send them back in one; a piece that fails is left to the program."""
    heard.close()  # or a pipe that the copy itself could read would keep it alive after the program is killed
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the program, which then ends its copy
    _end_with(os.getppid())
    unheard()
    done: dict[int, R] = {}
    for number in _next(taken, len(pieces)):
        try:
            done[number] = work(pieces[number])
        except Exception:  # whatever it is, it is raised again where it can be seen
            break
    give_back()
    try:
        packed = _packed(done, known)
    except (AttributeError, TypeError, ValueError, PicklingError):
        packed = _packed({}, ())
    answers.send_bytes(packed)
    answers.close()


class _Packer(ForkingPickler):
    """Packs answers; what the program and its copy both have is named by its place."""

    def __init__(self, file: io.BytesIO, known: Sequence[object]) -> None:
        super().__init__(file)
        self._place = {id(one): place for place, one in enumerate(known)}

    def persistent_id(self, one: object) -> int | None:
        return self._place.get(id(one))


class _Unpacker(Unpickler):
    def __init__(self, file: io.BytesIO, known: Sequence[object]) -> None:
        super().__init__(file)
        self._known = known

    def persistent_load(self, place: int) -> object:
        return self._known[place]


def _packed(done: dict[int, R], known: Sequence[object]) -> memoryview:
    file = io.BytesIO()
    _Packer(file, known).dump(done)
    return file.getbuffer()


def _end_with(program: int) -> None:
    """End the copy when the program ends, however that comes about: nobody would hear its answers."""

    def watch() -> None:
        while os.getppid() == program:
            time.sleep(_WATCH)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def _heard(answers: Connection, known: Sequence[object]) -> dict[int, Any]:
    try:
        if not answers.poll(_PATIENCE):
            return {}
        return dict(_Unpacker(io.BytesIO(answers.recv_bytes()), known).load())
    except (EOFError, OSError):
        return {}
