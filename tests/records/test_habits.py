"""Habits of crews, each in a small sheet: what a heading, a key or a title says is what is read.

What each sheet means was written down with it, by hand; common practice, no source.
"""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

import pandas as pd
import pytest

import survivor
from survivor.files.cells import one_date
from survivor.proposing.proposal import propose, write_proposal
from survivor.proposing.reading import what_is_read
from survivor.records.sheet_days import planting_day
from survivor.records.states_met import explained
from survivor.records.tables import plot_labels
from survivor.records.ticks import NO_WORKS, works_ticked
from survivor.records.visit_columns import visit_columns
from survivor.report.checked.text import lines_of_check
from survivor.settings.questions import answered, questions_in
from tests.records.sheetfiles import as_xlsx

PLANTED = pd.Timestamp("2024-07-02")


@pytest.mark.parametrize(
    ("text", "day"),  # names of months as in the Unicode CLDR, from memory
    [
        ("15 août 2023", "2023-08-15"),
        ("3 févr. 2024", "2024-02-03"),
        ("1er mars 2023", "2023-03-01"),
        ("12. Okt. 2023", "2023-10-12"),
        ("5 de mayo de 2024", "2024-05-05"),
        ("9 dicembre 2023", "2023-12-09"),
        ("3 Setaria 2023", None),
    ],
)
def test_a_day_in_another_language(text, day):
    assert one_date(text, "day-first") == day


@pytest.mark.parametrize(
    ("headers", "days"),
    [
        (["Alive Aug 19", "Alive Nov 25", "Alive Apr 2"], ["2024-08-19", "2024-11-25", "2025-04-02"]),
        (["Sept 14th", "Dec 14th"], ["2024-09-14", "2024-12-14"]),
        (["15 août", "3 déc"], ["2024-08-15", "2024-12-03"]),
        (["Alive Aug 24", "Alive Feb 25"], [None, None]),  # months of years
        (["30 DAP", "120 DAP"], [None, None]),
    ],
)
def test_days_of_visits(headers, days):
    visits, _ = visit_columns(headers, planted=PLANTED)
    assert [visit.day for visit in visits] == days


def test_gaps_and_deaths_are_no_count_of_the_living():
    visits, _ = visit_columns(["Gaps 14/9/24", "Gaps 18/1/25"], planted=PLANTED)
    assert [visit.counted for visit in visits] == ["dead", "dead"]


def test_the_planting_day_over_the_numbers_of_each_species_is_no_visit():
    heads = [
        f"{top} / {species}" for top in ("Planted 2/7/24", "9 Sep 2024", "6 Dec 2024") for species in "AB"
    ]
    visits, _ = visit_columns(heads, planted=PLANTED)
    assert [(visit.day, visit.species, visit.planted) for visit in visits] == [
        ("2024-09-09", "A", 0), ("2024-09-09", "B", 1), ("2024-12-06", "A", 0), ("2024-12-06", "B", 1),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("titles", "day"),
    [
        (["Date: 14 August 2023 Planted 30/6/2023"], "2023-06-30"),
        (["Planted 30/6/2023, counted 14/8/2023"], "2023-06-30"),
        (["planted: Head 29/6/2023, Foot 11/7/2023"], None),
    ],
)
def test_the_planting_day_beside_that_of_a_visit(titles, day):
    assert planting_day(titles, "day-first") == day


@pytest.mark.parametrize(
    ("word", "key", "state"),
    [
        ("R", "A = alive, D = dead, R = dead, replaced with a new seedling that day", "replanted"),
        ("D", "D = dead, R = replanted", "dead"),
        ("1", "0 = dead, 1 = nearly dead, 5 = excellent", None),
        ("0", "0 = dead, 1 = nearly dead, 5 = excellent", "dead"),
        ("A", "P = present, A = absent", "missing"),
    ],
)
def test_a_key(word, key, state):
    assert explained(word, [key]) == state


def test_a_title_that_names_a_plot():
    assert plot_labels("Plot 3 - ripped (Block E)") == {"plot": "3", "block": "E"}
    assert plot_labels("Plot survey of the creek") == {}
    assert plot_labels("Block plan, rep sheet") == {}


def test_works_that_are_ticked_name_the_preparation():
    ripped, sprayed = (pd.Series(list(text), dtype=object) for text in ("YNYN", "YYNN"))
    told = works_ticked([ripped, sprayed], ["Ripped", "Sprayed"])
    assert told is not None
    assert told.tolist() == ["Ripped + Sprayed", "Sprayed", "Ripped", NO_WORKS]
    assert works_ticked([ripped, pd.Series(list("AABB"), dtype=object)], ["Ripped", "Crew"]) is None


