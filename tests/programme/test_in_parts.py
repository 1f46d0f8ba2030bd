"""A register within a programme: its parts are tasks, and its answers those of the whole, to the byte."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from survivor.programme.cluster import Cluster, Handing
from survivor.programme.in_parts import Opened, begin, finish, read_one
from survivor.programme.record import FOLDER, Question
from survivor.programme.running import take_studies
from survivor.programme.study_answers import answers_of
from survivor.records import registers
from tests.programme.changing import same
from tests.programme.killing import kill_a_worker
from tests.programme.parted import RECORDS, small_parts, write_register
from tests.programme.small import small_programme

NAME = "register"
ASKED = Question("12 months", 365.0, "as measured")


@pytest.fixture(autouse=True)
def _small(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(registers, "_A_PART", RECORDS)


@pytest.fixture
def top(tmp_path: Path) -> Path:
    write_register(tmp_path / "valley" / NAME)
    return tmp_path / "valley"


def in_parts(top: Path, room: Path, between: Callable[[], object] = lambda: None) -> Any:
    """Do the register as the tasks of a cluster do, something happening when it is opened."""
    opened = begin(answers_of, str(top), NAME, ASKED, str(room))
    assert isinstance(opened, Opened)
    assert opened.parts == 3
    between()
    parts = [read_one(opened, number) for number in reversed(range(opened.parts))]
    return finish(answers_of, (str(top), NAME, ASKED), opened, parts[::-1])


@pytest.mark.slow
def test_answers_are_those_of_the_whole_and_twice_the_same(top, tmp_path):
    whole = answers_of(str(top), NAME, ASKED)
    assert whole.state == "used"
    assert len(whole.units) > 2
    opened = begin(answers_of, str(top), NAME, ASKED, str(tmp_path))
    parts = [read_one(opened, number) for number in range(opened.parts)]
    for _ in range(2):  # a task may have to be done again, from what the others gave
        assert same(finish(answers_of, (str(top), NAME, ASKED), opened, parts), whole)


@pytest.mark.slow
def test_a_register_saved_after_it_was_opened_is_read_anew(top, tmp_path):
    def save() -> None:
        file = top / NAME / "visits.csv"
        lines = file.read_text(encoding="utf-8").splitlines(keepends=True)
        file.write_text("".join(lines[: len(lines) // 2]), encoding="utf-8")

    record = in_parts(top, tmp_path, save)
    assert same(record, answers_of(str(top), NAME, ASKED))


@pytest.mark.slow
def test_where_a_part_is_lost_the_whole_is_read(top, tmp_path):
    def lose() -> None:
        for file in tmp_path.glob("tmp*/*/1.arrow"):
            file.write_bytes(b"not what it was")

    assert same(in_parts(top, tmp_path, lose), answers_of(str(top), NAME, ASKED))


def test_a_register_that_cannot_be_opened_says_why_as_ever(top, tmp_path):
    (top / NAME / "visits.csv").write_text("")
    record = begin(answers_of, str(top), NAME, ASKED, str(tmp_path))
    assert same(record, answers_of(str(top), NAME, ASKED))
    assert "there is nothing in it" in record.detail


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = small_programme(tmp_path_factory.mktemp("made") / "valley", copied=False)
    write_register(made / NAME)
    return made


@pytest.fixture
def copy(found: Path, tmp_path: Path) -> Path:
    shutil.copytree(found, tmp_path / "valley", ignore=shutil.ignore_patterns(FOLDER))
    return tmp_path / "valley"


@pytest.fixture
def handed(monkeypatch: pytest.MonkeyPatch) -> list[Callable[[], object]]:
    """What is done when the parts of a register have been handed out; it must have been done."""
    then: list[Callable[[], object]] = []
    each, parted = Handing.each, Handing._in_parts

    def with_small_parts(self: Handing, *given: Any) -> None:
        self._client.run(small_parts)
        each(self, *given)

    def handed_out(self: Handing, asked: Any, folder: str, opened: Opened, priority: int) -> Any:
        whole = parted(self, asked, folder, opened, priority)
        assert (folder, opened.parts) == (NAME, 3)
        then.pop()()
        return whole

    monkeypatch.setattr(Handing, "each", with_small_parts)
    monkeypatch.setattr(Handing, "_in_parts", handed_out)
    return then


def same_on(workers: int, meanwhile: Callable[[], object], copy: Path, found: Path, handed: list) -> None:
    handed.append(meanwhile)
    taken = take_studies(copy, cluster=Cluster(workers))
    assert not handed, "the register was not read in parts"
    for record, expected in zip(taken.records, take_studies(found).records, strict=True):
        assert same(record, expected)


@pytest.mark.slow
@pytest.mark.usefixtures("copied")
@pytest.mark.parametrize("workers", [1, 3])
def test_the_same_with_any_number_of_workers(copy, found, handed, workers):
    same_on(workers, list, copy, found, handed)


@pytest.mark.slow
def test_the_same_with_one_of_two_workers_killed(copy, found, handed):
    same_on(2, kill_a_worker, copy, found, handed)
