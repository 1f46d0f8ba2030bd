"""A programme on a real cluster of processes: the same bytes whatever happens to those who do the work."""

from __future__ import annotations

import contextlib
import os
import resource
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from survivor.demo.programme import _BROKEN
from survivor.programme import Programme, cluster, run_programme, running, write_programme
from survivor.programme import english as en
from survivor.programme.cluster import Cluster
from survivor.programme.record import FOLDER, StudyRecord, name_of
from tests.programme.small import small_programme

pytestmark = pytest.mark.slow
distributed = pytest.importorskip("distributed")


@pytest.fixture(scope="module")
def top(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_programme(tmp_path_factory.mktemp("made") / "valley", copied=False)


@pytest.fixture
def copy(top: Path, tmp_path: Path) -> Path:
    """The programme as it was found, in a folder of the same name."""
    shutil.copytree(top, tmp_path / "valley", ignore=shutil.ignore_patterns(FOLDER))
    return tmp_path / "valley"


@pytest.fixture(scope="module")
def alone(top: Path) -> dict[str, bytes]:
    """What this process finds, one study after another."""
    run_programme(top)
    return kept_in(top)


def kept_in(top: Path) -> dict[str, bytes]:
    """Every record that is kept, to the byte."""
    return {path.name: path.read_bytes() for path in sorted((top / FOLDER).iterdir()) if path.suffix != ""}


def when_first_done(monkeypatch: pytest.MonkeyPatch, act: Callable[[cluster.Handing], Any]) -> list[str]:
    """Do something once the first study is back; return the studies as they come."""
    came: list[str] = []
    real = cluster.Handing.each

    def each(self: cluster.Handing, work: Any, top: str, folders: Any, question: Any, take: Any) -> None:
        def taken(record: StudyRecord) -> None:
            came.append(record.folder)
            take(record)
            if len(came) == 1:
                act(self)

        real(self, work, top, folders, question, taken)

    monkeypatch.setattr(cluster.Handing, "each", each)
    return came


@pytest.mark.parametrize("workers", [1, 2, 4])
def test_the_same_bytes_with_any_number_of_workers(copy, alone, workers):
    run_programme(copy, cluster=Cluster(workers))
    assert kept_in(copy) == alone


def test_a_worker_killed_in_the_middle_changes_nothing(copy, alone, monkeypatch):
    def kill(handing: cluster.Handing) -> None:
        workers = handing._client.run(os.getpid)
        os.kill(sorted(workers.values())[0], signal.SIGKILL)

    came = when_first_done(monkeypatch, kill)
    run_programme(copy, cluster=Cluster(2))
    assert kept_in(copy) == alone
    assert len(came) == len(set(came)) == 5


class Elsewhere:
    """A scheduler with one worker, in processes of their own."""

    def __init__(self) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.address = f"tcp://127.0.0.1:{self.port}"
        self.running: list[subprocess.Popen[bytes]] = []

    def start(self) -> None:
        parts = (
            ("scheduler", "--host", "127.0.0.1", "--port", str(self.port), "--no-dashboard"),
            ("worker", self.address, "--nthreads", "1", "--no-dashboard", "--memory-limit", "0"),
        )
        for name, *options in parts:
            code = f"from distributed.cli.dask_{name} import main; main()"
            given = [sys.executable, "-c", code, *options]
            quiet = subprocess.DEVNULL
            self.running.append(subprocess.Popen(given, stdout=quiet, stderr=quiet, start_new_session=True))

    def kill(self) -> None:
        for process in self.running:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            process.wait()
        self.running.clear()


@pytest.fixture
def elsewhere() -> Iterator[Elsewhere]:
    found = Elsewhere()
    found.start()
    yield found
    found.kill()


def test_a_scheduler_killed_and_started_again_changes_nothing(copy, alone, elsewhere, monkeypatch):
    def restart(_: cluster.Handing) -> None:
        elsewhere.kill()
        elsewhere.start()

    when_first_done(monkeypatch, restart)
    run_programme(copy, cluster=Cluster(scheduler=elsewhere.address))
    assert kept_in(copy) == alone


def test_no_scheduler_at_the_address_is_said(copy, monkeypatch):
    monkeypatch.setattr(cluster, "_PATIENCE", "1s")
    with pytest.raises(cluster.ProgrammeError, match="no scheduler answers"):
        run_programme(copy, cluster=Cluster(scheduler="tcp://127.0.0.1:1"))


def test_a_disk_full_in_one_study_loses_its_record_only(copy, alone, monkeypatch):
    real, full = running.keep, []

    def keep(record: StudyRecord, home: Path) -> None:
        if full and record.folder != full[0]:
            real(record, home)
            return
        full[:] = [record.folder]
        # No file may grow beyond a few bytes: the system refuses it as it does where no room is left.
        before = resource.getrlimit(resource.RLIMIT_FSIZE)
        ignored = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (64, before[1]))
        try:
            real(record, home)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, before)
            signal.signal(signal.SIGXFSZ, ignored)

    monkeypatch.setattr(running, "keep", keep)
    warned: list[str] = []
    found = run_programme(copy, cluster=Cluster(2), warn=warned.append)
    assert len(warned) == 1
    assert full[0] in warned[0]
    lost = {f"{name_of(full[0])}.json", f"{name_of(full[0])}.parquet"}
    assert kept_in(copy) == {name: held for name, held in alone.items() if name not in lost}
    assert len(found.of_state("used")) == 4


def test_twenty_broken_studies_are_listed_and_the_others_go_on(copy):
    home = copy / study_of_files(copy, 10)
    files = {path.name: path.read_bytes() for path in home.iterdir()}
    spoils = [spoil for reason, spoil in _BROKEN if spoil is not dict]
    for number in range(20):
        broken = copy / "broken" / f"study-{number:02d}"
        broken.mkdir(parents=True)
        for name, content in spoils[number % len(spoils)](files).items():
            (broken / name).write_bytes(content)
    found = run_programme(copy, cluster=Cluster(2))
    assert len(found.of_state("used")) == 4
    left = found.of_state("not used")
    assert len([record for record in left if record.folder.startswith("broken/")]) == 20
    assert all(record.reason and record.detail for record in left)


def study_of_files(top: Path, number: int) -> str:
    return next(
        path.parent.relative_to(top).as_posix()
        for path in top.rglob("study.toml")
        if f"-{number:04d}-" in str(path)
    )


def test_a_study_written_to_all_the_while_is_left_out_until_it_stands_still(copy, alone):
    sheet = copy / study_of_files(copy, 10) / "visits.csv"
    whole, over = sheet.read_bytes(), threading.Event()

    def write() -> None:
        while not over.is_set():
            with sheet.open("ab") as opened:
                opened.write(b"\n")
            time.sleep(0.05)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        found: Programme = run_programme(copy, cluster=Cluster(1))
    finally:
        over.set()
        writer.join()
    assert found.left.set_index("study")["reason"][sheet.parent.name] == en.CHANGED
    sheet.write_bytes(whole)
    run_programme(copy)
    assert kept_in(copy) == alone


def test_the_page_is_the_same_bytes_too(copy, top, alone, tmp_path):
    first = write_programme(run_programme(top), tmp_path / "first")
    second = write_programme(run_programme(copy, cluster=Cluster(2)), tmp_path / "second")
    assert [path.read_bytes() for path in first] == [path.read_bytes() for path in second]
