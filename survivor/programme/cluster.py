"""Where studies are done: processes of this machine, or the machines of a scheduler that is there already."""

from __future__ import annotations

import asyncio
import contextlib
import logging
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import CancelledError
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from survivor.errors import NoProcessesError, ProgrammeError
from survivor.programme import english as en
from survivor.programme.record import Question, StudyRecord

if TYPE_CHECKING:
    from distributed import Client

_TRIES: Final = 4  # times that studies whose tasks were lost are handed out again
_PATIENCE: Final = "60s"  # for a scheduler that is started again

Work = Callable[[str, str, Question], StudyRecord]


@dataclass(frozen=True)
class Cluster:
    """A cluster of so many processes of this machine, or the one behind a scheduler's address."""

    workers: int = 2
    scheduler: str | None = None


class Handing:
    """Hands out studies, one a task, and takes their records as they come."""

    def __init__(self, client: Client, again: Callable[[], Client]) -> None:
        self._client, self._again = client, again

    @property
    def at_once(self) -> int:
        """How many studies are done at a time."""
        return max(1, len(self._client.scheduler_info(n_workers=-1)["workers"]))

    def each(
        self,
        work: Work,
        top: str,
        folders: Sequence[str],
        question: Question,
        take: Callable[[StudyRecord], None],
    ) -> None:
        """Do every study; one whose task is lost is handed out again, and at last listed.

        Parameters
        ----------
        work
            Does one study; what it raises is listed with the study.
        top, folders, question
            What it is given.
        take
            Is given every record, in the order in which they are done.
        """
        left = list(folders)
        for _ in range(_TRIES):
            left = self._round(work, top, left, question, take)
            if not left:
                return
            self._client.close(timeout=1)
            self._client = self._again()
        for folder in left:
            take(StudyRecord(folder, {}, question).without(en.LOST))

    def _round(
        self,
        work: Work,
        top: str,
        folders: list[str],
        question: Question,
        take: Callable[[StudyRecord], None],
    ) -> list[str]:
        """Hand out studies once; returns those whose task was lost with the scheduler."""
        from distributed import as_completed
        from distributed.scheduler import KilledWorker

        waiting = set(folders)
        order = {folder: place for place, folder in enumerate(folders)}
        try:
            futures = {
                self._client.submit(work, top, folder, question, pure=False, priority=-order[folder]): folder
                for folder in folders
            }
            for future in as_completed(futures):
                folder = futures[future]
                try:
                    record = future.result()
                except KilledWorker:
                    record = StudyRecord(folder, {}, question).without(en.LOST)
                except (CancelledError, asyncio.CancelledError):
                    continue
                except (OSError, TimeoutError):
                    raise
                except Exception as fault:  # such as a machine of the cluster that has no survivor
                    record = StudyRecord(folder, {}, question)
                    record = record.without(en.OUR_FAULT, f"{type(fault).__name__}: {fault}")
                take(record)
                waiting.discard(folder)
                future.release()
        except (OSError, TimeoutError, RuntimeError, asyncio.CancelledError):
            pass  # the scheduler is gone: what it had not given back is handed out again
        return [folder for folder in folders if folder in waiting]


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
