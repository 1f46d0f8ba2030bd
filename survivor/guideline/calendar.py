"""When to start: lead times of the works that the preparations need, and of what the file adds."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Final, TypeAlias

from survivor.figures.words import number
from survivor.guideline.making import Guideline
from survivor.guideline.wording import works_of
from survivor.planning.planfile import Work
from survivor.planning.timetable import window
from survivor.planning.works import USUAL_WORKS
from survivor.report.content.elements import Column, Table
from survivor.settings import DrySeason

Span: TypeAlias = tuple[int, int]  # first and last day, in days before planting
CHECKS: Final = ("heritage and vegetation checks", "plans of buried services")
# Stakes of guards are driven into the ground.
_BREAKING: Final = ("rip line", "ripping", "auger", "mound", "scalp", "dig", "fence", "guard", "cultivat")
_A_WEEK: Final = 7
_FOR_A_CHECK: Final = 60  # days that a check takes at the least; common practice, no source

_A_YEAR = 2025  # any year that is no leap year: only months are printed


def calendar_table(guideline: Guideline) -> Table:
    """Return what is due how long before planting, the earliest first.

    A work of the dry season is kept to it as a plan does, where the usual day of planting is
    given. The checks that come before any ground is broken end before the earliest work that
    breaks it.
    """
    planted = guideline.file.guideline.planting_day
    named = {name.casefold() for name in works_of(guideline)}
    works = [work for work in USUAL_WORKS if work.always or work.name.casefold() in named]
    dry = guideline.seasons[-1].settings.dry_season
    spans = checks_first({work.name: _span(work, planted, dry) for work in works})
    lines = [(*spans[work.name], work.name, _mind(work, dry), work.source) for work in works]
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
        note=f"Break ground only when these two are done: {' and '.join(CHECKS)}. Both end a week before "
        "the earliest work here that breaks ground.",
    )


def checks_first(spans: Mapping[str, Span]) -> dict[str, Span]:
    """Move the checks that come before any ground is broken ahead of the earliest work that breaks it.

    Parameters
    ----------
    spans
        First and last day before planting, by work.

    Returns
    -------
    dict
        The same works; checks end a week before ground is first broken, or earlier.
    """
    breaking = [span[0] for name, span in spans.items() if breaks_ground(name)]
    if not breaking:
        return dict(spans)
    found = dict(spans)
    for name in CHECKS:
        if name in found:
            first, last = found[name]
            last = max(last, max(breaking) + _A_WEEK)
            found[name] = max(first, last + _FOR_A_CHECK), last
    return found


def breaks_ground(work: str) -> bool:
    """Tell whether a work breaks ground: digs, rips, mounds, augers, scalps or drives stakes."""
    return any(word in work.casefold() for word in _BREAKING)


def _span(work: Work, planted: str | None, dry: DrySeason | None) -> Span:
    if not planted:
        return work.earliest_days_before, work.latest_days_before
    day = _day(planted)
    first, last = window(work, day, dry)
    return (day - first).days, (day - last).days


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
