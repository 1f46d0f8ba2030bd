"""Seedlings that are told alike are looked at once; what is found is what looking at each of them finds."""

from __future__ import annotations

import csv
import random
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from survivor.files import datasets
from survivor.files.datasets import Cells
from survivor.records import book, registers
from survivor.records.folding import Named, fold
from survivor.records.registers import read_register
from survivor.records.times import TIMES, middle_by, often, share_by
from survivor.settings import read_settings
from tests.records.registering import RULES, SITES, TAGGED, a_study, by_cause, summed, tidy

Rows = list[list[str]]
QUICK, ALL = range(1), range(1, 40)
UNTOLD = ("Notes", "Observer", "Height (cm)", "Weed cover (%)")


@pytest.fixture(scope="module")
def told() -> tuple[list[str], Rows]:
    with (TAGGED / "visits.csv").open(newline="") as sheet:
        head, *every = csv.reader(sheet)
    return head, [row for row in every if row[0] in SITES]


@pytest.fixture(autouse=True)
def small_parts(monkeypatch):
    monkeypatch.setattr(registers, "_A_PART", 3_000)
    monkeypatch.setattr(datasets, "_BLOCK", 40_000)


def bare(rng: random.Random, at: dict[str, int], kept: Rows) -> Rows:
    """Visits without measures, and in some studies without names."""
    rows = [list(row) for row in kept]
    letters, unnamed = rng.random() < 0.5, rng.random() < 0.4
    for row in rows:
        for name in UNTOLD:
            row[at[name]] = "" if rng.random() < 0.999 else row[at[name]]
        tag = row[at["Tag"]]
        row[at["Tag"]] = f"T{tag}" if letters else tag.lstrip("0")
        row[at["Visit"]] = "" if unnamed else row[at["Visit"]]
    return rows


def kinds(rng: random.Random, at: dict[str, int], rows: Rows) -> list[Callable[[list[str]], None]]:
    """Slips, each made in a row that is given."""
    tag, state, date, plot = (at[name] for name in ("Tag", "State", "Date", "Plot"))

    def change(place: int, value: Callable[[str], str], whole: bool) -> Callable[[list[str]], None]:
        def do(row: list[str]) -> None:
            mine = [other for other in rows if other[: tag + 1] == row[: tag + 1]]
            for own in mine if whole else [row]:
                own[place] = value(own[place])

        return do

    def another(row: list[str]) -> None:
        rows.append([*row[:tag], f"9{rng.randrange(999):03d}", *row[tag + 1 :]])

    return [
        lambda row: rows.append(list(row)),
        lambda row: rows.append([*row[:state], "D", *row[state + 1 :]]),
        another,
        change(state, lambda _: "Aliv", False),
        change(state, lambda _: "replanted", False),
        change(state, lambda _: "", False),
        change(date, lambda _: "31/02/2022", False),
        change(date, lambda _: "2031-01-01", False),
        change(tag, lambda own: f"0{own}", True),
        change(tag, lambda own: f"0{own}", False),
        change(tag, lambda own: f"{own}R", False),
        change(tag, lambda _: rng.choice(rows)[tag], False),
        change(tag, lambda _: "", False),
        change(plot, str.lower, False),
        change(plot, lambda _: "P77", True),
    ]


def slips(rng: random.Random, head: list[str], kept: Rows) -> Rows:
    """Visits with slips of every kind that may touch one record, a seedling, a plot or a visit."""
    at = {name: place for place, name in enumerate(head)}
    rows = bare(rng, at, kept)
    every = kinds(rng, at, rows)
    for _ in range(rng.randrange(12)):
        rng.choice(every)(rng.choice(rows))
    if rng.random() < 0.3:
        own = rng.choice(rows)[: at["Tag"]]
        for row in rows:
            if row[: at["Tag"]] == own and row[at["Visit"]] in ("3", "4"):
                row[at["Date"]] = "2022-06-01"  # before planting
    if rng.random() < 0.3:
        rng.shuffle(rows)
    return [head, *rows]


def same_as_at_once(folder: Path, rows: Rows) -> None:
    study = a_study(folder, rows, "visits.csv")
    settings = read_settings(study)
    whole, parts = book.read_sheets(study, settings, book.look_away), read_register(study, settings)
    by = list(whole.problems.columns)
    pd.testing.assert_frame_equal(
        parts.problems.sort_values(by, ignore_index=True), whole.problems.sort_values(by, ignore_index=True)
    )
    pd.testing.assert_frame_equal(tidy(parts.accounts), tidy(whole.accounts))
    for missing, unknown in RULES:
        ours, theirs = (summed(read.under(missing=missing, unknown=unknown)) for read in (parts, whole))
        pd.testing.assert_frame_equal(ours, theirs)
    pd.testing.assert_frame_equal(parts.plots, whole.plots)
    pd.testing.assert_frame_equal(parts.plants, whole.plants)
    pd.testing.assert_frame_equal(parts.rules, whole.rules)
    pd.testing.assert_series_equal(by_cause(parts), by_cause(whole))
    assert parts.sizes() == whole.sizes()
    assert whole.problems["code"].nunique() > 3


