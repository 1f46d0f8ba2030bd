"""Questions answered as an officer types: days as in the sheets, spellings at once, marks of doubt."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

import survivor
from survivor.cli import app
from survivor.proposing.answering import typed_as
from survivor.proposing.proposal import propose
from survivor.settings import read_settings
from survivor.settings.questions import Line
from tests.once import digest_of, once
from tests.records.sheetfiles import as_csv

WORDS = (("x", "X", "A?"), ("dead?", "?", "OK"), ("OK", "OK", "OK"), ("OK", "Q", "q"))
SITES = ("Alder", "Goose")


@pytest.fixture(autouse=True)
def proposed_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Propose once for the same sheets: what is asked here is asked of what was proposed."""

    def proposed(folder: Path) -> str:
        return once(f"proposed {digest_of(folder)}", lambda: propose(folder))

    monkeypatch.setattr("survivor.proposing.proposal.propose", proposed)


def season(folder: Path) -> Path:
    """Two sites of four plots of five seedlings; no planting day, preparations in two spellings."""
    rows = [["Site", "Plot", "Prep", "Tag", "18/8/23", "20/10/23", "12/3/24"]]
    for site in SITES:
        for plot, prep in (("1", "rip"), ("2", "Ripped"), ("3", "spray"), ("4", "spraying")):
            for _ in range(5):
                rows.append([site, plot, prep, str(len(rows)), *WORDS[len(rows) % 4]])
    (folder / "visits.csv").write_bytes(as_csv(rows))
    return folder


def asked(folder: Path, *said: str) -> str:
    run = CliRunner().invoke(app, ["new", str(folder), "--ask"], input="\n".join(said) + "\n" * 12)
    assert run.exit_code == 0, run.output
    return run.output


STATES = ("1", "y")  # Q and q are alive; marks of doubt are doubtful


def test_spellings_are_asked_once_and_marks_of_doubt_with_one_yes(tmp_path: Path) -> None:
    said = asked(season(tmp_path), *STATES)
    assert "   Q, q   10 cells + 10 cells" in said
    assert "dead?, ?, A?: are these doubtful" in said
    states = read_settings(tmp_path).records.states
    assert states == {"Q": "alive", "q": "alive", **dict.fromkeys(("dead?", "?", "A?"), "doubtful")}


def test_marks_of_doubt_can_be_told_one_by_one(tmp_path: Path) -> None:
    asked(season(tmp_path), "1", "n", "2", "4", "1")
    states = read_settings(tmp_path).records.states
    assert {word: states[word] for word in ("dead?", "?", "A?")} == {
        "dead?": "dead",
        "?": "not found",
        "A?": "alive",
    }


def test_a_record_in_doubt_is_listed_and_never_alive(tmp_path: Path) -> None:
    asked(season(tmp_path), *STATES, "5/6/23", "1")
    records = survivor.load(tmp_path).records
    doubt = records.findings[records.findings["code"] == "doubtful"]
    assert doubt["value"].value_counts().to_dict() == {"A?": 10, "dead?": 10, "?": 10}
    visits = records.visits[records.visits["state"] == "doubtful"]
    assert len(visits) == 30
    ends = records.intervals.merge(visits, left_on=["tag", "stop_date"], right_on=["tag", "date"])
    assert ends.empty
    fates = records.accounts["fate"].value_counts().to_dict()
    assert fates["listed"] == 30
    assert fates["used"] == 90


def test_one_day_for_all_sites_is_asked_once(tmp_path: Path) -> None:
    said = asked(season(tmp_path), *STATES, "5/6/23", "1")
    assert "5 June 2023" in said
    assert "planted at Alder" not in said
    rules = read_settings(tmp_path).rules
    assert (rules.planted_date, rules.planted_by_site) == ("2023-06-05", {})
    assert rules.tagged == "at planting"


def test_each_site_may_have_its_own_planting_day(tmp_path: Path) -> None:
    asked(season(tmp_path), *STATES, "", "5/6/23", "6 Jul 23", "1")
    assert read_settings(tmp_path).rules.planted_by_site == {"Alder": "2023-06-05", "Goose": "2023-07-06"}
    plots = survivor.load(tmp_path).records.plots
    days = plots.groupby("site", observed=True)["planted_date"].agg(["min", "max"]).astype(str)
    assert days.to_numpy().tolist() == [["2023-06-05"] * 2, ["2023-07-06"] * 2]


def test_a_site_without_a_day_still_waits(tmp_path: Path) -> None:
    asked(season(tmp_path), *STATES, "", "5/6/23", "", "1")
    records = survivor.load(tmp_path).records
    waiting = records.findings[records.findings["code"] == "no-planting-date"]
    assert len(waiting) == 60
    assert "[rules.planted_by_site] the day of each site" in waiting.iloc[0]["mend"]
    assert set(records.visits["site"]) == {"Alder"}


def test_one_name_of_two_may_be_a_preparation_of_its_own(tmp_path: Path) -> None:
    asked(season(tmp_path), *STATES, "5/6/23", "1", "n", "y", "n")
    methods = {method.name: method.also for method in read_settings(tmp_path).methods}
    assert methods == {"rip": ("Ripped",), "spray": (), "spraying": ()}


