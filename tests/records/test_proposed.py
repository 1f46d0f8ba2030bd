"""A study file proposed from untidy sheets: titles, a sheet a site, cells written once, keys, sums."""

from __future__ import annotations

import io
from pathlib import Path

import pandas as pd
import pytest
import xlsxwriter

import survivor
from survivor.records.study_text import propose_study
from survivor.records.visit_columns import visit_columns

HEADER = ["Peg no.", "Block", "Prep", "Clear radius (cm)"]
DAYS = {"Upper": ["22/8/23", "13/10/23"], "Lower": ["28 Aug", "20 Oct"]}


def book(sheets: dict[str, list[list[str]]]) -> bytes:
    held = io.BytesIO()
    made = xlsxwriter.Workbook(held, {"in_memory": True})
    for name, rows in sheets.items():
        sheet = made.add_worksheet(name)
        for number, row in enumerate(rows):
            for column, cell in enumerate(row):
                sheet.write_string(number, column, cell)
    made.close()
    return held.getvalue()


def site(name: str) -> list[list[str]]:
    """Two blocks of two preparations, written once; a sum and a key below."""
    rows = [[f"{name} - seedling checks"], ["Planted 12/07/2023"], [], [*HEADER, *DAYS[name]]]
    for block in "AB":
        for prep, radius in (("spray & rip" if block == "A" else "spray and rip", "60"), ("nothing", "0")):
            for peg in range(3):
                once = [block, prep, radius] if peg == 0 else ["", "", ""]
                rows.append([f"{name[0]}{len(rows)}", *once, "OK", "x" if peg == 1 else "OK"])
    rows += [["", "", "Alive:", "", "12", "8"], [], ["x dead, OK alive"]]
    return rows


@pytest.fixture
def study(tmp_path: Path) -> survivor.Study:
    (tmp_path / "pegs.xlsx").write_bytes(book({name: site(name) for name in DAYS}))
    (tmp_path / "study.toml").write_text(propose_study(tmp_path), encoding="utf-8")
    return survivor.load(tmp_path)


def test_a_sheet_a_site_with_titles_is_read_as_it_stands(study):
    visits = study.records.visits
    assert set(visits["site"]) == {"Upper", "Lower"}
    assert len(study.records.plots) == 8
    assert set(study.records.plots["method"]) <= {"spray & rip", "spray and rip", "nothing"}
    assert study.records.plots["method"].nunique() == 2
    days = (
        visits.groupby("site")["date"].unique().map(lambda own: sorted(day.date().isoformat() for day in own))
    )
    assert days.to_dict() == {"Upper": ["2023-08-22", "2023-10-13"], "Lower": ["2023-08-28", "2023-10-20"]}
    assert (study.records.plots["planted_date"].astype(str) == "2023-07-12").all()
    assert (visits["state"] == "dead").sum() == 8
    assert set(study.accounts["code"]) >= {"total-row", "note-row"}
    assert not (study.problems["severity"] == "stop").any()


@pytest.mark.parametrize(
    ("headers", "days"),
    [
        (["Tag", "8.8.23", "26.10.23"], ["2023-08-08", "2023-10-26"]),
        (["Tag", "Alive 15 Oct", "Alive 19.4.25"], ["2024-10-15", "2025-04-19"]),
        (["Tag", "Aug visit (29/8/24)", "6 wks"], ["2024-08-29", None]),
        (["Tag", "date 1", "1st check", "date 2", "last check"], [None, None]),
    ],
)
def test_headings_of_visits(headers, days):
    visits, _ = visit_columns(headers, planted=pd.Timestamp("2024-07-18"))
    assert [visit.day for visit in visits] == days


def test_a_count_of_the_dead_is_none_of_the_living():
    visits, _ = visit_columns(["Plot", "Counts / 2022-08-24 / Alive", "Counts / 2022-08-24 / Dead"])
    assert [visit.value for visit in visits] == [1]


def test_a_site_called_total_creek_stays(tmp_path):
    rows = ["site,plot,method,planted,planted_date,visit,date,alive"]
    rows += [f"Total Creek,P{n},rip,10,2023-07-01,v1,2023-09-01,8" for n in range(3)]
    (tmp_path / "counts.csv").write_text("\n".join([*rows, "Total,,,30,,,,24"]), encoding="utf-8")
    (tmp_path / "study.toml").write_text(propose_study(tmp_path), encoding="utf-8")
    study = survivor.load(tmp_path)
    assert set(study.records.visits["site"]) == {"Total Creek"}
    assert study.accounts["record"].tolist().count("total row") == 1


def test_a_tag_that_lives_on_after_replanting_is_asked_about(tmp_path):
    rows = ["site,plot,method,planted_date,tag,date,state,notes"]
    for tag, states in {"1": ("alive", "dead", "alive"), "2": ("alive", "alive", "dead")}.items():
        for day, state in zip(("2023-08-01", "2023-10-01", "2023-12-01"), states, strict=True):
            note = "replanted" if tag == "1" and state == "dead" else ""
            rows.append(f"A,P1,rip,2023-07-01,{tag},{day},{state},{note}")
    (tmp_path / "tags.csv").write_text("\n".join(rows), encoding="utf-8")
    (tmp_path / "study.toml").write_text(propose_study(tmp_path), encoding="utf-8")
    study = survivor.load(tmp_path)
    asked = study.problems[study.problems["code"] == "replant-unclear"]
    assert asked["row"].tolist() == [4]
    assert asked["severity"].tolist() == ["stop"]


