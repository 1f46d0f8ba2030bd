"""When each site is visited: days after planting, and visits tied to the dry season.

What has to be done when before planting, and what is late already.

Lead times of the works of preparation, as data.

Common practice, no source: a start for the local timetable, to be written over in the
plan file. Days before planting; negative days are after it. What a product label, a
permit or a local code says comes first, and no rate is ever given.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Mapping
from typing import Final, TypeAlias

import pandas as pd

from survivor.planning.planfile import Plan, Site, Visit, Work
from survivor.report.cautions import breaks_ground as by_its_words
from survivor.season.windows import first_dry_season
from survivor.settings import DrySeason
from survivor.words import listed, number

CALENDAR_COLUMNS = ("site", "visit", "day", "date", "earliest", "latest", "note")

# Common practice, no source; a plan file's own [[visits]] stand instead of all of these.
USUAL_VISITS: Final = (
    Visit(name="after planting", day=7, window_days=7),
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
    dated = calendar[calendar["day"].notna() & (calendar["day"] <= until)]
    if not dated.empty:
        return int(dated.groupby("site").size().max())
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
        near = [day for day in counted if abs((day - when).days) < _CLOSE_DAYS]
        if visit.dry_season is not None and near:
            days = number(min(abs((day - when).days) for day in near))
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


Span: TypeAlias = tuple[int, int]  # first and last day, on any scale that rises with time

COMMON: Final = "common practice, no source"
_A_WEEK: Final = 7


def _work(name: str, earliest: int, latest: int, condition: str = "", **more: bool) -> Work:
    return Work(
        name=name,
        earliest_days_before=earliest,
        latest_days_before=latest,
        condition=condition,
        source=COMMON,
        **more,
    )


USUAL_WORKS: Final = (
    _work("landholder agreement", 540, 240, "in writing, an untreated comparison included", always=True),
    _work(
        "heritage and vegetation checks",
        400,
        120,
        "before any ground is broken",
        always=True,
        before_ground=True,
    ),
    _work("order of plants", 400, 240, "by species and provenance", always=True),
    _work(
        "plans of buried services",
        120,
        14,
        "before any ground is broken; plans lapse, so ask again where works start later",
        always=True,
        before_ground=True,
    ),
    _work("weed control a year ahead", 400, 300, "while weeds grow; as the label and local rules say"),
    _work("fallow", 365, 180, "kept free of weeds; mind bare ground on slopes"),
    _work(
        "rip line",
        300,
        60,
        "while soil is dry enough to shatter, on the contour; settled by rain before planting",
        in_dry_season=True,
        breaks_ground=True,
    ),
    _work("mound", 240, 60, "after ripping; settled by rain before planting", breaks_ground=True),
    _work("scalp", 30, 0, "while soil is moist", breaks_ground=True),
    _work("knockdown", 60, 14, "while weeds grow; waiting period as the label says"),
    _work("spot spray", 60, 7, "while weeds grow; waiting period as the label says"),
    _work("strip spray", 60, 7, "while weeds grow; waiting period as the label says"),
    _work("pre-emergent", 30, 1, "on bare moist soil, before weeds come up; as the label says"),
    _work("auger hole", 21, 0, "while soil is moist, so that the wall is not glazed", breaks_ground=True),
    _work("mulch mat", 0, -14, "right after planting"),
    _work("guard", 0, -14, "right after planting; its stakes break ground", breaks_ground=True),
    _work("watering", 0, -7, "right after planting"),
    _work("follow-up weed control", -60, -150, "before the first dry season; keep off the plants"),
)


def known_works(own: Iterable[Work]) -> dict[str, Work]:
    """Return lead times by name in small letters: the usual ones, a file's own over them."""
    known = {work.name.casefold(): work for work in USUAL_WORKS}
    for work in own:
        usual = known.get(work.name.casefold())
        known[work.name.casefold()] = work if usual is None else _kept_safe(work, usual)
    return known


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


def breaks_ground(work: Work) -> bool:
    """Tell whether a work breaks ground: as it says, else by the words of its name."""
    if work.breaks_ground is not None:
        return work.breaks_ground
    return by_its_words(work.name)


def checks_first(works: Iterable[Work], spans: Mapping[str, Span], planted: int) -> dict[str, Span]:
    """Move the checks that come before broken ground so that they end a week before it may be broken.

    Parameters
    ----------
    works
        Of one site or guideline.
    spans
        Days on which each may be begun and must be done, by name in small letters.
    planted
        Day of planting on the same scale: planting breaks ground as well.

    Returns
    -------
    dict
        The same works. A check that ends in time keeps its days; else it is moved earlier whole,
        since it takes as long.
    """
    asked = list(works)
    ground = min([spans[work.name.casefold()][0] for work in asked if breaks_ground(work)] + [planted])
    windows = dict(spans)
    for work in asked:
        if work.before_ground:
            first, last = spans[work.name.casefold()]
            late = max(0, last - (ground - _A_WEEK))
            windows[work.name.casefold()] = first - late, last - late
    return windows


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


def timetable(plan: Plan, today: dt.date | None = None) -> pd.DataFrame:
    """Lay out the works of every site with their latest days, and flag those that are late.

    Parameters
    ----------
    plan
        With the day that it is, where its file says so.
    today
        The day that it is, where the plan does not say.

    Returns
    -------
    DataFrame
        ``site, work, earliest, latest`` (ISO), ``status`` (``late``, ``due now``,
        ``ahead``, ``last day past: was it done?``, ``no day given``, ``no lead time
        known``), ``condition, source``; in order of the latest day within each site.
        Checks that come before broken ground end a week before the first day on which any work of
        the site may break it.
    """
    works = works_of(plan)
    rows: list[tuple[str, ...]] = []
    for site in plan.sites:
        named = [
            work for method in plan.methods if takes(site, method.name, method.works) for work in method.works
        ]
        always = [work.name for work in works.values() if work.always]
        of_site = []
        names = list({name.casefold(): name for name in [*always, *named]}.values())
        planted = dt.date.fromisoformat(site.planted)
        timed = [works[name.casefold()] for name in names if name.casefold() in works]
        windows = _windows(timed, planted, plan)
        checks = listed([work.name for work in timed if work.before_ground])
        for name in names:
            work = works.get(name.casefold())
            if work is None:
                mend = f'add it to the plan file: [[works]] name = "{name}"'
                if by_its_words(name):
                    mend = f"only when these are done: {checks}; {mend}"
                of_site.append((site.name, name, "", "", NO_LEAD_TIME, mend, ""))
                continue
            first, last = windows[work.name.casefold()]
            status = _status(first, last, planted, plan.today or today)
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