# ---- whole sheets: states are those of eight plants of four plots, two visits --------------

DAYS = [dt.date(2023, 9, 5), dt.date(2024, 1, 9)]
ALIVE = {"bare": 1, "mulch": 3}  # of four plants each, at the last visit
LIVES = ["A A", "A D", "A A", "A A", "A A", "A D", "A D", "D D"]  # two plants a plot
PLOTS = [("N", "1", "mulch"), ("N", "2", "bare"), ("S", "3", "mulch"), ("S", "4", "bare")]
HEADS = ["5/9/2023", "9/1/2024"]


def plants() -> list[tuple[str, str, str, str, list[str]]]:
    """Site, plot, preparation, tag and states of each plant."""
    order = [PLOTS[0], PLOTS[0], PLOTS[2], PLOTS[2], PLOTS[1], PLOTS[1], PLOTS[3], PLOTS[3]]
    return [
        (*plot, str(n + 1), life.split()) for n, (plot, life) in enumerate(zip(order, LIVES, strict=True))
    ]


def rows(words: dict[str, str]) -> list[list[str]]:
    return [[site, plot, prep, tag, *(words[s] for s in seen)] for site, plot, prep, tag, seen in plants()]


def stacked() -> list[list[str]]:
    out = [["Kings Hill, planted 3/7/2023"], [""]]
    for _, plot, prep in PLOTS:
        out += [[f"Plot {plot}", "", prep], ["Tag", *HEADS]]
        out += [[tag, *seen] for _, own, _, tag, seen in plants() if own == plot]
        out += [[""]]
    return out


AD = {"A": "A", "D": "D"}
KEYS = ["Site", "Plot", "Prep", "Tag"]
TITLE = ["Planted 3/7/2023"]
SHEETS = {
    "scores": [TITLE, ["Vigour: 0 = dead, 1 = nearly dead, 5 = excellent"],
               [*KEYS, *(f"Vigour {day}" for day in HEADS)], *rows({"A": "4", "D": "0"})],
    "present": [TITLE, ["P = present, A = absent"], [*KEYS, *HEADS], *rows({"A": "P", "D": "A"})],
    "present without a key": [TITLE, [*KEYS, *HEADS], *rows({"A": "P", "D": "A"})],
    "asked for the dead": [TITLE, [*KEYS, *(f"Dead? {day}" for day in HEADS)], *rows({"A": "N", "D": "Y"})],
    "mortality": [TITLE, [*KEYS, *(f"Mortality {day}" for day in HEADS)], *rows({"A": "0", "D": "1"})],
    "another word for the site": [TITLE, ["Run", *KEYS[1:], *HEADS], *rows(AD)],
    "another word for the preparation": [TITLE, ["Site", "Plot", "Regime", "Tag", *HEADS], *rows(AD)],
    "another word for the tag": [TITLE, ["Site", "Plot", "Prep", "Cane", *HEADS], *rows(AD)],
    "ticked works": [TITLE, ["Site", "Plot", "Mulch", "Tag", *HEADS],
                     *([s, p, "Y" if m == "mulch" else "N", *rest] for s, p, m, *rest in rows(AD))],
    "coded": [TITLE, ["Site", "Plot", "Trt", "Tree ID", *HEADS],
              *([s, p, "2" if m == "mulch" else "1", *rest] for s, p, m, *rest in rows(AD))],
    "a table a plot": stacked(),
    "only deaths are written": [TITLE, [*KEYS, *HEADS], *rows({"A": "", "D": "dead"})],
    "only the living are written": [TITLE, [*KEYS, *HEADS], *rows({"A": "OK", "D": ""})],
    "days without a year": [TITLE, [*KEYS, "5/9", "19/1"], *rows(AD)],
    "rows and positions": [TITLE, ["Shore", "Row", "Treat", "Pos", *HEADS],
                           *([s, str((int(p) + 1) % 2 + 1), *rest] for s, p, *rest in sorted(rows(AD)))],
}  # fmt: skip
NAMES = {"mulch": "mulch", "Mulch": "mulch", NO_WORKS: "bare", "1": "bare", "2": "mulch", "bare": "bare"}
AT_PLANTING = ("tagged", '"at planting"')
ANSWERS = {sheet: {AT_PLANTING} for sheet in SHEETS} | {
    "only deaths are written": {AT_PLANTING, ("blank", '"alive"')},
    "only the living are written": {AT_PLANTING, ("blank", '"dead"')},
}
NAMED = {
    "rows and positions",
    "another word for the site",
    "another word for the preparation",
    "ticked works",
}


