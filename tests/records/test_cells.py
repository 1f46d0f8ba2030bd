"""Cells to days, numbers and texts: input -> reading, or the code of what is wrong."""

from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest

from survivor.files.cells import dates, numbers, texts

DATES = {
    # cell: (without an order, day-first, month-first); a text of letters is a fault
    "2022-04-03": ("2022-04-03",) * 3,
    "2022/4/3": ("2022-04-03",) * 3,
    "2022-04-03 00:00:00": ("2022-04-03",) * 3,
    "2022-04-03T09:30": ("2022-04-03",) * 3,
    "20220403": ("2022-04-03",) * 3,
    "3 Apr 2022": ("2022-04-03",) * 3,
    "3-Apr-22": ("2022-04-03",) * 3,
    "3rd April 2022": ("2022-04-03",) * 3,
    "April 3, 2022": ("2022-04-03",) * 3,
    "Sun 3 Apr 2022": ("2022-04-03",) * 3,
    "44654": ("2022-04-03",) * 3,
    44654.0: ("2022-04-03",) * 3,
    dt.date(2022, 4, 3): ("2022-04-03",) * 3,
    dt.datetime(2022, 4, 3, 9, 30): ("2022-04-03",) * 3,
    "03/04/2022": ("ambiguous-date", "2022-04-03", "2022-03-04"),
    "3.4.22": ("ambiguous-date", "2022-04-03", "2022-03-04"),
    "04/04/2022": ("2022-04-04",) * 3,
    "25/12/2022": ("2022-12-25", "2022-12-25", "unreadable-date"),
    "12/25/2022": ("2022-12-25", "unreadable-date", "2022-12-25"),
    "31/02/2022": ("unreadable-date",) * 3,
    "2022-02-30": ("unreadable-date",) * 3,
    "3 to 5 April 2022": ("unreadable-date",) * 3,
    "April": ("unreadable-date",) * 3,
    "spring": ("unreadable-date",) * 3,
    7.0: ("unreadable-date",) * 3,
    "": ("",) * 3,
}


@pytest.mark.parametrize("cell", DATES, ids=repr)
def test_days(cell: object) -> None:
    for order, expected in zip((None, "day-first", "month-first"), DATES[cell], strict=True):
        values, faults = dates(pd.Series([cell], dtype=object), order)
        fault = faults[0].replace("serial-date", "")
        read = "" if pd.isna(values[0]) else values[0].date().isoformat()
        assert (fault or read) == expected


def test_a_spreadsheets_day_number_is_read_and_noted() -> None:
    assert list(dates(pd.Series([44654.0, "44654"], dtype=object))[1]) == ["serial-date"] * 2


NUMBERS = {
    "12": 12.0,
    " 0.5 ": 0.5,
    "0,5": 0.5,
    12.0: 12.0,
    "": None,
    "85%": "percentage",
    "85 percent": "percentage",
    "1,200": "unreadable-number",
    "about 12": "unreadable-number",
    True: "unreadable-number",
}


@pytest.mark.parametrize("cell", NUMBERS, ids=repr)
def test_numbers(cell: object) -> None:
    values, faults = numbers(pd.Series([cell], dtype=object))
    expected = NUMBERS[cell]
    if isinstance(expected, str):
        assert faults[0] == expected
    else:
        assert faults[0] == ""
        assert (None if pd.isna(values[0]) else values[0]) == expected


def test_texts_are_trimmed_and_numbers_written_as_people_write_them() -> None:
    cells = pd.Series(["  two   words ", "0012", 12.0, 0.5, dt.date(2022, 4, 3), True, ""], dtype=object)
    assert list(texts(cells)) == ["two words", "0012", "12", "0.5", "2022-04-03", "true", ""]
