"""What the records beside it do not bear out is named at its cell: labels, days, counts, causes, heights."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from survivor.records import read_records
from survivor.settings import read_settings
from tests.records.mutating import STUDY, base
from tests.records.sheetfiles import as_csv

CODES = (
    "plot-of-one-visit", "visit-lacking", "height-unlike", "state-number", "off-its-round", "count-falls",
    "cause-spelling", "unreadable-date",
)  # fmt: skip


def problems(folder: Path, kind: str, change, more: str = "") -> set[tuple[str, int, str, str]]:
    """Problems of a season with one change in its sheet: code, row, column, value."""
    table = [list(row) for row in base(kind)]
    change(table)
    rules = (more + '[rules]\ntagged = "at planting"') if kind == "tagged" else ""
    (folder / "study.toml").write_text(STUDY.format(kind=kind, ending=".csv", rules=rules), encoding="utf-8")
    (folder / "visits.csv").write_bytes(as_csv(table))
    found = read_records(folder, read_settings(folder)).findings
    wanted = found[found["code"].isin(CODES)]
    return {(each.code, int(each.row), each.column, each.value) for each in wanted.itertuples()}


@pytest.mark.parametrize("kind", ["tagged", "counts"])
def test_a_season_without_a_slip_has_none_of_these(tmp_path, kind):
    assert problems(tmp_path, kind, lambda table: None) == set()


@pytest.mark.parametrize("kind", ["tagged", "counts"])
@pytest.mark.parametrize("label", ["P33", "infill", "x"])
def test_a_label_of_a_plot_that_nobody_else_has_is_asked_about(tmp_path, kind, label):
    def change(table):
        table[10][1] = label

    assert ("plot-of-one-visit", 11, "plot", label) in problems(tmp_path, kind, change)


def test_a_visit_that_one_plot_lacks_is_noted(tmp_path):
    def change(table):
        assert table[6][:2] == ["Tarn Hollow", "P2"]
        assert table[6][table[0].index("visit")] == "2"
        del table[6]

    assert problems(tmp_path, "counts", change) == {("visit-lacking", 8, "visit", "2")}


def test_a_visit_that_a_whole_site_lacks_is_its_own_affair(tmp_path):
    def change(table):
        table[:] = [row for row in table if (row[0], row[table[0].index("visit")]) != ("Rise", "3")]

    assert problems(tmp_path, "counts", change) == set()


@pytest.mark.parametrize(("times", "named"), [(10, True), (0.1, True), (1.5, False), (0.7, False)])
def test_a_height_with_a_digit_more_or_less_is_asked_about(tmp_path, times, named):
    place = base("tagged")[0].index("height_cm")
    row = next(  # of a plant that was measured at every visit
        number
        for number in range(1, len(base("tagged")) - 3)
        if (number - 1) % 4 == 0 and all(each[place] for each in base("tagged")[number : number + 4])
    )

    def change(table):
        table[row + 1][place] = f"{float(table[row + 1][place]) * times:.0f}"

    found = problems(tmp_path, "tagged", change)
    assert ([(code, at) for code, at, _, _ in found] == [("height-unlike", row + 2)]) is named


@pytest.mark.parametrize("measured_again", [True, False])
@pytest.mark.parametrize(("times", "named"), [(9, True), (2, False)])
def test_a_first_height_is_held_against_the_others_of_its_visit(tmp_path, times, named, measured_again):
    place = base("tagged")[0].index("height_cm")
    rows = [row[place] for row in base("tagged")]
    once = next(row for row in range(1, len(rows), 4) if rows[row] and bool(rows[row + 1]) is measured_again)
    tall = str(times * int(rows[once]))

    def change(table):
        table[once][place] = tall

    found = problems(tmp_path, "tagged", change)
    assert found == ({("height-unlike", once + 1, "height_cm", tall)} if named else set())


@pytest.mark.parametrize(("word", "named"), [("1", True), ("TRUE", True), ("0", True), ("alive", False)])
def test_a_number_among_words_of_their_own_is_asked_about(tmp_path, word, named):
    def change(table):
        place = table[0].index("state")
        for row in table[1:]:
            row[place] = {"alive": "up", "dead": "down"}[row[place]]
        table[5][place] = word

    own = '[records.sheets.states]\nup = "alive"\ndown = "dead"\n'
    found = problems(tmp_path, "tagged", change, own)
    assert (("state-number", 6, "state", word) in found) is named
    assert len(found) == named


def last_of_its_plot(table: list[list[str]]) -> int:
    """Row, from 0, of the last count of a plot that had many living before."""
    alive = table[0].index("alive")
    return next(row for row in range(4, len(table), 4) if int(table[row - 1][alive]) > 30)


@pytest.mark.parametrize(("count", "named"), [("3", True), ("0", True), ("12", True), ("22", False)])
def test_a_last_count_that_falls_where_the_plots_beside_it_hold_is_asked_about(tmp_path, count, named):
    place = base("counts")[0].index("alive")
    row = last_of_its_plot(base("counts"))

    def change(table):
        table[row][place] = count

    found = problems(tmp_path, "counts", change)
    assert found == ({("count-falls", row + 1, "alive", count)} if named else set())


def test_a_fall_that_its_whole_site_or_preparation_shares_or_the_next_count_bears_out_is_none(tmp_path):
    place = base("counts")[0].index("alive")

    def of_site(table):
        for row in table[1:]:
            if row[0] == "Rise" and row[table[0].index("visit")] == "4":
                row[place] = "3"

    def of_preparation(table):
        for row in table[1:]:
            if row[2] == "mulch mat" and row[table[0].index("visit")] == "4":
                row[place] = "3"

    def borne_out(table):
        row = last_of_its_plot(table)
        table[row - 1][place], table[row][place] = "4", "3"

    for number, change in enumerate((of_site, of_preparation, borne_out)):
        (tmp_path / str(number)).mkdir()
        assert problems(tmp_path / str(number), "counts", change) == set()


@pytest.mark.parametrize("named_visits", [True, False])
@pytest.mark.parametrize("kind", ["tagged", "counts"])
@pytest.mark.parametrize(("days", "asked"), [(70, True), (-28, True), (14, False)])
def test_a_day_weeks_from_its_round_is_asked_about(tmp_path, kind, named_visits, days, asked):
    header = base(kind)[0]
    date, visit = header.index("date"), header.index("visit")
    plot = base(kind)[1][:2]

    def change(table):
        for row in table[1:]:
            if row[:2] == plot and row[visit] == "2":
                row[date] = str(dt.date.fromisoformat(row[date]) + dt.timedelta(days=days))
        if not named_visits:
            for row in table:
                del row[visit]

    found = {(code, column) for code, _, column, _ in problems(tmp_path, kind, change)}
    assert found == ({("off-its-round", "date")} if asked else set())


def test_rounds_that_are_spread_over_a_season_are_not_asked_about(tmp_path):
    header = base("counts")[0]
    date = header.index("date")

    def change(table):
        for number, row in enumerate(table[1:]):
            late = dt.timedelta(days=number // 4 % 8 * 9)
            row[date] = str(dt.date.fromisoformat(row[date]) + late)

    assert problems(tmp_path, "counts", change) == set()


@pytest.mark.parametrize(
    ("word", "asked"), [("browsnig", True), ("browsin", True), ("drought", False), ("frost", False)]
)
def test_a_cause_of_death_that_looks_like_another_is_asked_about(tmp_path, word, asked):
    place = base("tagged")[0].index("cause")
    row = next(number for number, row in enumerate(base("tagged")) if row[place] == "browsing")

    def change(table):
        table[row][place] = word

    found = problems(tmp_path, "tagged", change)
    assert found == ({("cause-spelling", row + 1, "cause", word)} if asked else set())


@pytest.mark.parametrize("cell", ["2022-07-1 3", "2022-07-1 13"])
def test_a_figure_after_a_day_is_no_time_of_day(tmp_path, cell):
    """The 13th, with a space in it: read as the 1st at three o'clock, it would be twelve days off."""
    place = base("tagged")[0].index("date")

    def change(table):
        table[5][place] = cell

    assert ("unreadable-date", 6, "date", cell) in problems(tmp_path, "tagged", change)


def test_a_day_with_a_time_of_day_is_read(tmp_path):
    place = base("tagged")[0].index("date")

    def change(table):
        for row in table[1:]:
            row[place] += " 13:20" if row[0] == "Rise" else "T00:00:00Z"

    assert problems(tmp_path, "tagged", change) == set()
