"""What goes wrong on a real cluster of processes, and what becomes of the programme."""

from __future__ import annotations

import importlib
import os
import shutil
import socket
from collections.abc import Callable, Iterator
from multiprocessing.process import BaseProcess
from pathlib import Path

import pytest

from survivor.errors import ProgrammeError, WritingError
from survivor.programme import running
from survivor.programme.cluster import Cluster
from survivor.programme.record import FOLDER, StudyRecord
from survivor.programme.running import take_studies
from tests.copies import copies
from tests.programme.changing import TIMES, answers_while_saved, same
from tests.programme.killing import kill_a_worker
from tests.programme.small import small_programme

pytestmark = pytest.mark.slow

Break = Callable[[Path], object]
LOCAL = Cluster(2)


@pytest.fixture(scope="module")
def top(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_programme(tmp_path_factory.mktemp("made") / "valley", copied=False)


@pytest.fixture(scope="module")
def alone(top: Path) -> dict[str, StudyRecord]:
    """What this process finds, one study after another."""
    return {record.folder: record for record in take_studies(top).records}


@pytest.fixture
def copy(top: Path, tmp_path: Path) -> Path:
    """The programme as it was found, in a folder of the same name."""
    shutil.copytree(top, tmp_path / "valley", ignore=shutil.ignore_patterns(FOLDER))
    return tmp_path / "valley"


def after_the_first(what: Callable[[], object]) -> Callable[[str], None]:
    """Do something once, when the first study is done and others run."""
    done: list[str] = []

    def say(text: str) -> None:
        if ": 1 done" in text and not done:
            done.append(text)
            what()

    return say


def test_a_worker_killed_in_the_middle_changes_nothing(copy, alone):
    killed: list[bool] = []
    taken = take_studies(
        copy, cluster=LOCAL, say=after_the_first(lambda: (kill_a_worker(), killed.append(True)))
    )
    assert killed
    assert all(same(record, alone[record.folder]) for record in taken.records)


class Scheduler:
    """A scheduler and a worker of their own, as an organisation's cluster has them."""

    def __init__(self) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.address = f"tcp://127.0.0.1:{self.port}"
        self.running: list[BaseProcess] = []

    def start(self) -> None:
        quiet = ["--no-dashboard", "--dashboard-address", "127.0.0.1:0"]
        for what, options in (
            ("dask_scheduler", ["--host", "127.0.0.1", "--port", str(self.port), *quiet]),
            ("dask_worker", [self.address, "--nthreads", "1", "--no-nanny", *quiet]),
        ):
            process = copies().Process(target=program, args=(what, options))
            process.start()
            self.running.append(process)

    def kill(self) -> None:
        for process in self.running:
            process.kill()
            process.join()
        self.running.clear()


def program(what: str, options: list[str]) -> None:
    """Run a program of Dask to its end, unheard."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for number in (1, 2):
        os.dup2(nowhere, number)
    importlib.import_module(f"distributed.cli.{what}").main(options)


@pytest.fixture
def scheduler() -> Iterator[Scheduler]:
    made = Scheduler()
    made.start()
    yield made
    made.kill()


def test_a_scheduler_killed_and_started_again_changes_nothing(copy, alone, scheduler):
    again: list[bool] = []

    def restart() -> None:
        scheduler.kill()
        scheduler.start()
        again.append(True)

    taken = take_studies(copy, cluster=Cluster(scheduler=scheduler.address), say=after_the_first(restart))
    assert again
    assert all(same(record, alone[record.folder]) for record in taken.records)


def test_an_address_where_nothing_answers_is_refused(copy, monkeypatch):
    monkeypatch.setattr("survivor.programme.cluster._PATIENCE", "2s")
    with pytest.raises(ProgrammeError, match="no scheduler answers"):
        take_studies(copy, cluster=Cluster(scheduler="tcp://127.0.0.1:9"))


def test_where_no_process_can_be_started_the_studies_are_done_here(copy, alone, monkeypatch):
    def refused(*args: object, **options: object) -> None:
        raise OSError("Operation not permitted")

    monkeypatch.setattr("distributed.LocalCluster", refused)
    warned: list[str] = []
    taken = take_studies(copy, cluster=LOCAL, warn=warned.append)
    assert warned == [
        "no processes can be started here: Operation not permitted; "
        "the studies are done one after another in this process"
    ]
    assert all(same(record, alone[record.folder]) for record in taken.records)


@pytest.mark.usefixtures("copied")
def test_a_full_disk_in_one_study_loses_its_record_and_not_its_answer(copy, alone, monkeypatch):
    keep, full = running.keep, min(alone)

    def full_for_one(record: StudyRecord, home: Path) -> None:
        if record.folder == full:
            raise WritingError("No space left on device")
        keep(record, home)

    monkeypatch.setattr(running, "keep", full_for_one)
    warned: list[str] = []
    first = take_studies(copy, cluster=LOCAL, warn=warned.append)
    assert len(warned) == 1
    assert full in warned[0]
    assert "No space left on device" in warned[0]
    monkeypatch.undo()
    said: list[str] = []
    second = take_studies(copy, cluster=LOCAL, say=said.append)
    assert f"({len(alone) - 1} unchanged)" in said[0]
    for taken in (first, second):
        assert all(same(record, alone[record.folder]) for record in taken.records)


@pytest.mark.usefixtures("copied")
def test_a_study_saved_while_it_is_read_is_read_again_or_listed(copy, alone, monkeypatch):
    monkeypatch.setattr(running, "answers_of", answers_while_saved)
    used = [name for name, record in alone.items() if record.state == "used"]
    once, ever = used[:2]
    (copy / once / TIMES).write_text("1")
    (copy / ever / TIMES).write_text("9")
    found = {record.folder: record for record in take_studies(copy, cluster=LOCAL).records}
    assert found[ever].state == "not used"
    assert "changed while they were read" in found[ever].reason
    assert found[once].state == "used"
    assert found[once].units == alone[once].units
    assert all(same(found[name], alone[name]) for name in alone if name not in (once, ever))


def a_folder_in_its_place(path: Path) -> None:
    path.unlink()
    path.mkdir()


#: Ways in which a study cannot be used: what is done to which of its files.
WAYS: dict[str, Break] = {
    "gone": Path.unlink,
    "a folder": a_folder_in_its_place,
    "empty": lambda path: path.write_bytes(b""),
    "no text": lambda path: path.write_bytes(bytes(range(256)) * 20),
    "cut short": lambda path: path.write_bytes(path.read_bytes()[:30]),
    "another's words": lambda path: path.write_bytes(b"a;b\n1;2\n"),
    "zeros": lambda path: path.write_bytes(b"\0" * 5000),
    "one long word": lambda path: path.write_bytes(b"x" * 200_000),
}
#: A folder without a file of this name is no study.
IS_STUDY = ("study.toml", ("gone", "a folder"))
BROKEN = [
    (file, way)
    for file in ("study.toml", "visits.csv", "plots.csv")
    for way in WAYS
    if not (file == IS_STUDY[0] and way in IS_STUDY[1])
]


@pytest.mark.usefixtures("copied")
def test_more_than_twenty_broken_studies_are_listed_and_the_others_go_on(copy, alone):
    assert len(BROKEN) > 20
    whole = next(name for name, record in alone.items() if record.state == "used")
    for number, (file, way) in enumerate(BROKEN):
        home = copy / "broken" / f"{number:02d}"
        shutil.copytree(copy / whole, home)
        WAYS[way](home / file)
    found = {record.folder: record for record in take_studies(copy, cluster=LOCAL).records}
    for number, (file, way) in enumerate(BROKEN):
        record = found[f"broken/{number:02d}"]
        assert record.state == "not used", (file, way)
        assert record.reason, (file, way)
        assert "Error" not in record.detail.split(":")[0], (file, way, record.detail)
    assert all(same(found[name], alone[name]) for name in alone)
