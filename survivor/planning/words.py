"""What a plan says, in sentences."""

from __future__ import annotations

import datetime as dt
import math
from typing import Final

import pandas as pd

from survivor.planning.calendar import DUE, LATE, OVER, checks_of, takes, timetable, visits_until
from survivor.planning.layout import plots_in_all
from survivor.planning.planfile import Plan
from survivor.planning.season import PlannedSeason
from survivor.planning.split import cost_of_plot
from survivor.words import counted, date, limits, listed, number, plain, sentence

ENOUGH, NOT_ENOUGH, NOTHING = (
    "can answer the question",
    "cannot be counted on to answer the question",
    "cannot answer the question",
)

_WHOLE_SCALE: Final = 100  # per 100 planted
_FEWEST_STEMS, _MOST_STEMS = 1_000, 2_500  # planted a hectare; common practice, no source
_A_YEAR_APART: Final = 366  # days between plantings of one season
JUST_ABOUT, JUST_SHORT = (
    "can just about answer the question",
    "falls just short of what answers the question",
)


def question(season: PlannedSeason) -> str:
    """Return the question that the season has to answer."""
    asked = season.plan.question
    better = asked.survival_per_100 + asked.smallest_difference
    return (
        f"Wanted: to show {plain(asked.smallest_difference)} more alive per 100 planted at {asked.milestone} "
        f"({plain(better)} against {plain(asked.survival_per_100)} under {asked.usual_practice}) "
        f"in {plain(asked.power_per_100)} of 100 seasons."
    )


def size(season: PlannedSeason) -> str:
    """Return the size that the answer is for."""
    if season.plots == 0:
        return f"Size: none; {season.why_size}."
    methods, plots = len(season.plan.methods), plots_in_all(season.plan, season.plots)
    fewer = "" if plots == methods * season.plots else "; some sites do not take every method"
    return (
        f"Size: {number(plots)} plots and {number(plots * season.seedlings)} seedlings, "
        f"{counted(season.plots, 'plot')} of each of {methods} methods with "
        f"{counted(season.seedlings, 'seedling')} a plot{fewer}: {season.why_size}."
    )


def cost(season: PlannedSeason) -> str:
    """Return what that size costs to the milestone, and what its later visits cost; empty without costs."""
    costs = season.plan.costs
    if costs is None or season.plots == 0:
        return ""
    plots = plots_in_all(season.plan, season.plots)
    until = visits_until(season.plan, season.plan.question.day)
    whole = plots * cost_of_plot(costs, season.seedlings, until)
    line = f"Cost: {number(whole)} {costs.currency} with the visits to {season.plan.question.milestone}"
    if whole > costs.budget:
        line += f", more than the budget of {number(costs.budget)} {costs.currency}"
    later = visits_until(season.plan, None) - until
    if later > 0:
        more = plots * later * (costs.per_plot_visit + season.seedlings * costs.per_tag_visit)
        line += f"; later visits ({number(later)}) cost a further {number(more)} {costs.currency}"
    return f"{line}."


def asked_about(plan: Plan) -> list[str]:
    """Return what the plan leaves open about days: plantings years apart."""
    if not plan.sites:
        return []
    lines = []
    first, last = (pick(plan.sites, key=lambda site: site.planted) for pick in (min, max))
    apart = dt.date.fromisoformat(last.planted) - dt.date.fromisoformat(first.planted)
    if apart.days > _A_YEAR_APART:
        lines.append(
            f"{first.name} is planted on {date(first.planted)} and {last.name} on {date(last.planted)}, over "
            "a year apart: is that one season, or is a year mistyped?"
        )
    return lines


def verdict(season: PlannedSeason) -> str:
    """Return whether that size answers the question; how often it is asked to stands in `question`."""
    row = season.power
    if row is None:
        return f"This season {NOTHING}: {season.why_size}."
    shown = number(season.shown)
    if season.by_formula:
        return (
            f"If nothing is lost, this season {ENOUGH if season.answers else NOT_ENOUGH}: by formula {shown} "
            f"of 100 such seasons would show the difference. The {number(float(row['studies']))} simulated "
            f"seasons are too few to go by.{_if_lost(season)}"
        )
    answer = ENOUGH if season.answers else NOT_ENOUGH
    if season.on_the_edge:
        answer = JUST_ABOUT if season.answers else JUST_SHORT
        shown += f" ({limits(float(row['lower']), float(row['upper']))})"
    return (
        f"If nothing is lost, this season {answer}: {shown} of 100 such seasons would show the difference. "
        f"{number(float(row['studies']))} seasons were simulated.{_if_lost(season)}"
    )


def _if_lost(season: PlannedSeason) -> str:
    if not math.isfinite(season.lost):
        return ""
    return f" With one plot of ten lost {number(season.lost)} of 100 would, by formula."


