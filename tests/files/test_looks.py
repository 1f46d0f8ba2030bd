"""What a sheet hides or strikes through, and the decimals of its labels, in OpenDocument as in XLSX.

Attributes by OpenDocument 1.3 part 3: table:visibility (19.749), table:number-rows-repeated (19.679).
"""

from __future__ import annotations

import zipfile
from pathlib import Path

import xlsxwriter

from survivor.files.looks import Hidden, decimals, hidden, looks_told
from survivor.files.sheets import read_whole
from tests.records.sheetfiles import ods_of

NUMBER = (
    '<table:table-cell office:value-type="float" office:value="{}"><text:p>{}</text:p></table:table-cell>'
)
TEXT = '<table:table-cell office:value-type="string"><text:p>{}</text:p></table:table-cell>'


def ods(folder: Path) -> Path:
    rows = [
        f"<table:table-row>{TEXT.format('Plot')}{TEXT.format('Alive')}</table:table-row>",
        f"<table:table-row>{NUMBER.format(1.1, '1.1')}{NUMBER.format(9, 9)}</table:table-row>",
        '<table:table-row table:number-rows-repeated="2" table:visibility="filter">'
        f"{NUMBER.format(1.1, '1.10')}{NUMBER.format(8, 8)}</table:table-row>",
        f'<table:table-row table:visibility="collapse">{NUMBER.format(1.2, "1,20")}</table:table-row>',
        '<table:table-row table:number-rows-repeated="1048000" table:visibility="collapse">'
        "<table:table-cell/></table:table-row>",
    ]
    columns = '<table:table-column/><table:table-column table:visibility="collapse"/>'
    other = '<table:table table:name="Other"><table:table-row table:visibility="filter"/></table:table>'
    file = folder / "book.ods"
    file.write_bytes(ods_of(f'{other}<table:table table:name="Data">{columns}{"".join(rows)}</table:table>'))
    return file


def xlsx(folder: Path) -> Path:
    file = folder / "book.xlsx"
    book = xlsxwriter.Workbook(file)
    page = book.add_worksheet("Data")
    places = [book.add_format({"num_format": code}) for code in ("0.0", "0.00", "0.00", "0.00")]
    for row, (value, style) in enumerate(zip((1.1, 1.1, 1.1, 1.2), places, strict=True), start=1):
        page.write_number(row, 0, value, style)
    for row in (2, 3, 4):
        page.set_row(row, None, None, {"hidden": True})
    page.set_column(1, 1, None, None, {"hidden": True})
    page.write_number(1, 1, 9)
    book.close()
    return file


def test_both_kinds_of_workbook_tell_the_same(tmp_path: Path) -> None:
    for file in (ods(tmp_path), xlsx(tmp_path)):
        assert hidden(file, "Data") == Hidden((3, 4, 5), (1,)), file.name
        assert decimals(file, "Data", 0, [2, 4, 5]) == {2: 1, 4: 2, 5: 2}, file.name
        assert hidden(file, "None such") == Hidden()


def test_rows_and_columns_are_hidden_in_either_way_that_the_format_writes_it(tmp_path: Path) -> None:
    """ECMA-376 part 1, on ``col`` and ``row`` (from memory): ``hidden`` is an xsd:boolean, 1 or true."""
    (tmp_path / "other").mkdir()
    with zipfile.ZipFile(xlsx(tmp_path)) as old, zipfile.ZipFile(tmp_path / "other/book.xlsx", "w") as new:
        for name in old.namelist():
            new.writestr(name, old.read(name).replace(b' hidden="1"', b' hidden="true"'))
    assert hidden(tmp_path / "other/book.xlsx", "Data") == Hidden((3, 4, 5), (1,))


RED = {"ods": "#ffc7ce", "xlsx": "#FF0000"}


