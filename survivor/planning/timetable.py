"""What has to be done when before planting, and what is late already."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from survivor.planning.planfile import Plan, Site, Work
from survivor.planning.works import breaks_ground, checks_first, known_works
from survivor.report.content.cautions import breaks_ground as by_its_words
from survivor.report.content.wording import listed
from survivor.season.windows import first_dry_season
from survivor.settings import DrySeason

TIMETABLE_COLUMNS = ("site", "work", "earliest", "latest", "status", "condition", "source")

LATE, DUE, AHEAD, UNKNOWN = "late", "due now", "ahead", "no day given"
OVER = "last day past: was it done?"
NO_LEAD_TIME = "no lead time known"


def works_of(plan: Plan) -> dict[str, Work]:
    """Return lead times by name in small letters: the usual ones, the plan file's own over them."""
    return known_works(plan.works)


def checks_of(plan: Plan) -> tuple[str, ...]:
    """Names of the works that must be done before any ground is broken."""
    return tuple(work.name for work in works_of(plan).values() if work.before_ground)


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
        ``ahead``, ``last day past: was it done?``, ``no day given``, ``no lead time
        known``), ``condition, source``; in order of the latest day within each site.
        Checks that come before broken ground end a week before the first day on which any work of
        the site may break it.
    """
    known = works_of(plan)
    rows: list[tuple[str, ...]] = []
    for site in plan.sites:
        named = [
            work for method in plan.methods if takes(site, method.name, method.works) for work in method.works
        ]
        always = [work.name for work in known.values() if work.always]
        of_site = []
        names = list({name.casefold(): name for name in [*always, *named]}.values())
        planted = dt.date.fromisoformat(site.planted)
        timed = [known[name.casefold()] for name in names if name.casefold() in known]
        windows = _windows(timed, planted, plan)
        checks = listed([work.name for work in timed if work.before_ground])
        for name in names:
            work = known.get(name.casefold())
            if work is None:
                mend = f'add it to the plan file: [[works]] name = "{name}"'
                if by_its_words(name):
                    mend = f"only when these are done: {checks}; {mend}"
                of_site.append((site.name, name, "", "", NO_LEAD_TIME, mend, ""))
                continue
            first, last = windows[work.name.casefold()]
            status = _status(first, last, planted, plan.today)
            condition = work.condition
            if breaks_ground(work):
                condition = "; ".join(filter(None, (condition, f"only when these are done: {checks}")))
            of_site.append(
                (site.name, name, first.isoformat(), last.isoformat(), status, condition, work.source)
            )
        rows += sorted(of_site, key=lambda row: (row[3] or "9999", row[2]))
    return pd.DataFrame(rows, columns=list(TIMETABLE_COLUMNS))


def _windows(works: list[Work], planted: dt.date, plan: Plan) -> dict[str, tuple[dt.date, dt.date]]:
    """First and last day of every work of a site, checks before the first day that may break ground."""
    days = {work.name.casefold(): window(work, planted, plan.dry_season) for work in works}
    spans = {name: (first.toordinal(), last.toordinal()) for name, (first, last) in days.items()}
    moved = checks_first(works, spans, planted.toordinal())
    return {
        name: (dt.date.fromordinal(first), dt.date.fromordinal(last)) for name, (first, last) in moved.items()
    }


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
        return LATE if today <= planted else OVER
    return DUE if today >= first else AHEAD
