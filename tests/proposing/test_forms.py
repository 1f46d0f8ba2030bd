"""Printed forms, cards and titles: which lines hold records, where a table ends, which day a title tells."""

from __future__ import annotations

from pathlib import Path

import pytest

import survivor
from survivor.proposing.proposal import propose
from survivor.records.visit_columns import days_in
from tests.records.sheetfiles import as_csv

DAYS = ("14/8/2023", "20/11/2023", "9/4/2024")
STATES = ("A,A,A", "A,D,D", "A,A,M", "A,A,A")


def loaded(folder: Path, rows: list[list[str]]) -> survivor.Study:
    (folder / "seen.csv").write_bytes(as_csv(rows))
    (folder / "study.toml").write_text(propose(folder), "utf-8")
    return survivor.load(folder)


def plants(study: survivor.Study) -> dict[tuple[str, str], list[str]]:
    """Plot and preparation -> tags of the seedlings that are read."""
    one = study.records.visits.drop_duplicates(["plot", "method", "tag"])
    return one.groupby(["plot", "method"], observed=True)["tag"].apply(list).to_dict()


def form(unlooked: str = "") -> list[list[str]]:
    """Four plots of five lines with printed tags, the last of them not used; plots are written once."""
    rows = [["Home, planted 1/6/2023"], ["Line", "Plot", "Prep", "Tag", *DAYS]]
    for plot in range(1, 5):
        for n, states in enumerate([*STATES, ""]):
            keys = [f"P{plot}", ("rip", "mound")[plot % 2]] if n == 0 else ["", ""]
            seen = [""] * 3 if f"P{plot}" == unlooked or not states else states.split(",")
            rows.append([str(len(rows) - 1), *keys, f"T{len(rows) - 1:02}", *seen])
    return [*rows, ["", "", "", "", "", "", ""], ["Counted by J and P"]]


def test_a_printed_line_without_states_below_the_records_of_its_plot_is_no_seedling(tmp_path: Path) -> None:
    study = loaded(tmp_path, form())
    assert plants(study) == {
        (f"P{plot}", ("rip", "mound")[plot % 2]): [f"T{5 * plot - 4 + n:02}" for n in range(4)]
        for plot in range(1, 5)
    }
    found = study.records.findings
    assert found[found["code"] == "unused-line"]["value"].tolist() == ["T05", "T10", "T15", "T20"]


def test_the_seedlings_of_a_plot_that_nobody_visited_are_seedlings(tmp_path: Path) -> None:
    study = loaded(tmp_path, form(unlooked="P4"))
    assert len(plants(study)["P4", "rip"]) == 5
    found = study.records.findings
    assert found[found["code"] == "unused-line"]["value"].tolist() == ["T05", "T10", "T15"]


def test_a_card_a_plot_heads_its_own_seedlings(tmp_path: Path) -> None:
    rows = [["Site: Home", "", "Planted: 1/6/2023"]]
    for plot, prep in (("P1", "rip"), ("P2", "mound"), ("P3", "rip"), ("P4", "mound")):
        rows += [[""], ["Plot:", plot, "Treatment:", prep], ["Tag", "Species", *DAYS]]
        rows += [[f"{plot[1]}{n}", "gum", *states.split(",")] for n, states in enumerate(STATES)]
        rows += [["Alive", "", "4", "3", "2"]]
    study = loaded(tmp_path, rows)
    assert plants(study) == {
        (plot, prep): [f"{plot[1]}{n}" for n in range(4)]
        for plot, prep in (("P1", "rip"), ("P2", "mound"), ("P3", "rip"), ("P4", "mound"))
    }


def test_a_summary_beyond_an_empty_column_is_a_table_of_its_own(tmp_path: Path) -> None:
    rows = [["", "", "Home, planted 1/6/2023"], [""]]
    rows += [["", "Site", "Plot", "Prep", "Planted", *(f"Alive {day}" for day in DAYS), "", "Prep", "Mean %"]]
    summary = {0: ["", "rip", "61"], 1: ["", "mound", "55"]}
    rows += [
        ["", "Home", f"M{n}", ("rip", "mound")[n % 2], "20", "19", "15", "12", *summary.get(n, [])]
        for n in range(6)
    ]
    study = loaded(tmp_path, rows)
    visits = study.records.visits
    assert visits.groupby("date")["alive"].sum().tolist() == [114.0, 90.0, 72.0]
    assert set(visits["method"]) == {"rip", "mound"}


def test_alive_headed_with_its_answers_tells_the_state(tmp_path: Path) -> None:
    rows = [["Site", "Plot", "Prep", "Tag", "Planted on", "Date", "Alive (Y/N)"]]
    for day, said in zip(("2023-08-14", "2023-11-20"), ("YYYY", "YNYN"), strict=True):
        rows += [
            ["Home", f"P{n}", ("rip", "mound")[n % 2], str(n), "2023-06-01", day, word]
            for n, word in enumerate(said)
        ]
    states = loaded(tmp_path, rows).records.visits["state"].astype(str).value_counts().to_dict()
    assert states == {"alive": 6, "dead": 2}


@pytest.mark.parametrize(
    ("title", "days"),
    [
        ("Home, planted 1/6/2023. Red = dead", ["2023-06-01"]),
        ("planted 05-Jun-2023", ["2023-06-05"]),
        ("planted 5 Jun 23", ["2023-06-05"]),
        ("planted 5-Jun-23; tagged later", ["2023-06-05"]),
        ("Planted on 5.6.23.", ["2023-06-05"]),
        ("planted 5 June 20 a plot", []),
        ("version 1.6.23.4", []),
    ],
)
def test_a_day_is_read_out_of_a_sentence(title: str, days: list[str]) -> None:
    assert days_in(title, "day-first") == days


def test_a_list_of_plots_whose_names_look_like_visits_is_not_turned(tmp_path: Path) -> None:
    names = [f"M{n:02}" for n in range(1, 7)]
    listed = [["Plot", "Site", "Prep", "Planted", "Planted on"]]
    listed += [[name, "Home", ("rip", "mound")[n % 2], "20", "2023-06-01"] for n, name in enumerate(names)]
    (tmp_path / "plots.csv").write_bytes(as_csv(listed))
    study = loaded(
        tmp_path, [["Plot", *(f"Alive {day}" for day in DAYS)], *([name, "19", "15", "12"] for name in names)]
    )
    assert study.records.plots["planted"].sum() == 120
    assert len(study.records.visits) == 18