def test_a_site_blank_at_a_visit_that_others_have_is_asked_about(tmp_path):
    rows = ["site,plot,method,planted_date,tag,2023-09-01,2023-12-01"]
    rows += [f"{name},P1,rip,2023-07-01,{tag},alive,{last}" for name, tag, last in
             (("A", "1", "alive"), ("A", "2", "dead"), ("B", "3", ""), ("B", "4", ""))]  # fmt: skip
    (tmp_path / "tags.csv").write_text("\n".join(rows), encoding="utf-8")
    (tmp_path / "study.toml").write_text(propose_study(tmp_path), encoding="utf-8")
    problems = survivor.load(tmp_path).problems
    assert problems.loc[problems["code"] == "site-blank", "severity"].tolist() == ["check"]


def proposed(folder: Path, **tables: str) -> survivor.Study:
    for name, text in tables.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    text = propose_study(folder) + '\n[rules]\ntagged = "at planting"\n'
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return survivor.load(folder)


WIDE = "site,plot,method,planted_date,tag,2023-08-01,2023-10-01,2023-12-01,notes\n"


def test_what_lives_under_a_tag_after_replanting_is_infill(tmp_path):
    rows = "A,P1,rip,2023-07-01,1,OK,dead - replanted,OK,\nA,P1,rip,2023-07-01,2,OK,OK,OK,\n"
    study = proposed(tmp_path, tags=WIDE + rows)
    intervals = study.intervals.set_index(["tag", "cohort"])
    assert intervals.loc[("1", "planting"), "died"].tolist() == [0, 1]
    assert intervals.loc[("1", "infill"), ["stop_day", "died"]].to_numpy().tolist() == [[61, 0]]
    assert not (study.problems["severity"] == "stop").any()


def test_a_row_of_its_own_for_a_replant_is_no_first_plant(tmp_path):
    rows = "A,P1,rip,2023-07-01,1,OK,dead,dead,\nA,P1,rip,2023-07-01,1R,,,OK,\n"
    study = proposed(tmp_path, tags=WIDE + rows + "A,P1,rip,2023-07-01,2,OK,OK,OK,\n")
    assert study.records.plots["planted"].tolist() == [2]
    asked = study.problems[study.problems["code"] == "replant-row"]
    assert asked["severity"].tolist() == ["check"]


def test_a_plant_that_lives_on_beside_a_word_of_replanting_is_asked_about(tmp_path):
    rows = "A,P1,rip,2023-07-01,1,OK,OK,OK,replanted\nA,P1,rip,2023-07-01,2,OK,OK,OK,to be replanted\n"
    study = proposed(tmp_path, tags=WIDE + rows)
    assert study.problems.loc[study.problems["code"] == "replant-unclear", "row"].tolist() == [2]


def test_a_row_that_tells_a_state_is_no_remark(tmp_path):
    rows = "A,P1,rip,2023-07-01,1,OK,OK,OK,\n,,,,,,dead,,\nOnly a remark of the crew,,,,,,,,\n"
    study = proposed(tmp_path, tags=WIDE + rows)
    fates = study.accounts.groupby("row")["code"].agg(set)
    assert "note-row" not in fates[3]
    assert fates[4] == {"note-row"}


def test_a_plot_of_one_plant_beside_plots_of_many_is_asked_about(tmp_path):
    rows = [f"A,{'P1' if n else 'P11'},rip,2023-07-01,{n},OK,OK,OK," for n in range(12)]
    rows += [f"A,P2,rip,2023-07-01,{n},OK,OK,OK," for n in range(20, 32)]
    study = proposed(tmp_path, tags=WIDE + "\n".join(rows) + "\n")
    assert study.problems.loc[study.problems["code"] == "small-plot", "row"].tolist() == [2]


@pytest.mark.parametrize(
    ("head", "cells", "counted"),
    [
        ("dead V1 1/8/23,dead V2 20/10/23", "2,5", "dead to date"),
        ("dead since last visit 1/8/23,dead since last visit 20/10/23", "2,3", "dead since the last visit"),
        ("% alive 1/8/23,% alive 20/10/23", "90,75", "alive per cent"),
    ],
)
def test_the_living_are_reckoned_from_dead_and_shares(tmp_path, head, cells, counted):
    table = f"site,plot,method,planted_date,planted,{head}\n"
    table += "".join(f"A,P{n},rip,2023-07-01,20,{cells}\n" for n in range(3))
    study = proposed(tmp_path, counts=table)
    assert f'counted = "{counted}"' in (tmp_path / "study.toml").read_text("utf-8")
    assert study.records.visits["alive"].tolist() == [18, 15] * 3
    assert "living-reckoned" in set(study.problems["code"])


def test_a_share_that_is_no_number_of_plants_is_named(tmp_path):
    table = "site,plot,method,planted_date,planted,% alive 1/8/23,% alive 20/10/23\n"
    table += "A,P1,rip,2023-07-01,20,90,72\nA,P2,rip,2023-07-01,20,90,75\n"
    study = proposed(tmp_path, counts=table)
    assert study.problems.loc[study.problems["code"] == "share-of-no-number", "value"].tolist() == ["72"]


def test_a_sheet_of_records_that_nothing_reads_is_named(tmp_path):
    (tmp_path / "pegs.xlsx").write_bytes(book({name: site(name) for name in DAYS}))
    text = propose_study(tmp_path)
    kept = text[: text.index("[[records.sheets]]", text.index("[[records.sheets]]") + 1)]
    (tmp_path / "study.toml").write_text(kept, encoding="utf-8")
    problems = survivor.load(tmp_path).problems
    assert problems.loc[problems["code"] == "sheet-not-read", "value"].tolist() == ["Lower"]
