"""Attacks by size, by number and by a full disk; and the table of all attacks, each with its test."""

import asyncio
import errno
import io
import os
import re
import shutil
import subprocess
import urllib.request
import zipfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, NoReturn

import pytest
from starlette.exceptions import HTTPException
from starlette.testclient import TestClient

from survivor.desk import guard
from tests.desk.opened import Opened, sent_by, with_seasons
from tests.desk.started import Started
from tests.records.sheetfiles import xlsx_of

TABLE = Path(__file__).parent / "README.md"
MANY = 200


def bomb() -> bytes:
    """Pack 128 MB of blanks into a workbook, where they take a thousandth of that."""
    made = io.BytesIO(xlsx_of('<row r="1"/>'))
    with zipfile.ZipFile(made, "a", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/worksheets/sheet2.xml", b" " * 2**27)
    return made.getvalue()


def held(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_a_body_that_stops_coming_is_let_go(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(guard, "LONGEST_WAIT", 0.01)

    async def silent() -> NoReturn:
        await asyncio.Event().wait()
        raise AssertionError

    with pytest.raises(HTTPException) as refused:
        asyncio.run(guard._bounded({"path": "/drop/season"}, silent)())
    assert refused.value.status_code == 408


@pytest.mark.parametrize("room", ["/drop/season", "/drop/season/counts"])
def test_a_workbook_that_unpacks_to_too_much_leaves_nothing(desk: Opened, client: TestClient, room: str):
    before = held(desk.folder)
    sent = [("files", ("bomb.xlsx", bomb()))]
    answer = client.post(room, data={"name": "new"}, files=sent)
    assert answer.status_code == 409
    assert "bomb.xlsx" in answer.text
    assert held(desk.folder) == before
    assert not (desk.folder / "new").exists()


@pytest.fixture
def full(monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk that has no room when what was written is to be kept."""

    def sync(_: int) -> NoReturn:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", sync)


@pytest.mark.usefixtures("full")
def test_a_full_disk_loses_nothing_and_is_said_so(desk: Opened, client: TestClient):
    before = held(desk.folder)
    typed = sent_by(client.get("/about/counts").text)
    sheet = [("files", ("visits.csv", b"a,b\n1,2\n"))]
    answers = [
        client.post("/about/counts", data={**typed, "study.name": "other"}),
        client.post("/drop/season/counts", files=sheet),
        client.post("/drop/season", data={"name": "new"}, files=sheet),
        client.post("/new/plan", data={"name": "winter"}),
    ]
    for answer in answers:
        assert answer.status_code in (409, 500)
        assert "No space left" in answer.text
        assert "Traceback" not in answer.text
    after = held(desk.folder)
    assert {
        name: content for name, content in after.items() if not name.startswith(".survivor-desk")
    } == before


@pytest.fixture
def small(tmp_path: Path) -> Iterator[Path]:
    """A disk of two megabytes, where one may be mounted."""
    disk = tmp_path / "disk"
    disk.mkdir()
    run = ["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(disk)]
    if not shutil.which("mount") or subprocess.run(run, capture_output=True, check=False).returncode:
        pytest.skip("no disk can be mounted here")
    yield disk
    subprocess.run(["umount", "-l", str(disk)], check=True)


def filled_up(disk: Path) -> None:
    with (disk / "fill").open("wb", buffering=0) as fill:
        while True:
            fill.write(b"x" * 4096)


@pytest.mark.slow
def test_a_disk_without_a_free_byte_loses_nothing(small: Path):
    folder = small / "seasons"
    folder.mkdir()
    desk = Opened(with_seasons(folder))
    with desk.browser() as client:
        typed = sent_by(client.get("/about/counts").text)
        with pytest.raises(OSError, match="No space"):
            filled_up(small)
        before = held(folder)
        sheet = [("files", ("visits.csv", b"a,b\n1,2\n" * 2000))]
        answers = [
            client.post("/about/counts", data={**typed, "study.note": "y" * 8000}),
            client.post("/drop/season/counts", files=sheet),
            client.post("/drop/season", data={"name": "new"}, files=sheet),
            client.post("/new/plan", data={"name": "winter"}),
            client.post("/report/counts"),
        ]
        for answer in answers:
            assert answer.status_code in (409, 500)
            assert "No space left" in answer.text
        assert held(folder) == before
        assert client.get("/sheets/counts").status_code == 200


@pytest.fixture
def started(tmp_path: Path) -> Iterator[Started]:
    desk = Started(with_seasons(tmp_path))
    yield desk
    desk.close()


@pytest.mark.slow
def test_two_hundred_requests_at_once_are_all_answered(started: Started):
    opener: Any = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
    opener.open(started.entrance).read()

    def ask(number: int) -> int:
        room = ("/", "/sheets/counts", "/problems/tagged", "/about/counts")[number % 4]
        with opener.open(started.origin + room) as answer:
            return int(answer.status) if b"</html>" in answer.read() else 0

    with ThreadPoolExecutor(MANY) as hands:
        assert list(hands.map(ask, range(MANY))) == [200] * MANY
    assert started.close() == 0


def test_every_attack_of_the_table_has_its_test():
    rows = re.findall(r"^\| (?!tried|---)(.+?) \| (.+?) \| (.+?) \|$", TABLE.read_text("utf-8"), re.MULTILINE)
    assert len(rows) >= 18
    root = Path(__file__).parents[1]
    for tried, _, tests in rows:
        named = re.findall(r"`([\w/]+)::(\w+)`", tests)
        assert named, tried
        for module, test in named:
            assert f"def {test}(" in (root / f"{module}.py").read_text("utf-8"), (tried, test)