@pytest.mark.parametrize("seed", QUICK)
def test_what_is_found_of_one_is_found_of_all_alike(told, tmp_path, seed):
    same_as_at_once(tmp_path / "study", slips(random.Random(seed), *told))


@pytest.mark.slow
@pytest.mark.parametrize("seed", ALL)
def test_many_slips_are_found_as_when_each_is_looked_at(told, tmp_path, seed):
    same_as_at_once(tmp_path / "study", slips(random.Random(seed), *told))


def cells(*rows: str) -> Cells:
    """Rows of plot, tag, state and height, a letter each."""
    table = pd.DataFrame([["" if cell == "." else cell for cell in row.split()] for row in rows])
    coded = [pd.factorize(table[name]) for name in table.columns]
    columns = tuple((codes, np.array(texts, dtype=object)) for codes, texts in coded)
    return Cells(columns, np.arange(2, 2 + len(rows)), np.zeros(len(rows), dtype=int))


NAMED, NONE = Named((0,), 1, (3,)), np.empty(0, dtype=np.intp)


def test_one_stands_for_those_of_a_plot_that_are_told_alike():
    part = cells("a 1 A .", "a 2 A .", "b 3 A .", "a 4 D .", "a 1 D .", "a 2 D .", "b 3 D .", "a 4 D .")
    folded = fold(part, NAMED, NONE)
    assert folded.kept.tolist() == [0, 2, 3, 4, 6, 7]
    assert folded.times.tolist() == [2, 1, 1, 2, 1, 1]
    assert sorted(folded.tags["tag"]) == ["1", "2"]
    found = pd.DataFrame(
        {
            "record": [3, -1],
            "row": [6, -1],
            "code": ["reshoot", "how-read"],
            "word": ["tag", ""],
            "value": ["1", ""],
            "tag": ["1", ""],
        }
    )
    every = folded.of_all(found, np.array([3, -1]))
    own = every[every["code"] == "reshoot"]
    assert own[["row", "tag", "value"]].to_numpy().tolist() == [[6, "1", "1"], [7, "2", "2"]]
    assert len(every) == 3


@pytest.mark.parametrize(
    ("rows", "kept"),
    [
        (("a 1 A .", "a 2 A .", "a 02 A ."), 3),  # 02 may be 2, and 2 be 02
        (("a 1 A .", "a 2 A .", "a 2R A ."), 3),  # a plant put in later where 2 stood
        (("a 1 A .", "a 2 A 9", "a 3 A 9"), 3),  # heights are told of each
        (("a 01 A .", "a 02 A .", "a 03 A ."), 1),
        (("a T1 A .", "a T2 A .", "a t1 A ."), 3),
        (("a . A .", "a . A .", "b 1 A ."), 3),
        (("a 1 A .", "A 2 A .", "b 3 A ."), 3),  # a label spelt otherwise is told apart
    ],
)
def test_seedlings_that_may_be_read_otherwise_are_left_apart(rows, kept):
    assert len(fold(cells(*rows), NAMED, NONE).kept) == kept


def test_places_are_looked_at_singly_where_that_is_asked():
    part = cells("a 1 A .", "a 2 A .", "b 3 A .", "b 4 A .")
    folded = fold(part, NAMED, NONE)
    found = pd.DataFrame({"record": [0], "code": ["duplicate-record"]})
    singly = folded.to_look_at_singly(found, np.array([0]))
    again = fold(part, NAMED, singly)
    assert again.times.tolist() == [1, 1, 2]


def test_counts_shares_and_middles_are_those_of_the_rows_written_out():
    rng = np.random.default_rng(7)
    times = rng.integers(1, 6, 60)
    rows = pd.DataFrame(
        {
            "place": rng.choice(list("abc"), 60),
            "word": rng.choice(list("xyz"), 60),
            "date": pd.Timestamp("2022-06-01") + pd.to_timedelta(rng.integers(0, 40, 60), unit="D"),
            "share": np.where(rng.random(60) < 0.2, np.nan, rng.random(60)),
        }
    )
    every = rows.loc[rows.index.repeat(times)].reset_index(drop=True)
    folded = rows.assign(**{TIMES: times})
    assert often(folded, "word").to_dict() == every["word"].value_counts().to_dict()
    pd.testing.assert_series_equal(
        middle_by(folded, ["place", "word"], "date", times), every.groupby(["place", "word"])["date"].median()
    )
    shares = share_by(folded["share"], folded["place"], times)
    assert shares.groupby(folded["place"]).first().to_numpy() == pytest.approx(
        every.groupby("place")["share"].mean().to_numpy()
    )