def usual_sizes(season: PlannedSeason) -> str:
    """Say that the season is large, and what one of a usual size would show; empty where it is not."""
    if season.usual.empty:
        return ""
    wanted, lines = plain(season.plan.question.power_per_100), []
    for row in season.usual.to_dict("records"):
        line = f"with {number(row['plots'])} plots of each method {number(row['power'])} of 100 would show it"
        if pd.notna(row["seen"]):
            line += f", and {wanted} of 100 a difference of {number(math.ceil(row['seen']))} per 100"
        lines.append(line)
    seedlings = plots_in_all(season.plan, season.plots) * season.seedlings
    money = "" if season.plan.costs else " What it costs is not known: the plan file gives no [costs]."
    few, many = (number(seedlings / stems, 1) for stems in (_MOST_STEMS, _FEWEST_STEMS))
    return (
        f"This is {number(season.plots)} blocks and {number(seedlings)} seedlings, far more than a usual "
        f"season. At {number(_FEWEST_STEMS)} to {number(_MOST_STEMS)} plants a hectare it takes {few} to "
        f"{many} hectares. By formula, {'; '.join(lines)}.{money}"
    )


def worked_out(season: PlannedSeason) -> str:
    """Return the power by simulation with its limits and by both formulas; empty where there is no size."""
    row = season.power
    if row is None:
        return ""
    return (
        f"Power: simulated {number(float(row['simulated']))} of 100 (95 % CI of the simulation "
        f"{limits(float(row['lower']), float(row['upper']))}, {number(float(row['studies']))} seasons "
        f"drawn). By formula it is {number(float(row['two_proportions']))} from two proportions and "
        f"{number(float(row['events']))} from events."
    )


def reached(season: PlannedSeason) -> str:
    """Return how many plots the power asked for takes at that many seedlings a plot."""
    wanted = plain(season.plan.question.power_per_100)
    row = season.needed.set_index("seedlings").loc[season.seedlings]
    seedlings = counted(season.seedlings, "seedling")
    if pd.isna(row["two_proportions"]):
        return f"No number of plots of {seedlings} gives {wanted} of 100."
    line = (
        f"With {seedlings} a plot, {counted(float(row['two_proportions']), 'plot')} of each method give "
        f"{wanted} of 100 by formula"
    )
    if pd.isna(row["wider_plots"]):
        return f"{line}."
    return f"{line}; {number(float(row['wider_plots']))} if plots differ as much as the upper limit allows."


def instead(season: PlannedSeason) -> list[str]:
    """Return what a season that is too small could show instead, and what would make it large enough."""
    if season.answers:
        return []
    wanted = plain(season.plan.question.power_per_100)
    lines = []
    if season.plots >= 2:
        if season.seen is None:
            lines.append(f"No improvement, however large, is shown in {wanted} of 100 seasons of this size.")
        elif math.ceil(season.seen) > season.plan.question.smallest_difference:
            lines.append(
                f"What it could show instead in {wanted} of 100 seasons: a difference of "
                f"{number(math.ceil(season.seen))} per 100 planted or more, by formula."
            )
    costs = season.plan.costs
    if costs is not None:
        if season.budget_needed is None:
            lines.append("No budget within reach is enough.")
        elif season.plots == 0:
            lines.append(
                f"The smallest season that could answer it costs about {number(season.budget_needed)} "
                f"{costs.currency}, by formula; there are {number(costs.budget)} {costs.currency}."
            )
        else:
            lines.append(
                f"A budget of about {number(season.budget_needed)} {costs.currency} would be enough, by "
                f"formula; there are {number(costs.budget)} {costs.currency}."
            )
    lines.append(
        "Fewer methods, a larger difference, or several seasons taken together would also make it "
        "answerable. A season this small that shows nothing will not mean that there is no difference."
    )
    return lines


def precision(season: PlannedSeason) -> str:
    """Return how wide the limits will be."""
    if season.plots < 2:
        return ""
    if season.half_width >= _WHOLE_SCALE:
        return "Expect an interval of each difference wider than the whole scale: it would tell nothing."
    width = number(season.half_width)
    return f"Expect a 95 % CI of about {width} per 100 planted either side of each difference."


def spread_words(season: PlannedSeason) -> str:
    """Return how much plots and sites are taken to differ, and from where."""
    spread = season.spread
    return (
        f"The intraclass correlation is taken as {number(spread.correlation, 2)}: how alike two seedlings of "
        "one plot are (0 not at all, 1 completely). On the log hazard the "
        f"standard deviation of plots is {number(spread.plot_sd, 2)}, of sites {number(spread.site_sd, 2)}. "
        f"Source: {spread.source}."
    )


def comparisons(season: PlannedSeason) -> str:
    """Return how several comparisons are counted; empty for one."""
    count = season.plan.comparisons
    if count == 1:
        return ""
    return (
        f"{number(count)} methods are compared with the usual practice, so each has to show its difference "
        f"at p under {number(0.05 / count, 3)}, the first step of Holm's adjustment."
    )


