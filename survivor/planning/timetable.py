"""What has to be done when before planting, and what is late already."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from survivor.planning.planfile import Plan, Site, Work
from survivor.planning.works import USUAL_WORKS
from survivor.season.windows import first_dry_season
from survivor.settings import DrySeason

TIMETABLE_COLUMNS = ("site", "work", "earliest", "latest", "status", "condition", "source")

LATE, DUE, AHEAD, OVER, UNKNOWN = "late", "due now", "ahead", "planting is past", "no day given"
NO_LEAD_TIME = "no lead time known"


def works_of(plan: Plan) -> dict[str, Work]:
    """Return lead times by name in small letters: the usual ones, the plan file's own over them."""
    known = {work.name.casefold(): work for work in USUAL_WORKS}
    known.update({work.name.casefold(): work for work in plan.works})
    return known


def takes(site: Site, method: str, works: tuple[str, ...]) -> bool:
    """Tell whether a method can be used at a site."""
    refused = {word.casefold() for word in site.cannot}
    return method.casefold() not in refused and not refused & {work.casefold() for work in works}


def timetable(plan: Plan) -> pd.DataFrame:
    """Lay out the works of every site with their latest days, and flag those that are late.

    Returns
    -------
    DataFrame
        ``site, work, earliest, latest`` (ISO), ``status`` (``late``, ``due now``,
        ``ahead``, ``planting is past``, ``no day given``, ``no lead time known``),
        ``condition, source``; in order of the latest day within each site.
    """
    known = works_of(plan)
    rows: list[tuple[str, ...]] = []
    for site in plan.sites:
        named = [
            work for method in plan.methods if takes(site, method.name, method.works) for work in method.works
        ]
        always = [work.name for work in known.values() if work.always]
        of_site = []
        for name in dict.fromkeys([*always, *named]):
            work = known.get(name.casefold())
            if work is None:
                mend = f'add it to the plan file: [[works]] name = "{name}"'
                of_site.append((site.name, name, "", "", NO_LEAD_TIME, mend, ""))
                continue
            first, last = window(work, dt.date.fromisoformat(site.planted), plan.dry_season)
            status = _status(first, last, dt.date.fromisoformat(site.planted), plan.today)
            of_site.append(
                (site.name, name, first.isoformat(), last.isoformat(), status, work.condition, work.source)
            )
        rows += sorted(of_site, key=lambda row: (row[3] or "9999", row[2]))
    return pd.DataFrame(rows, columns=list(TIMETABLE_COLUMNS))


def window(work: Work, planted: dt.date, dry: DrySeason | None) -> tuple[dt.date, dt.date]:
    """First and last day of a work for one planting date.

    A work of the dry season is narrowed to the last dry season before planting, where
    the two have days in common.
    """
    first = planted - dt.timedelta(days=work.earliest_days_before)
    last = planted - dt.timedelta(days=work.latest_days_before)
    if not (work.in_dry_season and dry):
        return first, last
    start, end = (day.date() for day in first_dry_season(pd.Timestamp(first), dry))
    narrow = max(first, start), min(last, end)
    return narrow if narrow[0] <= narrow[1] else (first, last)


def _status(first: dt.date, last: dt.date, planted: dt.date, today: dt.date | None) -> str:
    if today is None:
        return UNKNOWN
    if today > last:
        return LATE if today <= planted or last >= planted else OVER
    return DUE if today >= first else AHEAD
