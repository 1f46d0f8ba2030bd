"""Printed forms, cards and titles: which lines hold records, where a table ends, which day a title tells."""

from __future__ import annotations

from pathlib import Path

import pytest

import survivor
from survivor.proposing.proposal import propose
from survivor.records.visit_columns import days_in
from survivor.settings.questions import questions_in
from tests.records.sheetfiles import as_csv, as_xlsx

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


def coded(codes: str, *key: str) -> list[list[str]]:
    """Give a sheet of eight seedlings with a code a visit, and a key below it."""
    rows = [["Site", "Plot", "Prep", "Tag", "Planted on", *DAYS]]
    rows += [
        ["Home", f"P{n % 4}", ("rip", "mound")[n % 2], str(n), "2023-06-01", *codes[n % 4 :][:3]]
        for n in range(8)
    ]
    return [*rows, [""], *([line] for line in key)]


@pytest.mark.parametrize(
    ("meaning", "state"),
    [("dormant", "alive"), ("stressed", "alive"), ("deer damage", "doubtful"), ("died", "dead")],
)
def test_a_code_is_what_the_key_says_and_in_doubt_where_it_says_no_state(
    tmp_path: Path, meaning: str, state: str
) -> None:
    study = loaded(tmp_path, coded("AADAXA", "A = alive", f"D = {meaning}", "X = dead"))
    visits = study.records.visits.astype({"row": int}).sort_values(["row", "date"])
    said = [code for n in range(8) for code in "AADAXA"[n % 4 :][:3]]
    read = {own for code, own in zip(said, visits["state"].astype(str), strict=True) if code == "D"}
    assert read == {state}
    assert ("doubtful" in set(study.records.findings["code"])) == (state == "doubtful")


def test_one_is_asked_for_with_scores_of_which_nothing_tells_the_lowest(tmp_path: Path) -> None:
    (tmp_path / "seen.csv").write_bytes(as_csv(coded("323142")))
    (question,) = [own for own in questions_in(propose(tmp_path)) if "these words mean" in own.text]
    assert sorted(part[0].key for part in question.parts) == ['"1"', '"2"', '"3"', '"4"']
    assert "only 1 used until you say" in question.text


def test_plots_across_named_as_months_are_read_by_the_days_down_the_side(tmp_path: Path) -> None:
    names = [f"M{n}" for n in range(1, 7)]
    rows = [["Plot", *names], ["Prep", *["rip", "mound"] * 3], ["No. planted", *["20"] * 6]]
    rows += [["Planted on", *["2023-06-01"] * 6], *([day, *["15"] * 6] for day in DAYS)]
    visits = loaded(tmp_path, rows).records.visits
    assert sorted(visits["plot"].unique()) == names
    assert visits["alive"].tolist() == [15.0] * 18


def test_plots_side_by_side_are_of_the_site_that_the_sheet_names(tmp_path: Path) -> None:
    rows: list[list[str]] = [["Planted 1/6/2023"]]
    for left, right in (("P1 - rip", "P2 - mound"), ("P3 - rip", "P4 - mound")):
        rows += [[""], [f"Plot {left}", "", "", "", "", f"Plot {right}"], ["Tag", *DAYS, "", "Tag", *DAYS]]
        rows += [
            [f"{left[1]}{n}", *states.split(","), "", f"{right[1]}{n}", *states.split(",")]
            for n, states in enumerate(STATES)
        ]
    (tmp_path / "home.xlsx").write_bytes(as_xlsx(rows, "Home"))
    (tmp_path / "study.toml").write_text(propose(tmp_path), "utf-8")
    visits = survivor.load(tmp_path).records.visits
    assert set(visits["site"].str.casefold()) == {"home"}
    assert sorted(visits["plot"].unique()) == ["P1", "P2", "P3", "P4"]


def test_a_count_may_have_its_share_behind_it(tmp_path: Path) -> None:
    rows = [["Site", "Plot", "Prep", "Planted on", *DAYS]]
    rows += [
        [
            "Home",
            f"P{n}",
            ("rip", "mound")[n % 2],
            "2023-06-01",
            "18/20 (90%)",
            "17 of 20, 85 %",
            "9/20 45.5%",
        ]
        for n in range(4)
    ]
    study = loaded(tmp_path, rows)
    assert study.records.visits.groupby("date")["alive"].sum().tolist() == [72.0, 68.0, 36.0]
    assert study.records.plots["planted"].tolist() == [20.0] * 4


def counts(values: list[str], *, title: str = "", heads: tuple[str, ...] = DAYS) -> list[list[str]]:
    rows = [[title]] if title else []
    rows += [["Site", "Plot", "Prep", "Planted", "Planted on", *heads]]
    return rows + [
        ["Home", f"P{n}", ("rip", "mound")[n % 2], "20", "2023-06-01", *values[: len(heads)]]
        for n in range(6)
    ]


def test_rows_of_statistics_are_no_plots(tmp_path: Path) -> None:
    rows = counts(["19", "15", "12"])
    labels = ["Tot.", "Avg", "Av.", "Min", "Max", "Median", "SD", "Std. dev."]
    rows += [[label, "", "", "20", "", "3", "3", "3"] for label in labels[:4]]
    rows += [["", label, "", "", "", "3", "3", "3"] for label in labels[4:]]
    records = loaded(tmp_path, rows).records
    assert sorted(records.visits["plot"].unique()) == [f"P{n}" for n in range(6)]
    assert (records.findings["code"] == "total-row").sum() == len(labels)


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (counts(["1", "4", "6"], heads=tuple(f"Dead {day}" for day in DAYS)), ["counted to date"]),
        (counts(["1", "4", "6"], title="Dead, counted to date"), []),
        (counts(["5", "10", "15"], title="Mortality (%), to date"), ["dead plants, though"]),
        (counts(["19", "15", "12"], title="Survival (%)"), ["living plants, though"]),
        (counts(["19", "15", "12"], title="Alive"), []),
        (
            counts(["9", "8", "7", "6"], heads=("14/8/23 JB", "14/8/23 KT", "9/4/24 JB", "9/4/24 KT")),
            ["JB, KT are taken as species"],
        ),
    ],
)
def test_what_is_taken_of_counts_that_nothing_tells_is_asked_about(
    tmp_path: Path, rows: list[list[str]], said: list[str]
) -> None:
    found = loaded(tmp_path, rows).records.findings
    of_counts = [own for own in found.loc[found["code"] == "assumed", "what"] if "day first" not in own]
    assert len(of_counts) == len(said)
    assert all(part in own for part, own in zip(said, of_counts, strict=True))


def test_a_sheet_of_one_visit_has_its_day_in_the_heading(tmp_path: Path) -> None:
    rows = [["Site", "Plot", "Prep", "Tag", "Planted on", "14 Aug 2023"]]
    rows += [["Home", f"P{n}", ("rip", "mound")[n % 2], str(n), "2023-06-01", "A"] for n in range(6)]
    visits = loaded(tmp_path, rows).records.visits
    assert set(visits["date"].astype(str)) == {"2023-08-14"}
    assert visits["state"].astype(str).tolist() == ["alive"] * 6
