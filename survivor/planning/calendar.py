"""When each site is visited: days after planting, and visits tied to the dry season."""

from __future__ import annotations

import datetime as dt
import math
from typing import Final

import pandas as pd

from survivor.figures.words import number
from survivor.planning.planfile import Plan, Site, Visit
from survivor.season.windows import first_dry_season
from survivor.settings import DrySeason

CALENDAR_COLUMNS = ("site", "visit", "day", "date", "earliest", "latest", "note")

# Common practice, no source; a plan file's own [[visits]] stand instead of all of these.
USUAL_VISITS: Final = (
    Visit(name="planting", day=7, window_days=7),
    Visit(name="first weeks", day=35, window_days=7),
    Visit(name="before the first dry season", dry_season="before"),
    Visit(name="after the first dry season", dry_season="after"),
    Visit(name="12 months", day=365, window_days=21),
    Visit(name="after the second dry season", dry_season="after", which=2),
    Visit(name="24 months", day=730, window_days=21),
)
_WITHOUT_SEASON: Final = tuple(visit for visit in USUAL_VISITS if visit.dry_season is None)
_CLOSE_DAYS: Final = 21  # visits nearer than this tell next to nothing apart


def visits_of(plan: Plan) -> tuple[Visit, ...]:
    """Return the visits of a plan: its own, else the usual ones."""
    if plan.visits:
        return plan.visits
    return USUAL_VISITS if plan.dry_season is not None else _WITHOUT_SEASON


def visit_calendar(plan: Plan) -> pd.DataFrame:
    """Lay out the visits of every site.

    Returns
    -------
    DataFrame
        ``site, visit, day`` (since planting), ``date, earliest, latest`` (ISO),
        ``note``; in order of date within each site. A visit tied to a dry season that
        falls before planting, or right beside another visit, is left out with a row
        that has no date and says why.
    """
    rows = [row for site in plan.sites for row in _of_site(plan, site)]
    table = pd.DataFrame(rows, columns=list(CALENDAR_COLUMNS))
    table["day"] = table["day"].astype("Int64")
    return table


def visits_until(plan: Plan, day: int | None) -> int:
    """Visits of a site up to a day after planting (None: all): what a plot of the season costs in visits."""
    until = math.inf if day is None else day
    calendar = visit_calendar(plan)
    known = calendar[calendar["day"].notna() & (calendar["day"] <= until)]
    if not known.empty:
        return int(known.groupby("site").size().max())
    # Without planting days a dry season is taken to be over a year after the last one was.
    last = (visit.which * 365 if visit.day is None else visit.day for visit in visits_of(plan))
    return sum(1 for when in last if when <= until)


def _of_site(plan: Plan, site: Site) -> list[tuple[object, ...]]:
    planted = dt.date.fromisoformat(site.planted)
    dated: list[tuple[dt.date, Visit]] = []
    left_out: list[tuple[object, ...]] = []
    for visit in visits_of(plan):
        when = _when(visit, planted, plan.dry_season)
        if when is None:
            note = f"left out: planted in or just before that dry season, on {site.planted}"
            left_out.append((site.name, visit.name, None, "", "", "", note))
        else:
            dated.append((when, visit))
    dated.sort(key=lambda pair: pair[0])
    kept: list[tuple[object, ...]] = []
    counted = [when for when, visit in dated if visit.day is not None]
    for when, visit in dated:
        near = [other for other in counted if abs((other - when).days) < _CLOSE_DAYS]
        if visit.dry_season is not None and near:
            days = number(min(abs((other - when).days) for other in near))
            note = f"left out: within {days} days of another visit, which serves for both"
            left_out.append((site.name, visit.name, None, "", "", "", note))
            continue
        either = dt.timedelta(days=visit.window_days)
        first, last = max(planted, when - either), when + either
        if visit.dry_season is not None:
            # A visit before the season is not on its first day, nor one after it on its last.
            edge = dt.timedelta(days=max(visit.margin_days - 1, 0))
            first, last = (
                (first, min(last, when + edge))
                if visit.dry_season == "before"
                else (max(first, when - edge), last)
            )
        kept.append(
            (
                site.name,
                visit.name,
                (when - planted).days,
                when.isoformat(),
                first.isoformat(),
                last.isoformat(),
                _tied(visit),
            )
        )
    return kept + left_out


def _tied(visit: Visit) -> str:
    if visit.dry_season is None:
        return ""
    season = "the dry season" if visit.which == 1 else f"dry season {visit.which}"
    return f"{visit.margin_days} days {visit.dry_season} {season}"


def _when(visit: Visit, planted: dt.date, dry: DrySeason | None) -> dt.date | None:
    if visit.day is not None:
        return planted + dt.timedelta(days=visit.day)
    assert dry is not None, "the plan file refuses such a visit without a dry season"
    start, end = first_dry_season(pd.Timestamp(planted), dry)
    edge = start if visit.dry_season == "before" else end
    margin = dt.timedelta(days=visit.margin_days)
    later = edge + pd.DateOffset(years=visit.which - 1)
    day: dt.date = later.date() - margin if visit.dry_season == "before" else later.date() + margin
    return day if day > planted else None
