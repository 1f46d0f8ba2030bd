"""Files made to harm whoever opens them: refused in plain words, or read within bounds."""

from __future__ import annotations

import contextlib
import io
import subprocess
import sys
import time
import tracemalloc
import zipfile
from functools import cache
from pathlib import Path

import pytest

from survivor.errors import RecordsError
from survivor.files.bounds import MOST_CELLS
from survivor.files.old_workbook import held_by
from survivor.files.sheets import as_text
from survivor.report.checked.page import page_of_check
from survivor.report.checked.workbook import workbook_of_check
from tests.files.grids import read_grid
from tests.records.making import COUNTS, ReadStudy, sheet
from tests.records.sheetfiles import as_ods, as_xls, as_xlsx, ods_of, xls_of, xlsx_cell, xlsx_of
from tests.slow import some_slow

HEAD = f'<row r="1">{xlsx_cell("A1", "site")}</row>'
AIM = COUNTS.replace("\nas_of", '\npurpose = "check a target"\nas_of')


@cache
def bomb(size: int, member: str = "xl/worksheets/sheet1.xml") -> bytes:
    """Pack ``size`` bytes of blanks, which take a thousandth of that."""
    held = io.BytesIO(xlsx_of(HEAD))
    with (
        zipfile.ZipFile(held, "a", zipfile.ZIP_DEFLATED) as packed,
        packed.open(member.replace("1", "2"), "w", force_zip64=True) as out,
    ):
        for _ in range(size // 2**20):
            out.write(b" " * 2**20)
    return held.getvalue()


def lying(content: bytes, size: int) -> bytes:
    """Make a packed file say that its members unpack to nearly nothing."""
    return content.replace(size.to_bytes(4, "little"), (64).to_bytes(4, "little"))


def ods_row(cells: str, repeated: int = 1) -> str:
    return f'<table:table-row table:number-rows-repeated="{repeated}">{cells}</table:table-row>'


def ods_cell(text: str, repeated: int = 1) -> str:
    return (
        f'<table:table-cell office:value-type="string" table:number-columns-repeated="{repeated}">'
        f"<text:p>{text}</text:p></table:table-cell>"
    )


def ods_table(rows: str) -> bytes:
    return ods_of(f'<table:table table:name="Visits">{rows}</table:table>')


GIGABYTE = 2**30
FAR = HEAD + f'<row r="1048576">{xlsx_cell("XFD1048576", "x")}</row>'
# name -> (content, words of the refusal)
REFUSED = {
    "bomb.xlsx": (lambda: bomb(GIGABYTE), "unpacks to more than"),
    "bomb.ods": (lambda: bomb(GIGABYTE // 8, "content1.xml"), "unpacks to more than"),
    "bomb that lies.xlsx": (lambda: lying(bomb(GIGABYTE), GIGABYTE), "unpacks to more than"),
    "far corner.xlsx": (lambda: xlsx_of(FAR), "reaches over 1,048,576 rows and 16,384 columns"),
    "far corner, other quotes.xlsx": (lambda: xlsx_of(FAR.replace('"', "'")), "reaches over 1,048,576 rows"),
    "far corner.ods": (
        lambda: ods_table(ods_row(ods_cell("x", 10_000), 1_000_000)),
        "reaches over 1,000,000 rows and 10,000 columns",
    ),
    "a million columns.csv": (lambda: b"site,plot\nRise,1" + b"," * 10**6, "one row has 1,000,002 cells"),
    "a long row and many.csv": (
        lambda: b"site,plot\n" + b"," * 16_000 + b"\n" + b"Rise,1\n" * 20_000,
        "reaches over 20,003 rows and 16,001 columns",
    ),
    "far corners of many sheets.xls": (
        lambda: xls_of(["site"], {f"s{n}": [(0, 0, 0), (65_535, 255, 0)] for n in range(9)}),
        "its 9 sheets together reach over more than 20,000,000 cells",
    ),
    "entities.xlsx": (
        lambda: xlsx_of(
            '<row r="1"><c r="A1" t="inlineStr"><is><t>&b;</t></is></c></row>',
            '<!DOCTYPE w [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;&a;">]>',
        ),
        "damaged",
    ),
}
# name -> content, read to one header and one row
READ = {
    "nested.xlsx": lambda: xlsx_of(
        "<a>" * 200_000 + "</a>" * 200_000 + HEAD + f'<row r="2">{xlsx_cell("A2", "Rise")}</row>'
    ),
    "a million blank columns.ods": lambda: ods_table(
        ods_row(ods_cell("site") + '<table:table-cell table:number-columns-repeated="1000000"/>')
        + ods_row(ods_cell("Rise"))
        + ods_row("<table:table-cell/>", 1_048_574)
    ),
    "plain.xlsx": lambda: as_xlsx([["site"], ["Rise"]]),
    "plain.ods": lambda: as_ods([["site"], ["Rise"]]),
    "plain.xls": lambda: as_xls([["site"], ["Rise"]]),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_held_is_refused_in_plain_words(tmp_path: Path, name: str) -> None:
    make, words = REFUSED[name]
    (tmp_path / name).write_bytes(make())
    tracemalloc.start()
    start = time.process_time()
    with pytest.raises(RecordsError) as error:
        read_grid(tmp_path / name)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert words in error.value.what
    assert error.value.mend
    assert time.process_time() - start < 10
    assert most < 200 * 2**20


@pytest.mark.parametrize("name", READ)
def test_what_only_looks_large_is_read(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(READ[name]())
    grid = read_grid(tmp_path / name)
    assert grid.header == ("site",)
    assert list(grid.cells[0]) == ["Rise"]


LONG = "a" * 2**22
SHARED = (
    '<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
    f"<si><t>site</t></si><si><t>{LONG}</t></si></sst>"
)


def of_one_text() -> bytes:
    """Two thousand cells that hold the same text of four million letters."""
    held = io.BytesIO(
        xlsx_of(
            '<row r="1"><c r="A1" t="s"><v>0</v></c></row>'
            + "".join(f'<row r="{row}"><c r="A{row}" t="s"><v>1</v></c></row>' for row in range(2, 2002))
        )
    )
    with zipfile.ZipFile(held, "a", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/sharedStrings.xml", SHARED)
    return held.getvalue()


# name -> (content, words of the refusal)
MANY_TIMES = {
    "one text in every cell.xlsx": (of_one_text, "its cells hold 8,3"),
    "one text in every cell.xls": (
        lambda: xls_of(
            ["site", "a" * 65_000], {"Visits": [(0, 0, 0), *((row, 0, 1) for row in range(1, 4500))]}
        ),
        "its cells hold 292 million letters",
    ),
    "one text repeated.ods": (
        lambda: ods_table(ods_row(ods_cell("site")) + ods_row(ods_cell("a" * 2**20, 1000)) * 5),
        "its cells hold 5,2",
    ),
    "repeats of repeats.ods": (
        lambda: ods_table(ods_row(ods_cell("site")) + ods_row(ods_cell("x", 1000), 1000) * 100),
        "reaches over 100,001 rows and 1,000 columns",
    ),
    "a line of spaces.ods": (
        lambda: ods_table(ods_row(ods_cell('site<text:s text:c="4000000000"/>'))),
        "its cells hold 4,000 million letters",
    ),
}
READ_ALONE = """
import sys, time
from pathlib import Path
from survivor.errors import RecordsError
from tests.files.grids import read_grid
start = time.process_time()
try:
    read_grid(Path(sys.argv[1]))
except RecordsError as refusal:
    print(refusal.what)
print(time.process_time() - start)
status = Path("/proc/self/status")
if status.exists():  # the peak of this program alone: what getrusage says begins with that of its parent
    peak = [line for line in status.read_text().splitlines() if line.startswith("VmHWM")]
    print(int(peak[0].split()[1]) / 1024)
"""


@pytest.mark.parametrize(
    "name", some_slow(MANY_TIMES, ["one text in every cell.xlsx", "one text repeated.ods"])
)
def test_a_small_workbook_that_would_take_all_memory_is_refused_at_once(tmp_path: Path, name: str) -> None:
    make, words = MANY_TIMES[name]
    (tmp_path / name).write_bytes(make())
    assert (tmp_path / name).stat().st_size < 200_000
    done = subprocess.run(
        [sys.executable, "-c", READ_ALONE, tmp_path / name], capture_output=True, text=True, timeout=120
    )
    refusal, seconds, *megabytes = done.stdout.splitlines()
    assert words in refusal
    assert float(seconds) < 5  # a fraction of a second; it would be a minute
    assert all(float(peak) < 300 for peak in megabytes)


@pytest.mark.parametrize("at", range(0, 4096 + 3 * 512, 397))
def test_a_damaged_old_workbook_is_read_or_refused(tmp_path: Path, at: int) -> None:
    whole = bytearray(as_xls([["site", "plot"], ["Rise", "1"], ["Rise", "2"]]))
    whole[at : at + 40] = bytes(range(200, 240))
    for content in (bytes(whole), bytes(whole[:at])):
        (tmp_path / "sheet.xls").write_bytes(content)
        with contextlib.suppress(RecordsError):
            read_grid(tmp_path / "sheet.xls")


def test_letters_of_an_old_workbook_are_counted_to_the_last(tmp_path: Path) -> None:
    texts = ["site", "b" * 20_000, "c" * 30_000]  # each goes on over several records
    content = xls_of(texts, {"Visits": [(0, 0, 0), *((row, 0, 1 + row % 2) for row in range(1, 101))]})
    (tmp_path / "sheet.xls").write_bytes(content)
    read = read_grid(tmp_path / "sheet.xls").cells[0].str.len()
    assert held_by(content).letters == int(read.sum()) + len("site") == 50 * 50_000 + 4


def test_a_full_season_is_far_inside_the_bounds() -> None:
    assert MOST_CELLS >= 15 * 1_000_000  # a sheet of a million records with 15 columns


ROWS = [
    ["site", "plot", "date", "planting date", "planted", "alive", "notes"],
    ["=HYPERLINK(1)", "1", "2022-07-01", "2022-06-01", "50", "<script>alert(1)</script>", "{{ 7 * 7 }}"],
    ["../../etc/passwd", "2", "2022-07-01", "2022-06-01", "50", "45", "\x1b[2J"],
    ["\u202eesir", "3", "2022-07-01", "2022-06-01", "50", "@SUM(A1)", ""],
]


def test_formulas_markup_and_paths_stay_texts(read_study: ReadStudy, tmp_path: Path) -> None:
    book = as_xlsx(ROWS, name="a ' & b")
    records = read_study(AIM + sheet("visits.xlsx"), visits_xlsx=book)
    assert set(records.problems["code"]) >= {"unreadable-count"}
    page = page_of_check(records, {"sha256 of <visits>": "00"})
    assert "<script>alert" not in page
    assert "\x1b" not in page
    content = workbook_of_check(records, tmp_path)
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        sheets = [packed.read(name).decode() for name in packed.namelist() if "worksheets/sheet" in name]
        assert all("<f>" not in text for text in sheets)
        assert not [name for name in packed.namelist() if ".." in name or name.startswith("/")]


def test_signs_that_move_a_terminal_are_never_passed_on() -> None:
    assert as_text("\x1b[31mred\u202e") == "\N{REPLACEMENT CHARACTER}[31mred\N{REPLACEMENT CHARACTER}"


def test_a_path_out_of_the_folder_that_is_not_there_is_a_plain_error(read_study: ReadStudy) -> None:
    for name in ("../../no/such/file.csv", "a" * 5000 + ".csv", "con:.csv"):
        with pytest.raises(RecordsError, match="no such file"):
            read_study(AIM + sheet(name))
