"""What has to be done when before planting, and what is late already."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from survivor.planning.planfile import Plan, Site, Work
from survivor.planning.works import USUAL_WORKS, breaks_ground, cleared
from survivor.report.content.wording import listed
from survivor.season.windows import first_dry_season
from survivor.settings import DrySeason

TIMETABLE_COLUMNS = ("site", "work", "earliest", "latest", "status", "condition", "source")

LATE, DUE, AHEAD, UNKNOWN = "late", "due now", "ahead", "no day given"
OVER = "last day past: was it done?"
NO_LEAD_TIME = "no lead time known"


def works_of(plan: Plan) -> dict[str, Work]:
    """Return lead times by name in small letters: the usual ones, the plan file's own over them."""
    known = {work.name.casefold(): work for work in USUAL_WORKS}
    for work in plan.works:
        usual = known.get(work.name.casefold())
        known[work.name.casefold()] = work if usual is None else _kept_safe(work, usual)
    return known


def checks_of(plan: Plan) -> tuple[str, ...]:
    """Names of the works that must be done before any ground is broken."""
    return tuple(work.name for work in works_of(plan).values() if work.before_ground)


def _kept_safe(work: Work, usual: Work) -> Work:
    """Keep what the usual work is known for: new days do not make a check one to leave out."""
    ground = usual.breaks_ground if work.breaks_ground is None else work.breaks_ground
    return work.model_copy(
        update={
            "always": work.always or usual.always,
            "before_ground": work.before_ground or usual.before_ground,
            "breaks_ground": ground,
        }
    )


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
    found = {work.name.casefold(): window(work, planted, plan.dry_season) for work in works}
    # Planting breaks ground as well.
    ground = min([found[work.name.casefold()][0] for work in works if breaks_ground(work)] + [planted])
    for work in works:
        if work.before_ground:
            first, last = found[work.name.casefold()]
            moved = cleared(first.toordinal(), last.toordinal(), ground.toordinal())
            found[work.name.casefold()] = (dt.date.fromordinal(moved[0]), dt.date.fromordinal(moved[1]))
    return found


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
