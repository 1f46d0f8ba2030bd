"""Empty rows of a field sheet: passed over when blank, infill when filled; the day stands once for a plot."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pandas as pd
import pytest

import survivor
from survivor.planning.folder import write_folder
from survivor.planning.layout import draw_layout
from survivor.planning.next_sheets import renew_sheets
from survivor.planning.sheets import EMPTY_ROWS, SHEET
from tests.files.grids import read_grid
from tests.planning.making import small_plan

DAYS = ("2022-08-20", "2022-11-20", "2023-02-20")


def sheet_of(file: Path) -> pd.DataFrame:
    grid = read_grid(file, sheet=SHEET)
    return pd.DataFrame({name: grid.cells[place] for place, name in enumerate(grid.header)})


def fill(file: Path, day: str, infill: dict[str, object] | None = None, *, undated: str = "") -> pd.DataFrame:
    """Fill a sheet as a crew does: all alive, the day in the first row of each plot."""
    rows = sheet_of(file)
    named = rows["Tag"] != ""
    first = named & ~rows.duplicated(["Site", "Block", "Plot"])
    rows.loc[named, "State"] = "alive"
    rows.loc[first & (rows["Plot"] != undated), "Date"] = day
    if infill is not None:
        rows.loc[len(rows)] = [infill.get(name, "") for name in rows.columns]
    rows.to_excel(file, index=False, sheet_name=SHEET, engine="xlsxwriter")
    return rows


@pytest.fixture
def laid(tmp_path):
    plan = small_plan()
    layout = draw_layout(plan, 4, 3)
    write_folder(plan, layout, tmp_path)
    return tmp_path, layout, sorted(tmp_path.glob("visit-*.xlsx"))


def test_every_site_has_empty_rows_of_its_own(laid):
    _, layout, sheets = laid
    sites = layout.tags["site"].nunique()
    with zipfile.ZipFile(sheets[0]) as book:
        text = book.read("xl/worksheets/sheet1.xml").decode()
    assert text.count("<row ") == 1 + len(layout.tags) + EMPTY_ROWS * sites
    assert text.count("<brk ") == sites - 1


def test_blank_rows_are_passed_over_and_a_day_holds_for_its_plot(laid):
    folder, layout, sheets = laid
    fill(sheets[0], DAYS[0])
    study = survivor.load(folder)
    used = study.records.accounts["fate"].eq("used") & study.records.accounts["file"].eq(sheets[0].name)
    assert used.sum() == len(layout.tags)
    assert not set(study.problems["code"]) & {"blank-key", "blank-date"}
    assert study.records.visits["date"].dropna().unique().tolist() == [pd.Timestamp(DAYS[0])]


def test_a_plot_without_its_day_does_not_take_that_of_another(laid):
    folder, layout, sheets = laid
    plot = layout.tags["plot"].iloc[-1]
    fill(sheets[0], DAYS[0], undated=plot)
    study = survivor.load(folder)
    without = layout.tags["plot"].eq(plot).sum()
    accounts = study.records.accounts
    assert (accounts["fate"].eq("excluded") & accounts["file"].eq(sheets[0].name)).sum() == without
    assert study.problems.loc[study.problems["severity"] == "stop", "what"].str.contains("date|day").any()


def test_a_filled_row_is_infill_with_its_own_clock_and_stands_on_the_next_sheet(laid):
    folder, layout, sheets = laid
    first = layout.tags.iloc[0]
    place = {"Site": first["site"], "Block": first["block"], "Plot": first["plot"]}
    new = {**place, "Tag": "R1", "Species": first["species"], "State": "alive"}
    fill(sheets[0], DAYS[0])
    fill(sheets[1], DAYS[1], {**new, "Infill": "yes", "Planted on": "2022-11-20", "Date": DAYS[1]})
    renew_sheets(folder)
    rows = sheet_of(sheets[2])
    (own,) = rows[rows["Tag"] == "R1"].to_dict("records")
    assert own["Infill"] == "yes"
    assert str(own["Planted on"])[:10] == "2022-11-20"
    fill(sheets[2], DAYS[2])
    records = survivor.load(folder).records
    assert int(records.plants["first_plants"].sum()) == len(layout.tags)
    assert int(records.plants["replants"].sum()) == 1
    (interval,) = records.intervals[records.intervals["tag"].astype(str) == "R1"].to_dict("records")
    assert interval["cohort"] == "infill"
    assert interval["stop_day"] - interval["start_day"] == 92
    assert pd.Timestamp(interval["planted_date"]) == pd.Timestamp("2022-11-20")
