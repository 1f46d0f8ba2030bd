"""Sentences of a guideline.

When to start: lead times of the works that the preparations need, and of what the file adds.
"""

from __future__ import annotations

import datetime as dt
import math
from typing import Final

from survivor.document.elements import Column, Table
from survivor.guideline import english as en
from survivor.guideline.advice import priced_by
from survivor.guideline.ground import RadiusAdvice
from survivor.guideline.making import Guideline
from survivor.guideline.rule import POWER
from survivor.planning.calendar import Span, checks_first, known_works, window
from survivor.planning.planfile import Work
from survivor.report.cautions import touched
from survivor.sentences import Name, Sentence, Value, cell, say
from survivor.settings import DrySeason
from survivor.words import counted, listed, money, month, month_day, number

_LITTLE: Final = 0.1  # plants alive per 100 planted
LEAST_WORTH: Final = 0.005  # the same: less would print as 0.00


def usual_of(guideline: Guideline) -> str:
    """Name the usual practice."""
    return guideline.seasons[0].usual


def data_note(guideline: Guideline) -> str:
    """Say what records the version rests on."""
    intervals = [season.intervals for season in guideline.seasons]
    sites = {str(site) for frame in intervals for site in frame["site"].unique()}
    plots = sum(len(frame[["site", "block", "plot"]].drop_duplicates()) for frame in intervals)
    names = ", ".join(guideline.version.seasons)
    counts = f"{counted(len(sites), 'site')}, {counted(plots, 'plot')}"
    return f"{counted(len(intervals), 'season')}, {counts}: {names}"


def money_note(guideline: Guideline) -> str:
    """Say what the usual practice costs, and where the prices are from; empty without prices."""
    season = priced_by(guideline.seasons)
    if season is None:
        return ""
    costs = season.settings.costs
    prices = f": {costs.currency} of {costs.year}; source: “{costs.source}”" if costs is not None else ""
    open_ = any(row.cost_per_extra is not None and (row.lower or 0.0) <= 0 for row in guideline.advice)
    lines = (en.MONEY_NOTE.format(season=season.name, prices=prices), en.MONEY_NOT_CLEAR, en.MONEY_ADVISED)
    return " ".join(line for line in lines if open_ or line != en.MONEY_NOT_CLEAR)


def power_words(guideline: Guideline) -> str:
    """Say how often the usual rule advises what is useless and what gains; empty for another rule."""
    if guideline.file.rule:
        return ""
    large, small = (listed([str(share) for share in POWER[gain].values()]) for gain in (20, 10))
    return en.RULE_POWER.format(seasons=listed([str(n) for n in POWER[20]]), large=large, small=small)


def works_of(guideline: Guideline) -> tuple[str, ...]:
    """Names of the preparations and their works, of all seasons and of local practice."""
    works: list[str] = []
    for season in guideline.seasons:
        for method in season.settings.methods:
            works += [method.name, *method.works]
    works += [entry.preparation for entry in guideline.file.practice]
    return tuple(dict.fromkeys(works))


def cautions_touched(guideline: Guideline) -> str:
    """Say which cautions the preparations touch."""
    names = [caution.subject.lower() for caution in touched(works_of(guideline))]
    return en.TOUCHED.format(subjects=listed(names)) if names else ""


def radius_words(each: RadiusAdvice) -> str:
    """Say the radius advised, with its limits and area, or why none is."""
    if each.value is None:
        return f"{en.NO_RADIUS} {each.sentence}\n{counted(each.n_plots, 'plot')}."
    low = number(each.lower, 2) if each.lower is not None else "not known"
    high = number(each.upper, 2) if each.upper is not None else "not known"
    return (
        f"{number(each.value, 2)} m radius, {number(2 * each.value, 2)} m across, "
        f"{number(math.pi * each.value**2, 2)} m² (95 % CI of the radius {low} to {high} m).\n"
        f"{each.sentence} {counted(each.n_plots, 'plot')}."
    )


