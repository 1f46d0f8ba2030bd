"""A programme on a real cluster of processes: the same bytes with any number of workers."""

from __future__ import annotations

import shutil
from pathlib import Path

import psutil
import pytest

from survivor.programme import run_programme
from survivor.programme.cluster import Cluster, on_cluster
from survivor.programme.record import FOLDER
from tests.programme.small import small_programme

pytestmark = pytest.mark.slow


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


@pytest.mark.parametrize("workers", [1, 2])
def test_the_same_bytes_with_any_number_of_workers(copy, alone, workers):
    run_programme(copy, cluster=Cluster(workers))
    assert kept_in(copy) == alone


def test_two_clusters_at_once_are_heard_on_this_machine_alone():
    with on_cluster(Cluster(1)), on_cluster(Cluster(1)):
        own = psutil.Process()
        heard = [
            line.laddr
            for process in (own, *own.children(recursive=True))
            for line in process.net_connections(kind="inet")
            if line.status == psutil.CONN_LISTEN
        ]
    assert len(heard) >= 4
    assert {where.ip for where in heard} == {"127.0.0.1"}
    assert 8787 not in {where.port for where in heard}
