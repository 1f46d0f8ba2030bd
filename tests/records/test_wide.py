"""Wide sheets: a column or more a visit, headers of two rows, totals, and cells merged downwards."""

from __future__ import annotations

import datetime as dt
import io
import zipfile
from pathlib import Path

import pytest
import xlsxwriter

from survivor.errors import RecordsError
from tests.files.grids import read_grid
from tests.records.making import COUNTS, TAGGED, ReadStudy, record_codes

WIDE = 'shape = "wide"\n[[records.sheets]]\nfile = "visits.xlsx"\nheader_rows = 2\n'
RULES = '[rules]\ntagged = "at planting"\nplanted_date = "2022-06-01"\n'


def visit(name: str, **columns: str) -> str:
    lines = "".join(f'{key} = "{value}"\n' for key, value in columns.items())
    return f'[[records.visits]]\nname = "{name}"\n{lines}'


def seedlings() -> bytes:
    store = io.BytesIO()
    book = xlsxwriter.Workbook(store, {"in_memory": True, "default_date_format": "yyyy-mm-dd"})
    sheet = book.add_worksheet()
    for column, header in enumerate(["Site", "Plot", "Method", "Tag"]):
        sheet.merge_range(0, column, 1, column, header)
    sheet.merge_range(0, 4, 0, 6, "Spring")
    sheet.merge_range(0, 7, 0, 9, "Autumn")
    sheet.write_row(1, 4, ["State", "Height", "Cause", "State", "Height", "Day"])
    sheet.merge_range(2, 0, 4, 0, "Rise")
    sheet.merge_range(2, 1, 3, 1, 1)  # a plot's number, merged over its seedlings
    sheet.write_number(4, 1, 2)
    sheet.merge_range(2, 2, 4, 2, "rip")
    for row, (tag, *cells) in enumerate(
        [
            ("001", "A", 20, "", "D", "", dt.datetime(2023, 4, 1)),
            ("002", "", 15, "", "", 30, dt.datetime(2023, 4, 1)),
            ("003", "M", "", "hare", "M", "", dt.datetime(2023, 4, 3)),
        ],
        start=2,
    ):
        sheet.write_row(row, 3, [tag, *cells[:-1]])
        sheet.write_datetime(row, 9, cells[-1])
    book.close()
    return store.getvalue()


VISITS = visit(
    "spring", date="2022-10-01", state="Spring / State", height="Spring / Height", cause="Cause"
) + visit("autumn", date_header="Day", state="Autumn / State", height="Autumn / Height")


def test_a_wide_sheet_of_seedlings(read_study: ReadStudy) -> None:
    rules = RULES + "measured_means_alive = true\n"
    records = read_study(TAGGED + WIDE + VISITS + rules, visits_xlsx=seedlings())
    found = records.intervals[["plot", "tag", "start_day", "stop_day", "died"]]
    assert list(found.itertuples(index=False, name=None)) == [
        ("1", "001", 0, 122, 0), ("1", "001", 122, 304, 1),
        ("1", "002", 0, 122, 0), ("1", "002", 122, 304, 0),
        ("2", "003", 0, 122, 1),
    ]  # fmt: skip
    assert list(records.accounts["record"]) == ["visit spring"] * 3 + ["visit autumn"] * 3
    assert list(records.accounts["row"]) == [3, 4, 5] * 2
    assert set(records.accounts["fate"]) == {"used"}
    assert record_codes(records) == {"measured-alive", "missing-dead", "unconfirmed-death"}
    unconfirmed = records.problems[records.problems["code"] == "unconfirmed-death"].iloc[0]
    assert (unconfirmed["column"], unconfirmed["row"]) == ("Autumn / State", 3)
    assert "hare" in set(records.visits["cause"])
    assert set(records.matches.loc[records.matches["how"] == "study file", "column"]) >= {"state at spring"}


def counts(*extra: list[object]) -> bytes:
    store = io.BytesIO()
    book = xlsxwriter.Workbook(store, {"in_memory": True})
    sheet = book.add_worksheet()
    sheet.write_row(0, 0, ["Plot", "", "", "", "Alive", ""])
    sheet.write_row(1, 0, ["Site", "No.", "Method", "Planted", "2022-10-01", "1 Apr 2023"])
    rows = [["Rise", 1, "rip", 50, 45, 40], ["Rise", 2, "rip", 40, 40, ""], *extra]
    for number, row in enumerate(rows, start=2):
        sheet.write_row(number, 0, row)
    book.close()
    return store.getvalue()


COLUMNS = '[records.sheets.columns]\nplot = "Plot / No."\n'
COUNTED = visit("spring", state="Alive / 2022-10-01") + visit("autumn", state="Alive / 1 Apr 2023")


