"""Sheets mutated at random: never a traceback, never a hang, never a record without an account.

Cells, rows, columns and headers are changed in every way that hypothesis finds and
people do; bytes are flipped in text files, in packed workbooks and in their XML. Each
sheet has about thirty rows and two seconds of processor time.
"""

from __future__ import annotations

import gc
import os
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from survivor.errors import RecordsError, SurvivorError
from survivor.intervals import check_intervals
from survivor.records import Records, read_records
from survivor.report.checked.page import page_of_check
from survivor.report.checked.workbook import workbook_of_check
from survivor.settings import read_settings
from survivor.vocabulary import INTERVAL_COLUMNS
from tests.files.grids import read_grid
from tests.records.making import COUNTS, TAGGED
from tests.records.sheetfiles import as_csv, as_ods, as_xlsx, with_members_changed

SECONDS = 2.0
CHUNKS = 10
# Four tests: 800 sheets; SURVIVOR_SHEETS=10000 for as many.
SHEETS = int(os.environ.get("SURVIVOR_SHEETS", "800")) // (4 * CHUNKS)
AIM = '\npurpose = "check a target"\nas_of'
DATASETS = Path(__file__).parents[2] / "datasets"

SEEDLINGS = [
    [
        "site",
        "block",
        "plot",
        "tag",
        "species",
        "cohort",
        "planting date",
        "visit",
        "date",
        "state",
        "height",
    ],
    *(
        ["Rise", "B1", plot, f"0{tag}", "oak", "planting", "2022-06-01", visit, date, "A", "30"]
        for plot in ("1", "2")
        for tag in range(5)
        for visit, date in (("1", "2022-07-01"), ("2", "2022-09-01"), ("3", "2023-06-01"))
    ),
]
PLOTS = [
    ["site", "plot", "method", "observer", "planting date", "planted", "visit", "date", "alive", "infill"],
    *(
        ["Rise", str(plot), "rip", "Ann", "2022-06-01", "50", visit, date, str(50 - plot), ""]
        for plot in range(10)
        for visit, date in (("1", "2022-07-01"), ("2", "2022-09-01"), ("3", "2023-06-01"))
    ),
]
WIDE = [
    [
        "site",
        "plot",
        "species",
        "planting date",
        "planted",
        "2022-07-01",
        "2022-09-01",
        "2023-06-01",
        "notes",
    ],
    *(["Rise", str(plot), "oak", "2022-06-01", "50", "48", "45", "40", ""] for plot in range(28)),
    ["Total", "", "", "", "1400", "1344", "1260", "1120", ""],
]
VISITS = "".join(
    f'[[records.visits]]\nname = "{day}"\nstate = "{day}"\n'
    for day in ("2022-07-01", "2022-09-01", "2023-06-01")
)
BASES = {"tagged": SEEDLINGS, "counts": PLOTS, "wide": WIDE}
ODD = [
    "", " ", "?", "-", "x", "Total", "n/a", "85%", "0.85", "-5", "1e9", "1e400", "0012", "12.0", "03/04/2022",
    "13/04/2022", "44652", "2022-13-45", "29/2/2023", "TRUE", "NaN", "inf", "None", "é", "\x1b[31m", "=1+1",
    "@SUM(A1)", "../../etc/passwd", "C:\\x", "\u202eabc", "a" * 300, '"', "'", "1,5", "1.234,5", "2032-01-01",
    "1999-01-01", "0001-01-01", "9999-12-31", "dead", "NF", "0", "infill", "Bo", "<b>", "{{ x }}", "\x00",
    "|",
]  # fmt: skip
CELL = st.one_of(
    st.sampled_from(ODD),
    st.text(max_size=8),
    st.integers(-10, 10**6).map(str),
    st.dates().map(str),
    st.dates().map(lambda day: f"{day.day}/{day.month}/{day.year}"),
)
HEADER = st.sampled_from(
    ["", "Notes", "plot", "height (m)", "Radius", "survival (%)", "site", "date", "alive"]
)
ACTS = ["cell", "cell", "cell", "column", "again", "drop", "blank", "header", "no column", "swap", "shift"]
MUTATION = st.tuples(st.sampled_from(ACTS), st.integers(0, 10**6), st.integers(0, 10**6), CELL, HEADER)
RULES = st.sampled_from(
    [
        "",
        '[rules]\nblank = "dead"\nmeasured_means_alive = true\ntags_alike = "join"\n',
        '[rules]\nmissing = "unknown"\ntagged = "at planting"\ncount_rises = "mend"\n',
    ]
)
ORDER = st.sampled_from(["", 'date_order = "day-first"\n', 'date_order = "month-first"\n'])
FORMS: dict[str, Callable[[Any], bytes]] = {
    ".csv": as_csv,
    ".tsv": lambda table: as_csv(table, sign="\t", encoding="utf-16"),
    ".txt": lambda table: as_csv(table, sign=";", encoding="cp1252"),
    ".xlsx": as_xlsx,
    ".ods": as_ods,
}


def study(base: str, ending: str, rules: str, order: str) -> str:
    head = (TAGGED if base == "tagged" else COUNTS).replace("\nas_of", AIM)
    shape = 'shape = "wide"\n' if base == "wide" else ""
    table = f'[[records.sheets]]\nfile = "visits{ending}"\n{order}'
    return head + shape + table + (VISITS if base == "wide" else "") + rules


def mutated(base: str, mutations: list[tuple[str, int, int, str, str]]) -> list[list[str]]:
    table = [list(row) for row in BASES[base]]
    for act, first, second, cell, header in mutations:
        row, column = 1 + first % (len(table) - 1), second % len(table[0])
        if act in ("again", "drop", "blank", "shift"):
            change_rows(table, act, row)
        elif act == "cell":
            table[row][column] = cell
        elif act == "header":
            table[0][column] = header
        else:
            change_columns(table, act, column, first % len(table[0]), cell)
    return table