def constrained(season: PlannedSeason) -> list[str]:
    """Return the methods that some sites cannot take: fewer plots tell of them than planned."""
    lines = []
    name, blocks = season.compared
    if 0 < blocks < season.plots:
        lines.append(
            f"{name} stands beside the usual practice in {counted(blocks, 'block')}, not "
            f"{number(season.plots)}: power and limits here are those of {counted(blocks, 'block')}."
        )
    for method in season.plan.methods:
        without = [site.name for site in season.plan.sites if not takes(site, method.name, method.works)]
        if without:
            lines.append(f"{method.name} cannot be used at {listed(without)}: fewer plots tell of it.")
    return lines


def factorial_words(season: PlannedSeason) -> list[str]:
    """Return what a factorial season shows of its works; nothing for any other."""
    table = season.factorial
    if table.empty:
        return []
    asked = season.plan.factorial
    assert asked is not None
    told = [
        f"{row['what']} {number(row['simulated'])} of 100"
        + ("" if pd.isna(row["one_at_a_time"]) else f" (one work at a time: {number(row['one_at_a_time'])})")
        for row in table.to_dict("records")
    ]
    said = [
        "Every plot tells of every work, so the same plots answer several questions. Seasons that show each: "
        + "; ".join(told)
        + "."
    ]
    if asked.whole_plots:
        said.append(
            f"{listed(asked.whole_plots)} goes to whole plots, so limits of it rest on whole plots: "
            f"{number(float(table['df'].min()))} degrees of freedom."
        )
    return said


def late_works(table: pd.DataFrame) -> list[str]:
    """Return the works that are late, and those due now; one line a work and day.

    Parameters
    ----------
    table
        As of ``survivor.planning.calendar.timetable``.
    """
    lines = []
    for status, lead, until in ((LATE, "Late", "by"), (DUE, "Due now", "until"), (OVER, "Last day past", "")):
        rows = table[table["status"] == status]
        for work, group in rows.groupby("work", sort=False):
            lines += [
                f"{lead}: {work} {at}" + (": was it done?" if status == OVER else "")
                for at in _where_by(group, until)
            ]
    return lines


def past_by_today(plan: Plan, today: dt.date) -> list[str]:
    """Return the works whose last day is past today, of a plan that does not say what day it is.

    Parameters
    ----------
    plan
        The plan.
    today
        The day on which the plan is read.
    """
    if plan.today is not None:
        return []
    table = timetable(plan, today)
    lines = late_works(table[table["status"].isin([LATE, OVER])])
    if not lines:
        return []
    head = f"Past today, {date(today.isoformat())} (the plan file gives no as_of under [plan]):"
    return [head, *(f"  {line}" for line in lines)]


def _where_by(group: pd.DataFrame, until: str) -> list[str]:
    """Say the sites of a work with the last day of each, those with the same day together."""
    return [
        f"at {listed(rows['site'])} ({f'{until} {date(str(day))}'.strip()})"
        for day, rows in group.groupby("latest")
    ]


def ground_first(table: pd.DataFrame, checks: tuple[str, ...]) -> list[str]:
    """Return what must be done before any ground is broken, with the day of each site.

    Parameters
    ----------
    table
        As of ``survivor.planning.calendar.timetable``.
    checks
        Names of the works that come first.
    """
    rows = table[table["work"].isin(checks)]
    if rows.empty:
        return []
    works = rows["work"].unique()
    count = {1: "this is", 2: "both are"}.get(len(works), "all these are")
    days = [
        sentence(f"{work} {at}")
        for work, group in rows.groupby("work", sort=False)
        for at in _where_by(group, "by")
    ]
    return [" ".join((f"Do not dig until {count} done: {listed(works)}.", *days))]


def summary(season: PlannedSeason) -> list[str]:
    """Return what the terminal shows, line by line: what is asked, the size, and then what it can show.

    Each thing is said once; how the power was worked out is on the page.
    """
    lines = [
        season.plan.plan.name,
        question(season),
        # Where nothing is bought the verdict says why.
        size(season) if season.plots else "",
        verdict(season),
        usual_sizes(season),
        cost(season),
        precision(season),
        *constrained(season),
        reached(season) if _more_to_tell(season) else "",
        *instead(season),
        comparisons(season),
        *factorial_words(season),
        spread_words(season),
        *asked_about(season.plan),
        *ground_first(season.timetable, checks_of(season.plan)),
        *late_works(season.timetable),
    ]
    return [line for line in lines if line]


def _more_to_tell(season: PlannedSeason) -> bool:
    """Whether the plots needed are others than those of the size, so that the size has not told them."""
    row = season.needed.set_index("seedlings").loc[season.seedlings]
    needed, wider = row["two_proportions"], row["wider_plots"]
    if pd.isna(needed) or pd.notna(wider):
        return season.plots > 0
    return season.plots > 0 and int(needed) != season.plots
