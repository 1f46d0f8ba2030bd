"""A step that takes long says how far it is; a season too large is told of before it starts."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from survivor.cli.large import free_memory, long_report, too_large
from survivor.cli.progress import steps
from survivor.effects.sites import leave_one_site_out
from survivor.models.fit import fit
from survivor.parallel import side_by_side
from survivor.progress import counted_off, listening, tell
from survivor.study import files_of, load
from tests.writing import small_season


class Clock:
    """Seconds that go on by themselves: so many at every look."""

    def __init__(self, step: float) -> None:
        self.now, self.step = 0.0, step

    def __call__(self) -> float:
        self.now += self.step
        return self.now


def said_by(capsys: pytest.CaptureFixture[str], seconds: float) -> list[str]:
    with steps("First", clock=Clock(seconds)) as say:
        say("Models")
        for _ in counted_off(range(41), "site"):
            pass
    return capsys.readouterr().err.split("\n")


def test_a_step_of_long_pieces_says_how_far_it_is(capsys):
    lines = said_by(capsys, 6.0)
    assert "Models" in lines
    assert "Models: site 3 of 41" in lines
    assert "Models: site 41 of 41" in lines


def test_kept_lines_are_ten_seconds_apart_and_a_short_step_says_nothing(capsys):
    counted = [line for line in said_by(capsys, 1.0) if line.startswith("Models:")]
    assert len(counted) == 4  # of 41 seconds
    assert [line for line in said_by(capsys, 0.01) if line.startswith("Models:")] == []


def test_nobody_has_to_listen():
    tell("site 1 of 2")
    assert list(counted_off("ab", "site")) == ["a", "b"]


def test_pieces_on_two_cores_are_counted_in_the_program_alone(capfd):
    def squared(piece: int) -> int:
        time.sleep(0.02)  # so that neither does all of them
        return piece**2

    heard: list[str] = []
    with listening(lambda how_far: (heard.append(how_far), print(how_far))[0]):
        assert side_by_side(squared, range(12)) == [piece**2 for piece in range(12)]
    assert heard
    assert set(heard) <= {f"{piece} of 12" for piece in range(1, 13)}
    assert capfd.readouterr().out.split("\n")[:-1] == heard


def test_records_and_sites_are_counted(tmp_path):
    heard: list[str] = []
    with listening(heard.append):
        study = load(small_season(tmp_path))
    assert "sheet 1 of 1" in heard
    assert any(said.startswith("288 rows of visits.csv, column 1 of ") for said in heard), heard
    assert "288 records, made into risk intervals" in heard
    with listening(heard.append):
        leave_one_site_out(fit(study.first_plants, "method"), 365.0)
    assert heard[-3:] == ["site 1 of 3", "site 2 of 3", "site 3 of 3"]


def test_sheets_larger_than_the_memory_are_told_of_before_they_are_read(tmp_path):
    files = files_of(small_season(tmp_path))
    assert [path.name for path in files] == ["visits.csv"]
    large = tmp_path / "large.csv"
    with large.open("wb") as held:
        held.truncate(93_000_000)
    assert list(too_large([large], report=False, free=8e9)) == []
    (said,) = too_large([large], report=False, free=2e9)
    assert "2.3 GB of memory, and 2.0 GB are free" in said
    (said,) = too_large([large], report=True, free=5e9)
    assert "4.7 GB" in said
    assert list(too_large(files, report=True, free=1e6)) == []  # what any machine can hold
    assert list(too_large([large], report=True, free=None)) == []


def test_a_report_of_minutes_is_told_of():
    assert list(long_report(96)) == []
    (said,) = long_report(20_000)
    assert said.startswith("A report of 20,000 plots takes about 7 minutes")


@pytest.mark.skipif(not Path("/proc/meminfo").exists(), reason="another system")
def test_the_free_memory_is_what_the_machine_says():
    assert 1e7 < free_memory() < 1e15