@pytest.mark.parametrize("label", ["Total", ""])
def test_a_wide_sheet_of_counts_with_its_days_in_the_headers(read_study: ReadStudy, label: str) -> None:
    table = counts([label, "", "", 90, 85, 40])
    records = read_study(COUNTS + WIDE + COLUMNS + COUNTED + RULES, visits_xlsx=table)
    found = records.intervals[["plot", "start_day", "stop_day", "at_risk", "died"]]
    assert list(found.itertuples(index=False, name=None)) == [
        ("1", 0, 122, 50, 5), ("1", 122, 304, 45, 5), ("2", 0, 122, 40, 0),
    ]  # fmt: skip
    total = records.accounts[records.accounts["record"] == "total row"]
    assert list(total["row"]) == [5]
    assert len(records.accounts) == 2 * 2 + 1
    assert record_codes(records) == {"total-row", "not-visited"}


FAULTS = {
    "a day for all visits": ('date = "Site"\n' + COUNTED, "each visit has its own date"),
    "no visit is named": ("", "a wide sheet needs its visits named"),
    "no day": (visit("spring", state="Planted"), "no single day is given for the visit 'spring'"),
    "no such header": (visit("spring", state="Alive / 2022-11-01"), "did you mean"),
    "no state": (visit("spring", date="2022-10-01"), "names no column"),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_wide_sheet_that_is_not_explained_is_a_plain_error(read_study: ReadStudy, name: str) -> None:
    visits, words = FAULTS[name]
    with pytest.raises(RecordsError) as error:
        read_study(COUNTS + WIDE + COLUMNS + visits + RULES, visits_xlsx=counts())
    assert words in str(error.value)


def test_a_height_alone_tells_no_state_unless_the_study_file_says_so(read_study: ReadStudy) -> None:
    visits = visit("spring", date="2022-10-01", height="Spring / Height")
    with pytest.raises(RecordsError, match="measured_means_alive"):
        read_study(TAGGED + WIDE + visits + RULES, visits_xlsx=seedlings())


def test_sheets_with_a_visit_each_are_put_under_each_other(read_study: ReadStudy) -> None:
    sheets = """[[records.sheets]]
file = "a.csv"
[records.sheets.every_row]
visit = "spring"
date = "2022-10-01"
[[records.sheets]]
file = "b.csv"
date_order = "day-first"
[records.sheets.every_row]
visit = "autumn"
"""
    records = read_study(
        TAGGED + sheets + RULES,
        a_csv="site,plot,method,tag,state\nRise,1,rip,001,A\nRise,1,rip,002,A\n",
        b_csv="Tag;Status;Method;Date;Plot;Site\n001;dead;rip;1/4/2023;1;Rise\n002;?;rip;1/4/2023;1;Rise\n",
    )
    assert list(records.intervals["stop_day"]) == [122, 304, 122]
    assert list(records.accounts["file"]) == ["a.csv", "a.csv", "b.csv", "b.csv"]
    problem = records.problems[records.problems["code"] == "unknown-state"].iloc[0]
    assert (problem["file"], problem["row"], problem["column"]) == ("b.csv", 3, "Status")


def test_columns_named_like_ours_are_carried_under_another_name(read_study: ReadStudy) -> None:
    plots = "site,plot,method,Row,Name,2nd pass,Date\nRise,1,rip,7,north,yes,x\n"
    toml = TAGGED + '[[records.sheets]]\nfile = "v.csv"\n[records.plots]\nfile = "plots.csv"\n' + RULES
    records = read_study(toml, v_csv="site,plot,tag,date,state\nRise,1,001,2022-10-01,A\n", plots_csv=plots)
    traits = records.intervals.iloc[0][["sheet_row", "sheet_name", "sheet_2nd_pass", "sheet_date"]]
    assert list(traits) == [7.0, "north", "yes", "x"]
    assert list(records.accounts["row"]) == [2, 2]


def test_open_document_sheets_are_read_too(tmp_path: Path) -> None:
    cell = '<table:table-cell office:value-type="string"><text:p>{}</text:p></table:table-cell>'
    rows = "".join(
        f"<table:table-row>{''.join(cell.format(text) for text in row)}</table:table-row>"
        for row in (("tag", "state"), ("0012", "A"))
    )
    names = "".join(
        f' xmlns:{name}="urn:oasis:names:tc:opendocument:xmlns:{name}:1.0"'
        for name in ("office", "table", "text")
    )
    content = (
        f'<?xml version="1.0"?><office:document-content{names}><office:body><office:spreadsheet>'
        f'<table:table table:name="Visits">{rows}</table:table>'
        "</office:spreadsheet></office:body></office:document-content>"
    )
    with zipfile.ZipFile(tmp_path / "a.ods", "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("content.xml", content)
        archive.writestr("META-INF/manifest.xml", '<?xml version="1.0"?><manifest/>')
    grid = read_grid(tmp_path / "a.ods")
    assert grid.header == ("tag", "state")
    assert list(grid.cells.loc[2]) == ["0012", "A"]
