"""Two copies of a sheet: made by known changes, the differences are those changes."""

from pathlib import Path

import pytest
import xlsxwriter
from hypothesis import given
from hypothesis import strategies as st

from survivor.files.comparing import Cell, differences

ROWS = [["Tag", "State"], ["1", "alive"], ["2", "dead"], ["3", "alive"], ["4", "dead"]]


def text(rows: list[list[str]]) -> bytes:
    return "".join(",".join(row) + "\n" for row in rows).encode()


def compared(tmp_path: Path, before: list[list[str]], now: list[list[str]]):
    (tmp_path / "before.csv").write_bytes(text(before))
    (tmp_path / "now.csv").write_bytes(text(now))
    return differences(tmp_path / "before.csv", tmp_path / "now.csv")


def test_the_same_copy_differs_in_nothing(tmp_path: Path):
    found = compared(tmp_path, ROWS, ROWS)
    assert (found.added, found.gone, found.cells) == (0, 0, ())


def test_a_cell_that_was_changed_is_named_with_both_texts(tmp_path: Path):
    now = [row[:] for row in ROWS]
    now[2][1] = "missing"
    assert compared(tmp_path, ROWS, now).cells == (Cell("", 3, 1, "dead", "missing"),)


def test_rows_added_and_taken_out_are_counted_and_move_no_other(tmp_path: Path):
    added = [*ROWS[:2], ["9", "alive"], *ROWS[2:], ["10", "dead"]]
    found = compared(tmp_path, ROWS, added)
    assert (found.added, found.gone, found.cells) == (2, 0, ())
    found = compared(tmp_path, added, ROWS)
    assert (found.added, found.gone, found.cells) == (0, 2, ())


def test_sheets_of_a_workbook_are_compared_by_name(tmp_path: Path):
    for name, states in (("before", ["alive", "dead"]), ("now", ["alive", "alive"])):
        with xlsxwriter.Workbook(tmp_path / f"{name}.xlsx") as book:
            for sheet, state in zip(("North", "South"), states, strict=True):
                book.add_worksheet(sheet).write_row(0, 0, [1, state])
    found = differences(tmp_path / "before.xlsx", tmp_path / "now.xlsx")
    assert found.cells == (Cell("South", 1, 1, "dead", "alive"),)


@pytest.mark.parametrize("content", [b"", b"\x00\x01", b"PK\x03\x04"])
def test_what_cannot_be_read_is_not_compared(tmp_path: Path, content: bytes):
    (tmp_path / "a.xlsx").write_bytes(content)
    (tmp_path / "b.csv").write_bytes(text(ROWS))
    assert differences(tmp_path / "a.xlsx", tmp_path / "b.csv") is None


@given(kept=st.lists(st.booleans(), min_size=4, max_size=4))
def test_as_many_rows_are_gone_as_were_taken_out(tmp_path_factory: pytest.TempPathFactory, kept: list[bool]):
    now = [ROWS[0], *(row for row, stays in zip(ROWS[1:], kept, strict=True) if stays)]
    found = compared(tmp_path_factory.mktemp("two"), ROWS, now)
    assert (found.added, found.gone, found.cells) == (0, kept.count(False), ())