@pytest.mark.slow
@pytest.mark.parametrize("sheet", SHEETS)
def test_a_sheet(tmp_path: Path, sheet: str) -> None:
    (tmp_path / "sheet.xlsx").write_bytes(as_xlsx([list(map(str, row)) for row in SHEETS[sheet]], "Trees"))
    text = propose(tmp_path)
    said = {
        line.place: line.value
        for question in questions_in(text)
        for part in question.parts
        for line in part
        if (line.key, line.value) in ANSWERS[sheet]
    }
    (tmp_path / "study.toml").write_text(answered(text, said), encoding="utf-8")
    study = survivor.load(tmp_path)
    last = study.records.visits[study.records.visits["date"] >= pd.Timestamp(DAYS[-1])]
    alive = last["method"].astype(str).map(NAMES)[last["state"] == "alive"].value_counts()
    assert alive.to_dict() == ALIVE
    visits = study.records.visits
    assert len(visits[["site", "plot", "tag"]].drop_duplicates()) == len(LIVES)
    assert visits["site"].nunique() == (1 if sheet == "a table a plot" else 2)
    assert len(visits[["site", "plot"]].drop_duplicates()) == len(PLOTS)
    assert ("assumed" in set(study.problems["code"])) >= (sheet in NAMED)


def test_what_the_crew_may_have_meant_by_a_blank_is_asked(tmp_path: Path) -> None:
    (tmp_path / "sheet.xlsx").write_bytes(as_xlsx(SHEETS["only deaths are written"], "Trees"))
    text = propose(tmp_path)
    assert '#? blank = "alive"' in text
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    problems = survivor.load(tmp_path).problems
    told = problems[problems["code"] == "blank-untold"]
    assert told["severity"].tolist() == ["check"]
    assert told["what"].item().startswith("no cell says alive, and 11 are blank")

    (tmp_path / "study.toml").write_text(
        text.replace('#? blank = "alive"', 'blank = "alive"'), encoding="utf-8"
    )
    study = survivor.load(tmp_path)
    assert (study.records.visits["state"] == "alive").sum() == 11
    assert {"blank-alive"} == set(study.problems["code"]) & {"blank-alive", "blank-untold"}


def test_the_proposal_counts_records_as_the_check_does(tmp_path: Path) -> None:
    total = ["Total", "", "", "", "7", "4"]
    (tmp_path / "sheet.xlsx").write_bytes(
        as_xlsx([["Planted 3/7/2023"], [*KEYS, *HEADS], *rows(AD), total], "Trees")
    )
    write_proposal(tmp_path, propose(tmp_path))
    said = re.search(r"of ([\d,]+) records", what_is_read(tmp_path))
    study = survivor.load(tmp_path)
    first = next(iter(lines_of_check(study.records, "x", every=False)))
    assert said is not None
    assert first == f"x: {said[1]} records read"


def test_a_radius_in_metres_among_centimetres_is_asked_about(tmp_path: Path) -> None:
    table = [
        [*row, cm] for row, cm in zip(rows(AD), ["60", "60", "0.5", "0.5", "0", "0", "0", "0"], strict=True)
    ]
    (tmp_path / "sheet.xlsx").write_bytes(
        as_xlsx([["Planted 3/7/2023"], [*KEYS, *HEADS, "Clear radius (cm)"], *table], "Trees")
    )
    text = propose(tmp_path)
    question = next(own for own in questions_in(text) if own.parts[0][0].key == "metres_in_centimetres")
    assert "2 cells are so small" in question.text
    radii = {}
    for value in ("true", "false"):
        line = next(own for own in question.parts[0] if own.value == value)
        (tmp_path / "study.toml").write_text(answered(text, {line.place: value}), encoding="utf-8")
        study = survivor.load(tmp_path)
        radii[value] = set(study.records.plots["weed_free_radius_m"].fillna(-1))
        code = "radius-read-in-metres" if value == "true" else "radius-in-metres"
        assert code in set(study.problems["code"])
    assert radii == {"true": {0.6, 0.5, 0.0}, "false": {0.6, -1.0, 0.0}}
