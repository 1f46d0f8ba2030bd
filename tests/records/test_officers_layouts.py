"""Workbooks as officers keep them: read right, or asked about where out of reach; none in silence."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest

import survivor
from survivor.proposing.proposal import propose
from survivor.records.visit_columns import visit_columns
from survivor.settings import read_settings
from tests.records.found_layouts import Case
from tests.records.officers_layouts import CASES
from tests.records.read_back import read
from tests.slow import some_slow

# Out of reach, and said to be: a file or tab that tells of each tag its state alone, states told by colour, a
# cross table of blocks and preparations, a list of the dead with the days on which they were found.
REFUSED = {
    "a_list_of_tags_and_files_of_visits": "no column was understood as plot",
    "a_tab_a_year": "no column was understood as plot",
    "told_by_colour": "where colours tell the states, write them as words",
    "a_cross_table_a_visit": "no sheet here seems to hold visits",
    "the_day_found_dead": "no column was understood as date",
}


@pytest.mark.parametrize(
    "make",
    some_slow(CASES, 2),
    ids=lambda make: make.__name__,
)
def test_a_workbook_of_an_officer(make: Callable[[], Case], tmp_path: Path) -> None:
    said, why = read(make(), tmp_path)
    assert said == ("asked" if make.__name__ in REFUSED else "right"), why
    assert REFUSED.get(make.__name__, "") in why


COUNTS = """
[study]
name = "counts"
purpose = "check a target"
[records]
kind = "counts"
[[records.sheets]]
file = "visits.csv"
[rules]
planted_date = "2023-06-20"
"""


def test_a_count_with_another_word_than_alive_is_named(tmp_path: Path) -> None:
    """17 alive and 18 plants are numbers; 3 dead under Alive is none."""
    rows = ["plot,planted,date,alive", "1,18 plants,2023-08-01,17 alive", "1,18 plants,2023-11-01,3 dead"]
    (tmp_path / "visits.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    (tmp_path / "study.toml").write_text(COUNTS, encoding="utf-8")
    records = survivor.load(tmp_path).records
    stopped = records.findings[records.findings["severity"] == "stop"]
    assert stopped[["row", "value"]].to_numpy().tolist() == [[3, "3 dead"]]
    assert records.visits["alive"].tolist() == [17]
    assert records.plots["planted"].tolist() == [18]
    said = records.problems.loc[records.problems["code"] == "how-read", "what"].str.cat(sep=" ")
    assert "17 alive are read as 17" in said


def test_counts_that_nobody_can_read_are_not_called_blank(tmp_path: Path) -> None:
    rows = ["plot,planted,date,alive", "1,18,2023-08-01,most", "1,18,2023-11-01,some"]
    (tmp_path / "visits.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    (tmp_path / "study.toml").write_text(COUNTS, encoding="utf-8")
    nothing = survivor.load(tmp_path).records.nothing
    assert nothing is not None
    assert "no record can be used" in str(nothing)
    assert "this is not a number of seedlings" in str(nothing)


@pytest.mark.parametrize("head", ["Alive {day} / {of}", "{of} alive {day}"])
def test_a_sum_over_species_is_no_species(head: str) -> None:
    names = ("Olive", "Live oak", "Total")
    heads = ["Plot", *(head.format(day=day, of=of) for day in ("4/8/23", "18/10/23") for of in names)]
    visits, _ = visit_columns(heads, "day-first")
    told = [(visit.value, visit.species) for visit in visits]
    assert told == [(1, "Olive"), (2, "Live oak"), (4, "Olive"), (5, "Live oak")]


def test_a_total_that_stands_alone_is_the_count() -> None:
    visits, _ = visit_columns(["Plot", "Total alive 4/8/23", "Total alive 18/10/23"], "day-first")
    assert [visit.value for visit in visits] == [1, 2]


def test_a_first_visit_on_the_planting_day_asks_for_no_milestone_of_day_0(tmp_path: Path) -> None:
    rows = ["Site,Plot,Prep,Planted,Date,No. planted,Alive"]
    rows += [f"Rise,{plot},rip,20/6/2023,20/6/2023,20,20" for plot in range(1, 5)]
    (tmp_path / "counts.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    text = propose(tmp_path)
    days = [own["day"] for own in tomllib.loads(text)["milestones"]]
    assert days
    assert min(days) > 1
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    read_settings(tmp_path)
