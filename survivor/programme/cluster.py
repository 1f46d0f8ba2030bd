"""Where studies are done: processes of this machine, or the machines of a scheduler that is there already.

A task is a study, or one part of a study whose records are a register.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import CancelledError
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, Final

from survivor.errors import NoProcessesError, ProgrammeError
from survivor.programme import english as en
from survivor.programme.in_parts import Opened, Work, begin, finish, read_one
from survivor.programme.record import Question, StudyRecord

if TYPE_CHECKING:
    from distributed import Client, Future

_TRIES: Final = 4  # times that studies whose tasks were lost are handed out again
_PATIENCE: Final = "60s"  # for a scheduler that is started again


@dataclass(frozen=True)
class Cluster:
    """A cluster of so many processes of this machine, or the one behind a scheduler's address."""

    workers: int = 2
    scheduler: str | None = None


@dataclass(frozen=True)
class Asked:
    """What every study is done by and asked: the work, the programme's folder, the question.

    ``room`` is a folder for the parts of registers, seen by all tasks.
    """

    work: Work
    top: str
    question: Question
    room: str


class Handing:
    """Hands out studies, and takes their records as they come."""

    def __init__(self, client: Client, again: Callable[[], Client]) -> None:
        self._client, self._again = client, again

    @property
    def at_once(self) -> int:
        """How many studies are done at a time."""
        return max(1, len(self._client.scheduler_info(n_workers=-1)["workers"]))

    def each(self, asked: Asked, folders: Sequence[str], take: Callable[[StudyRecord], None]) -> None:
        """Do every study; one whose task is lost is handed out again, and at last listed.

        Parameters
        ----------
        asked
            What does one study, and what it is given; what it raises is listed with the study.
        folders
            Of the studies, the first to be done first.
        take
            Is given every record, in the order in which they are done.
        """
        left = list(folders)
        for _ in range(_TRIES):
            left = self._round(asked, left, take)
            if not left:
                return
            self._client.close(timeout=1)
            self._client = self._again()
        for folder in left:
            take(StudyRecord(folder, {}, asked.question).without(en.LOST))

    def _round(self, asked: Asked, folders: Sequence[str], take: Callable[[StudyRecord], None]) -> list[str]:
        """Hand out studies once; returns those whose task was lost with the scheduler."""
        from distributed import as_completed
        from distributed.scheduler import KilledWorker

        waiting = list(folders)
        try:
            running = {self._begun(asked, folder, -place): folder for place, folder in enumerate(folders)}
            done = as_completed(running)
            for future in done:
                folder = running.pop(future)
                try:
                    record = future.result()
                except KilledWorker:
                    record = StudyRecord(folder, {}, asked.question).without(en.LOST)
                except (CancelledError, asyncio.CancelledError):
                    continue
                except (OSError, TimeoutError):
                    raise
                except Exception as fault:  # such as a machine of the cluster that has no survivor
                    record = StudyRecord(folder, {}, asked.question)
                    record = record.without(en.OUR_FAULT, f"{type(fault).__name__}: {fault}")
                future.release()
                if isinstance(record, Opened):
                    whole = self._in_parts(asked, folder, record, -folders.index(folder))
                    running[whole] = folder
                    done.add(whole)
                    continue
                take(record)
                waiting.remove(folder)
        except (OSError, TimeoutError, RuntimeError, asyncio.CancelledError):
            pass  # the scheduler is gone: what it had not given back is handed out again
        return waiting

    def _begun(self, asked: Asked, folder: str, priority: int) -> Future[Any]:
        given = (asked.work, asked.top, folder, asked.question, asked.room)
        return self._client.submit(begin, *given, pure=False, priority=priority)

    def _in_parts(self, asked: Asked, folder: str, opened: Opened, priority: int) -> Future[Any]:
        """Hand out the parts of a register, and what puts them together."""
        hand = partial(self._client.submit, pure=False, priority=priority)
        parts = [hand(read_one, opened, number) for number in range(opened.parts)]
        return hand(finish, asked.work, (asked.top, folder, asked.question), opened, parts)


@contextmanager
def on_cluster(cluster: Cluster) -> Iterator[Handing]:
    """Open a cluster, and close it again where it was opened here.

    Raises
    ------
    ProgrammeError
        When no scheduler answers at the address.
    NoProcessesError
        When this machine lets none be started.
    """
    from distributed import Client, LocalCluster

    for name in ("distributed", "tornado"):
        logging.getLogger(name).setLevel(logging.CRITICAL)
    with contextlib.ExitStack() as until:
        if cluster.scheduler is None:
            try:
                local = LocalCluster(
                    n_workers=cluster.workers,
                    threads_per_worker=1,
                    processes=True,
                    dashboard_address=None,
                    # Without a dashboard there is a port all the same, and by default one that others use.
                    scheduler_kwargs={"dashboard_address": "127.0.0.1:0"},
                    silence_logs=logging.CRITICAL,
                    memory_limit=0,
                )
            except (OSError, RuntimeError, TimeoutError) as fault:
                raise NoProcessesError(f"no processes can be started here: {fault}") from fault
            address: Any = until.enter_context(local)
        else:
            address = cluster.scheduler

        def client() -> Client:
            try:
                made = Client(address, timeout=_PATIENCE)
            except (OSError, TimeoutError, ValueError) as fault:
                raise ProgrammeError(
                    f"no scheduler answers: {fault}",
                    where=str(cluster.scheduler or "this machine"),
                    mend="check the address, such as tcp://10.0.0.5:8786; without one this machine is used",
                ) from fault
            until.callback(made.close, timeout=2)
            return made

        yield Handing(client(), client)