def change_rows(table: list[list[str]], act: str, row: int) -> None:
    if act == "again":
        table.append(list(table[row]))
    elif act == "drop" and len(table) > 3:
        del table[row]
    elif act == "blank":
        table.insert(row, [""] * len(table[0]))
    elif act == "shift":
        table[row] = ["", *table[row][:-1]]


def change_columns(table: list[list[str]], act: str, column: int, other: int, cell: str) -> None:
    for number, each in enumerate(table):
        if act == "column" and number:
            each[column] = cell
        elif act == "swap":
            each[column], each[other] = each[other], each[column]
    if act == "no column" and len(table[0]) > 2:
        for each in table:
            del each[column]


def read_bounded(toml: str, name: str, content: bytes) -> Records | None:
    """Read a study of one sheet; only an error of ours is allowed, and every row has its account."""
    with tempfile.TemporaryDirectory() as held:
        folder = Path(held)
        (folder / "study.toml").write_text(toml, encoding="utf-8")
        (folder / name).write_bytes(content)
        records, said = None, ""
        gc.disable()  # the seconds are those of reading, not of clearing away what earlier tests left
        start = time.process_time()
        try:
            records = read_records(folder, read_settings(folder))
        except SurvivorError as error:
            said = error.what and error.mend
        finally:
            seconds = time.process_time() - start
            gc.enable()
        assert records is not None or said
        assert seconds < SECONDS
        if records is None:
            return None
        rows = list(read_grid(folder / name, name=name).cells.index)
        if content[len(content) // 2] % 16 == 0:  # one in sixteen is written as well as read
            assert "\x1b" not in page_of_check(records, {})
            assert workbook_of_check(records, folder).startswith(b"PK")
    accounts = records.accounts
    if records.nothing is None:
        check_intervals(records.intervals)
    else:
        assert records.intervals.empty
        assert list(records.intervals.columns[: len(INTERVAL_COLUMNS)]) == list(INTERVAL_COLUMNS)
        assert (accounts["fate"] != "used").all()
        assert records.nothing.mend
        with pytest.raises(RecordsError):
            records.need_intervals()
    sizes = records.sizes()
    assert sizes["entered"] == sizes["died"] + sizes["lost"] + sizes["alive"]
    assert sorted(set(accounts["row"])) == rows
    if 'shape = "wide"' in toml:
        each = accounts.groupby("row")
        whole = each["code"].first().isin(["total-row", "note-row"])
        assert ((each.size() == 3) | whole).all()
    else:
        assert len(accounts) == len(rows)
    unused = accounts[accounts["fate"] != "used"]
    assert set(unused["code"]) <= set(records.problems["code"])
    assert (unused["code"] != "").all()
    assert (records.problems["mend"] != "").all()
    return records


def try_cells(base: str, ending: str, mutations: Any, rules: str, order: str) -> None:
    read_bounded(
        study(base, ending, rules, order), f"visits{ending}", FORMS[ending](mutated(base, mutations))
    )


FLIPS = st.lists(st.tuples(st.integers(0, 10**7), st.integers(1, 255)), min_size=1, max_size=30)


def flipped(content: bytes, flips: list[tuple[int, int]]) -> bytes:
    out = bytearray(content)
    for place, by in flips:
        if out:
            out[place % len(out)] ^= by
    return bytes(out)


def try_bytes(base: str, ending: str, flips: list[tuple[int, int]], inside: bool, cut: int) -> None:
    content = FORMS[ending](BASES[base])
    if inside and ending in (".xlsx", ".ods"):
        content = with_members_changed(content, lambda part: flipped(part, flips))
    else:
        content = flipped(content, flips)[: len(content) - cut % len(content) if cut else None]
    read_bounded(study(base, ending, "", ""), f"visits{ending}", content)


def try_demo(flips: list[tuple[int, int]], order: str) -> None:
    """Flip bytes of the first lines of the demo's visits, under the demo's own columns."""
    lines = (DATASETS / "tagged" / "visits.csv").read_bytes().split(b"\n")[:31]
    content = flipped(b"\n".join(lines), flips)
    read_bounded(study("tagged", ".csv", '[rules]\ntagged = "at planting"\n', order), "visits.csv", content)


BYTES = (
    st.sampled_from(sorted(BASES)),
    st.sampled_from(sorted(FORMS)),
    FLIPS,
    st.booleans(),
    st.integers(0, 3),
)
CELLS = (
    st.sampled_from(sorted(BASES)),
    st.sampled_from([".csv", ".csv", *sorted(FORMS)]),
    st.lists(MUTATION, min_size=1, max_size=12),
    RULES,
    ORDER,
)
TRIES: dict[str, tuple[Callable[..., None], tuple[Any, ...]]] = {
    "cells": (try_cells, CELLS),
    "few cells": (try_cells, (*CELLS[:2], st.lists(MUTATION, min_size=1, max_size=2), *CELLS[3:])),
    "bytes": (try_bytes, BYTES),
    "bytes of the demo": (try_demo, (FLIPS, ORDER)),
}


def many(name: str, number: int, start: int) -> None:
    attempt, strategies = TRIES[name]
    quiet = settings(
        max_examples=number,
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
        phases=(Phase.generate, Phase.shrink),
    )
    seed(start)(quiet(given(*strategies)(attempt)))()


@pytest.mark.slow
@pytest.mark.parametrize("chunk", range(1, CHUNKS + 1))
@pytest.mark.parametrize("name", TRIES)
def test_no_mutated_sheet_gives_a_traceback_hangs_or_loses_a_record(name: str, chunk: int) -> None:
    many(name, SHEETS, chunk)