def red_ods(file: Path) -> None:
    style = (
        '<style:style style:name="ce5" style:family="table-cell"><style:table-cell-properties '
        f'fo:background-color="{RED["ods"]}"/></style:style>'
    )
    red = TEXT.replace(" office", ' table:style-name="ce5" office', 1)
    lines = [
        [TEXT.format("ok"), TEXT.format("9")],
        [red.format("ok"), red.format("9")],
        [red.format("D"), ""],
    ]
    rows = [TEXT.format("V1") + TEXT.format("Height"), *("".join(line) for line in lines)]
    body = "".join(f"<table:table-row>{row}</table:table-row>" for row in rows)
    file.write_bytes(ods_of(f'{style}<table:table table:name="Data">{body}</table:table>'))


def red_xlsx(file: Path, key: str) -> None:
    with xlsxwriter.Workbook(file) as book:
        page, red = book.add_worksheet("Data"), book.add_format({key: RED["xlsx"]})
        page.write_row(0, 0, ["V1", "Height"])
        page.write_row(1, 0, ["ok", "9"], book.add_format({key: "#00B050"}))
        page.write_row(2, 0, ["ok", "9"], red)
        page.write_row(3, 0, ["D"], red)


def test_a_word_in_red_says_so_where_it_stands_in_other_colours_too(tmp_path: Path) -> None:
    red_ods(tmp_path / "book.ods")
    red_xlsx(tmp_path / "filled.xlsx", "bg_color")
    red_xlsx(tmp_path / "written.xlsx", "font_color")
    for name in ("book.ods", "filled.xlsx", "written.xlsx"):
        told = looks_told(tmp_path / name, read_whole(tmp_path / name, sheet="Data").cut(), [0, 1]).cells
        assert told[0].tolist() == ["ok", "in red: ok", "D"], name
        assert told[1].tolist() == ["9", "9", ""], name


def struck_ods(file: Path) -> None:
    """A row of two cells alike by one tag, as LibreOffice writes them, and its style before the tables."""
    style = (
        '<style:style style:name="ce2" style:family="table-cell"><style:text-properties '
        'style:text-line-through-style="{}"/></style:style>'
    )
    styles = style.format("solid") + style.replace("ce2", "ce3").format("none")
    struck = TEXT.replace(" office", ' table:style-name="{}" table:number-columns-repeated="2" office', 1)
    rows = [TEXT.format("Tag") + TEXT.format("V1") + TEXT.format("V2")]
    rows += [TEXT.format(1) + struck.format("ce2", "ok"), TEXT.format(2) + struck.format("ce3", "ok")]
    body = "".join(f"<table:table-row>{row}</table:table-row>" for row in rows)
    file.write_bytes(ods_of(f'{styles}<table:table table:name="Data">{body}</table:table>'))


def struck_xlsx(file: Path) -> None:
    with xlsxwriter.Workbook(file) as book:
        page, struck = book.add_worksheet("Data"), book.add_format({"font_strikeout": True})
        page.write_row(0, 0, ["Tag", "V1", "V2"])
        page.write_row(1, 0, ["1", "ok", "ok"], struck)
        page.write_row(2, 0, ["2", "ok", "ok"], book.add_format({"bold": True}))


def test_cells_struck_through_say_so_in_the_columns_that_are_asked_for(tmp_path: Path) -> None:
    struck_ods(tmp_path / "book.ods")
    struck_xlsx(tmp_path / "book.xlsx")
    for file in (tmp_path / "book.ods", tmp_path / "book.xlsx"):
        whole = read_whole(file, sheet="Data")
        rows = looks_told(file, whole.cut(), [1, 2]).cells.to_numpy().tolist()
        assert rows == [["1", *["struck through: ok"] * 2], ["2", "ok", "ok"]], file.name
        grid = whole.turned().cut()  # whose first row below the heading is the visit of the second column
        assert grid.cells[1].tolist() == ["ok", "ok"]
        across = looks_told(file, grid, [1, 2], turned=True).cells
        assert across[1].tolist() == ["struck through: ok"] * 2, file.name
        assert across[2].tolist() == ["ok", "ok"]
