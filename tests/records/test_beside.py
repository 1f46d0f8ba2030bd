"""What the records beside it do not bear out is named at its cell: labels, visits and heights."""

from __future__ import annotations

from pathlib import Path

import pytest

from survivor.records import read_records
from survivor.settings import read_settings
from tests.records.mutating import STUDY, base
from tests.records.sheetfiles import as_csv


def problems(folder: Path, kind: str, change, more: str = "") -> set[tuple[str, int, str, str]]:
    """Problems of a season with one change in its sheet: code, row, column, value."""
    table = [list(row) for row in base(kind)]
    change(table)
    rules = (more + '[rules]\ntagged = "at planting"') if kind == "tagged" else ""
    (folder / "study.toml").write_text(STUDY.format(kind=kind, ending=".csv", rules=rules), encoding="utf-8")
    (folder / "visits.csv").write_bytes(as_csv(table))
    found = read_records(folder, read_settings(folder)).findings
    wanted = found[
        found["code"].isin(["plot-of-one-visit", "visit-lacking", "height-unlike", "state-number"])
    ]
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
