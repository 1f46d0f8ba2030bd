"""The field sheet as a workbook: how it prints, what it allows, what it doubts, what it reads back as."""

import datetime as dt
import io
import re
import zipfile

import pandas as pd
import pytest

from survivor.planning.sheets import (
    EMPTY_ROWS,
    FILLED,
    GIVEN,
    GUIDE,
    HEADER,
    PRINTED,
    SHEET,
    STATES,
    SheetPlan,
    sheet_bytes,
)
from tests.files.grids import read_grid

ABOUT = SheetPlan("Season R&D (invented)", "12 months", "1 June 2023 to 20 June 2023", dt.date(2022, 6, 7))
ROWS = pd.DataFrame(
    [
        ("Tarn Hollow", "B1", "P1", "0007", "blackwood", "alive", "2023-04-14"),
        ("Tarn Hollow", "B1", "P1", "0008", "blackwood", "dead", "2023-04-14"),
        ("Quill Creek", "B1", "P1", "0009", "=1+1", "planted", ""),
    ],
    columns=list(GIVEN),
)


@pytest.fixture(scope="module")
def parts():
    with zipfile.ZipFile(io.BytesIO(sheet_bytes(ROWS, ABOUT))) as book:
        return {name: book.read(name).decode("utf-8") for name in book.namelist() if name.endswith(".xml")}


@pytest.fixture(scope="module")
def sheet(parts):
    return parts["xl/worksheets/sheet1.xml"]


def test_it_prints_across_a4_with_its_header_on_every_page(parts, sheet):
    assert re.search(r'<pageSetup paperSize="9" [^>]*orientation="landscape"', sheet)
    assert 'fitToHeight="0"' in sheet  # as many pages down as it takes, one across
    titles = re.search(r'_xlnm.Print_Titles"[^>]*>([^<]+)<', parts["xl/workbook.xml"])
    assert titles is not None
    assert titles[1] == f"{SHEET}!$1:$1"
    assert "R&amp;&amp;D" in sheet  # one & would be read as a code of the page header
    assert f'<brk id="{3 + EMPTY_ROWS}"' in sheet  # a new page where the site changes
    area = re.search(r'_xlnm.Print_Area"[^>]*>([^<]+)<', parts["xl/workbook.xml"])
    assert area is not None
    last = chr(64 + len(PRINTED))
    assert area[1] == f"{SHEET}!$A$1:${last}${1 + len(ROWS) + 2 * EMPTY_ROWS}"
    # At 96 dots to the inch a column is 7 dots a character and 5 more; A4 across has room for 1,045.
    widths = [float(own) for own in re.findall(r'<col [^>]*?width="([\d.]+)"', sheet)[: len(PRINTED)]]
    dots = sum(7 * width for width in widths)
    assert dots < 1045 / 0.9  # printed at 90 of 100 or more
    assert re.search(r'<row r="2"[^>]* ht="24"', sheet)


def test_only_the_filled_columns_can_be_written_to(parts, sheet):
    assert "<sheetProtection" in sheet
    assert 'sheet="1"' in sheet
    formats = re.findall(
        r"<xf [^>]*?(?:/>|>.*?</xf>)", re.search(r"<cellXfs.*?</cellXfs>", parts["xl/styles.xml"])[0]
    )
    open_formats = {place for place, text in enumerate(formats) if 'locked="0"' in text}
    cells = dict(re.findall(r'<c r="([A-Z]+2)" s="(\d+)"', sheet))
    for place, name in enumerate(HEADER):
        free = int(cells[f"{chr(65 + place)}2"]) in open_formats
        assert free is (name in FILLED), name


def test_states_are_chosen_from_a_list_and_days_and_heights_are_checked(sheet):
    rules = re.findall(r"<dataValidation .*?</dataValidation>", sheet)
    by_column = {re.search(r'sqref="([A-Z]+)2', rule)[1]: rule for rule in rules}
    letter = {name: chr(65 + place) for place, name in enumerate(HEADER)}
    assert 'type="list"' in by_column[letter["State"]]
    assert ",".join(STATES) in by_column[letter["State"]]
    day = by_column[letter["Date"]]
    assert 'type="date"' in day
    assert f"<formula1>{(dt.date(2022, 6, 7) - dt.date(1899, 12, 30)).days}</formula1>" in day
    assert "<formula2>100</formula2>" in by_column[letter["Weed cover (%)"]]
    assert "operator" not in by_column[letter["Height (cm)"]]  # between is the default
    assert len(rules) == 5


def test_what_does_not_fit_is_said_in_the_row(sheet):
    formulas = re.findall(r"<f>([^<]+)</f>", sheet)
    assert len(formulas) == len(ROWS) + 2 * EMPTY_ROWS
    for said in ("state?", "date?", "reshoot? look twice", "alive with a cause?", "height, not alive?"):
        assert f"&quot;{said}&quot;" in formulas[0] or f'"{said}"' in formulas[0]
    assert formulas[1].count("(") == formulas[1].count(")")
    assert "<conditionalFormatting" in sheet


def test_names_are_text_even_where_they_look_like_formulas(parts, sheet):
    assert "=1+1" in parts["xl/sharedStrings.xml"]
    assert "<f>1+1" not in sheet


def test_it_reads_back_as_it_was_written(tmp_path):
    file = tmp_path / "visit.xlsx"
    filled = ROWS.assign(Date="2023-06-05", State=["alive", "dead", "not found"])
    filled["Height (cm)"] = [42.0, "", ""]
    filled["Likely cause"] = ["", "drought", ""]
    file.write_bytes(sheet_bytes(filled, ABOUT))
    grid = read_grid(file, sheet=SHEET)
    assert grid.header == HEADER
    assert grid.cells[HEADER.index("Tag")].tolist() == ["0007", "0008", "0009"]
    assert grid.cells[HEADER.index("State")].tolist() == ["alive", "dead", "not found"]
    assert set(grid.cells[HEADER.index("Date")]) == {dt.date(2023, 6, 5)}
    assert grid.cells[HEADER.index("Height (cm)")].tolist() == [42.0, "", ""]
    guide = read_grid(file, sheet=GUIDE)
    assert any("never dead" in str(cell) for cell in guide.cells[0])


def test_the_preparation_is_not_on_the_sheet():
    assert not {"Preparation", "Method"} & set(HEADER)