def test_all_names_are_joined_by_one_yes(tmp_path: Path) -> None:
    asked(season(tmp_path), *STATES, "5/6/23", "1", "y")
    methods = {method.name: method.also for method in read_settings(tmp_path).methods}
    assert methods == {"rip": ("Ripped",), "spray": ("spraying",)}


def test_with_no_name_joined_the_question_stays_open(tmp_path: Path) -> None:
    asked(season(tmp_path), *STATES, "5/6/23", "1", "n", "n", "n")
    assert read_settings(tmp_path).methods == ()
    assert '#? also = ["Ripped"]' in (tmp_path / "study.toml").read_text(encoding="utf-8")


DAY, MONTH_DAY = "year-month-day, such as 2022-06-15", "month-day, such as 12-01"


@pytest.mark.parametrize(
    ("asks", "said", "order", "day"),
    [
        (DAY, "2022-06-15", None, "2022-06-15"),
        (DAY, "5 Jun 24", None, "2024-06-05"),
        (DAY, "5th June 2024", "month-first", "2024-06-05"),
        (DAY, "5/6/24", "day-first", "2024-06-05"),
        (DAY, "5/6/24", "month-first", "2024-05-06"),
        (DAY, "5.6.2024", "day-first", "2024-06-05"),
        (DAY, "25/6/24", None, "2024-06-25"),
        (MONTH_DAY, "12-01", "day-first", "12-01"),
        (MONTH_DAY, "1 Dec", None, "12-01"),
        (MONTH_DAY, "December 1", None, "12-01"),
        (MONTH_DAY, "31/3", "day-first", "03-31"),
        (MONTH_DAY, "29 Feb", None, "02-29"),
    ],
)
def test_a_day_is_read_as_the_sheets_write_theirs(asks, said, order, day) -> None:
    typed = typed_as(Line(0, "key", '""', asks), said, order)
    assert (json.loads(typed.value), typed.why) == (day, "")


@pytest.mark.parametrize(
    ("asks", "said", "why"),
    [
        (DAY, "5/6/24", "may be 5 June 2024 or 6 May 2024: write the month as a word"),
        (DAY, "45000", "is no year-month-day"),
        (DAY, "30 Feb 2024", "is no year-month-day"),
        (DAY, "June 2024", "is no year-month-day"),
        (MONTH_DAY, "1/12", "is no month-day"),
        (MONTH_DAY, "December", "is no month-day"),
    ],
)
def test_what_may_be_two_days_or_none_is_asked_again(asks, said, why) -> None:
    typed = typed_as(Line(0, "key", '""', asks), said, None)
    assert typed.value == ""
    assert why in typed.why


@pytest.mark.parametrize(
    ("written", "day"),
    [("5 Jun 24", "2024-06-05"), ("June 5, 2024", "2024-06-05"), ("2024-06-05", "2024-06-05")],
)
def test_a_day_in_the_study_file_may_have_its_month_as_a_word(tmp_path: Path, written: str, day: str) -> None:
    asked(season(tmp_path), *STATES)
    file = tmp_path / "study.toml"
    text = file.read_text(encoding="utf-8")
    line = next(own for own in text.split("\n") if own.startswith('#? planted_date = ""'))
    file.write_text(text.replace(line, f'planted_date = "{written}"'), encoding="utf-8")
    assert read_settings(tmp_path).rules.planted_date == day
    file.write_text(text.replace(line, 'planted_date = "5/6/24"'), encoding="utf-8")
    with pytest.raises(survivor.SurvivorError, match="month as a word"):
        read_settings(tmp_path)


def test_what_is_not_used_is_named_with_its_reason(tmp_path: Path) -> None:
    season(tmp_path)
    (tmp_path / "map.pdf").write_bytes(b"%PDF")
    (tmp_path / "~$visits.xlsx").write_bytes(b"x")
    (tmp_path / "contacts.csv").write_text("Name,Phone\nA,1\nB,2\n", encoding="utf-8")
    (tmp_path / "broken.xlsx").write_bytes(b"PK not a workbook")
    (tmp_path / "reports").mkdir()
    run = CliRunner().invoke(app, ["new", str(tmp_path), "--from-sheets"])
    told = [
        line.removeprefix("Not used: ") for line in run.output.split("\n") if line.startswith("Not used: ")
    ]
    named = {line.partition(": ")[0].partition(" was not")[0]: line for line in told}
    assert sorted(named) == ["broken.xlsx", "contacts.csv", "map.pdf", "~$visits.xlsx"]
    assert "neither visits nor plots" in named["contacts.csv"]
    assert "no sheet by the ending of its name" in named["map.pdf"]
    assert "has the workbook open" in named["~$visits.xlsx"]
    assert len(named["broken.xlsx"]) > len("broken.xlsx was not understood: ")


def test_a_file_that_came_after_the_study_file_is_named_too(tmp_path: Path) -> None:
    asked(season(tmp_path), *STATES, "5/6/23", "1")
    (tmp_path / "more.csv").write_text("Site,Plot,Tag\nAlder,1,1\n", encoding="utf-8")
    assert "Not used: more.csv: nothing in study.toml names it" in asked(tmp_path)
