"""When to start: lead times of the works that the preparations need, and of what the file adds."""

from __future__ import annotations

import datetime as dt
from typing import Final

from survivor.figures.words import number
from survivor.guideline.making import Guideline
from survivor.guideline.wording import works_of
from survivor.planning.planfile import Work
from survivor.planning.timetable import window
from survivor.planning.works import Span, checks_first, known_works
from survivor.report.content.elements import Column, Table
from survivor.report.content.wording import listed
from survivor.settings import DrySeason

_A_YEAR: Final = 2025  # any year that is no leap year: only months are printed


def calendar_table(guideline: Guideline) -> Table:
    """Return what is due how long before planting, the earliest first.

    A work of the dry season is kept to it as a plan does, where the usual day of planting is
    given, and the checks that come before any ground is broken end before the first day on which
    a work of the table may break it, as a plan's do.
    """
    planted = guideline.file.guideline.planting_day
    dry = guideline.seasons[-1].settings.dry_season
    works = works_due(guideline)
    spans = checks_first(works, {work.name.casefold(): _span(work, planted, dry) for work in works}, 0)
    lines = [(*spans[work.name.casefold()], work) for work in works]
    rows = tuple(
        (
            work.name,
            _weeks(-first, -last),
            *((_months(planted, -first, -last),) if planted else ()),
            _mind(work, dry) or "–",
            work.source,
        )
        for first, last, work in sorted(lines, key=lambda line: (line[0], line[1], line[2].name))
    )
    when = (Column("Months"),) if planted else ()
    return Table(
        "calendar-table",
        "What is due before planting"
        + (f", for planting about {_day(planted).day} {_day(planted):%B}" if planted else ""),
        (Column("What"), Column("Weeks before planting"), *when, Column("Mind"), Column("Source")),
        rows,
        note=_note(works, guideline),
    )


def works_due(guideline: Guideline) -> list[Work]:
    """Works of the preparations with their lead times, and the lines that the file adds or puts over them."""
    own = [
        Work(
            name=lead.what,
            earliest_days_before=lead.earliest_days_before,
            latest_days_before=lead.latest_days_before,
            always=True,
            breaks_ground=lead.breaks_ground,
            condition=lead.condition,
            source=lead.source,
        )
        for lead in guideline.file.calendar
    ]
    named = {name.casefold() for name in works_of(guideline)}
    return [work for name, work in known_works(own).items() if work.always or name in named]


def _note(works: list[Work], guideline: Guideline) -> str:
    checks = listed(work.name for work in works if work.before_ground)
    timed = {work.name.casefold() for work in works}
    of_methods = [work for season in guideline.seasons for m in season.settings.methods for work in m.works]
    untimed = sorted({work for work in of_methods if work.casefold() not in timed})
    more = f" No lead time is entered for: {'; '.join(untimed)}." if untimed else ""
    return (
        f"Break ground only when these two are done: {checks}. Both end a week before the earliest work here "
        f"that breaks ground.{more}"
    )


def _span(work: Work, planted: str | None, dry: DrySeason | None) -> Span:
    if not planted:
        return -work.earliest_days_before, -work.latest_days_before
    day = _day(planted)
    first, last = window(work, day, dry)
    return (first - day).days, (last - day).days


def _mind(work: Work, dry: DrySeason | None) -> str:
    if not work.in_dry_season:
        return work.condition
    which = f" ({_in_words(dry.start)} to {_in_words(dry.end)})" if dry is not None else ""
    return f"in the dry season{which}, {work.condition}"


def _in_words(month_day: str) -> str:
    return f"{_day(month_day).day} {_day(month_day):%B}"


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
