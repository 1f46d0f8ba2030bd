"""When to start: lead times of the works that the preparations need, and of what the file adds."""

from __future__ import annotations

import datetime as dt

from survivor.figures.words import number
from survivor.guideline.making import Guideline
from survivor.guideline.wording import works_of
from survivor.planning.works import USUAL_WORKS
from survivor.report.content.elements import Column, Table

_A_YEAR = 2025  # any year that is no leap year: only months are printed


def calendar_table(guideline: Guideline) -> Table:
    """Return what is due how long before planting, the earliest first."""
    planted = guideline.file.guideline.planting_day
    named = {name.casefold() for name in works_of(guideline)}
    lines = [
        (work.earliest_days_before, work.latest_days_before, work.name, work.condition, work.source)
        for work in USUAL_WORKS
        if work.always or work.name.casefold() in named
    ]
    lines += [
        (lead.earliest_days_before, lead.latest_days_before, lead.what, lead.condition, lead.source)
        for lead in guideline.file.calendar
    ]
    rows = tuple(
        (
            what,
            _weeks(first, last),
            *((_months(planted, first, last),) if planted else ()),
            condition or "–",
            source,
        )
        for first, last, what, condition, source in sorted(
            lines, key=lambda line: (-line[0], -line[1], line[2])
        )
    )
    when = (Column("Months"),) if planted else ()
    return Table(
        "calendar-table",
        "What is due before planting"
        + (f", for planting about {_day(planted).day} {_day(planted):%B}" if planted else ""),
        (Column("What"), Column("Weeks before planting"), *when, Column("Mind"), Column("Source")),
        rows,
    )


def _day(month_day: str) -> dt.date:
    return dt.date.fromisoformat(f"{_A_YEAR}-{month_day if month_day != '02-29' else '02-28'}")


def _weeks(first: int, last: int) -> str:
    if first < 0 or last < 0:
        near, far = sorted((abs(first), abs(last)))
        start = "planting" if near == 0 else number(near / 7)
        return f"{start} to {number(far / 7)} after"
    return f"{number(first / 7)} to {number(last / 7)}"


def _months(month_day: str, first: int, last: int) -> str:
    start, end = (_day(month_day) - dt.timedelta(days=days) for days in (first, last))
    return " to ".join(dict.fromkeys(_month(day) for day in (start, end)))


def _month(day: dt.date) -> str:
    """Name the month, and the year where it is not that of planting."""
    ago = _A_YEAR - day.year
    when = {0: "", 1: " the year before", -1: " the year after"}.get(ago, f" {ago} years before")
    return f"{day:%B}{when}"