def next_sentence(guideline: Guideline) -> tuple[Sentence, ...]:
    """Say which comparison a further season would teach most about."""
    best = guideline.next.iloc[0]
    value = float(best["value_per_100"])
    worth = number(value, 2) if value >= LEAST_WORTH else "under 0.01"
    plants = float(best["value_plants"])
    picked = {"ground": best["ground"], "preparation": best["preparation"]}
    per_100 = Value(worth, value, cell("try-next", "value_per_100", **picked))
    gained = say(en.NEXT_WORTH, worth=per_100)
    if plants == plants:
        planted = float(best["plants_a_year"])
        gained = say(
            en.NEXT_WORTH_A_YEAR,
            worth=per_100,
            plants=Value(number(plants), plants, cell("try-next", "value_plants", **picked)),
            planted=Value(number(planted), planted, cell("try-next", "plants_a_year", **picked)),
        )
    method, ground = Name(str(best["preparation"])), str(best["ground"])
    said = [say(en.NEXT, answer=str(best["answer"]), method=method, ground=ground), gained]
    on_trial = any(each.answer == "worth a trial" for each in guideline.advice)
    if best["answer"] != "worth a trial" and on_trial:
        said.append(say(en.NEXT_NOT_TRIAL))
    said += [*_next_cost(guideline, ground, method.text), say(en.NEXT_PLAN)]
    if value >= _LITTLE:
        return tuple(said)
    return (say(en.LITTLE_LEFT), *([say(en.STILL_ASKED)] if on_trial else []), *said)


def _next_cost(guideline: Guideline, ground: str, preparation: str) -> list[Sentence]:
    """Say what an established plant costs, since what a season is worth goes by survival alone."""
    for row in guideline.advice:
        same = (row.ground, row.preparation) == (ground, preparation)
        if same and row.established is not None and row.usual_established is not None:
            prices = (row.established.cost, row.usual_established.cost)
            cost, usual = (money(price, row.currency) for price in prices)
            return [say(en.NEXT_COST, cost=cost, usual=usual)]
    return []


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
        "What is due before and after planting"
        + (f", for planting about {_day(planted).day} {_day(planted):%B}" if planted else ""),
        (Column("What"), Column("Weeks before planting"), *when, Column("Notes"), Column("Source")),
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
    said = en.CALENDAR_NOTE.format(checks=checks)
    return f"{said} {en.NO_LEAD_TIME.format(works=', '.join(untimed))}" if untimed else said


def _span(work: Work, planted: str | None, dry: DrySeason | None) -> Span:
    if not planted:
        return -work.earliest_days_before, -work.latest_days_before
    day = _day(planted)
    first, last = window(work, day, dry)
    return (first - day).days, (last - day).days


def _mind(work: Work, dry: DrySeason | None) -> str:
    if not work.in_dry_season:
        return work.condition
    which = f" ({month_day(dry.start)} to {month_day(dry.end)})" if dry is not None else ""
    return f"in the dry season{which}, {work.condition}"


def _day(month_day: str) -> dt.date:
    return dt.date.fromisoformat(f"{_A_YEAR}-{month_day if month_day != '02-29' else '02-28'}")


def _weeks(first: int, last: int) -> str:
    if first < 0 or last < 0:
        near, far = sorted((abs(first), abs(last)))
        start = "planting" if near == 0 else number(near / 7)
        return f"{start} to {number(far / 7)} after"
    return f"{number(first / 7)} to {number(last / 7)}"


def _months(planted: str, first: int, last: int) -> str:
    start, end = (_day(planted) - dt.timedelta(days=days) for days in (first, last))
    return " to ".join(dict.fromkeys(_month_name(day) for day in (start, end)))


def _month_name(day: dt.date) -> str:
    """Name the month, and the year where it is not that of planting."""
    ago = _A_YEAR - day.year
    when = {0: "", 1: " the year before", -1: " the year after"}.get(ago, f" {ago} years before")
    return f"{month(day.month)}{when}"
