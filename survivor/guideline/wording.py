"""Sentences of a guideline."""

from __future__ import annotations

from typing import Final

from survivor.figures.words import number
from survivor.guideline.advice import priced_by
from survivor.guideline.making import Guideline
from survivor.guideline.radius import RadiusAdvice
from survivor.guideline.versions import many
from survivor.report.content.cautions import touched

_LITTLE: Final = 0.1  # plants alive per 100 planted
LEAST_WORTH: Final = 0.005  # the same: less would print as 0.00
HOW_TO_READ: Final = (
    "“Not answered” means that the records do not tell; it never means that there is no difference."
)
NO_INSTRUCTION: Final = (
    "No instruction for field work. Product labels, permits, local codes and licensed practice come "
    "first; no "
    "product and no rate is given here. Machines on slopes, and any digging near services or the roots of "
    "standing "
    "trees, need their own checks."
)


def usual_of(guideline: Guideline) -> str:
    """Name the usual practice."""
    return guideline.seasons[0].usual


def data_note(guideline: Guideline) -> str:
    """Say what records the version rests on."""
    intervals = [season.intervals for season in guideline.seasons]
    sites = {str(site) for frame in intervals for site in frame["site"].unique()}
    plots = sum(len(frame[["site", "block", "plot"]].drop_duplicates()) for frame in intervals)
    names = ", ".join(guideline.version.seasons)
    counts = f"{many(len(sites), 'site')}, {many(plots, 'plot')}"
    return f"{many(len(intervals), 'season')}, {counts}: {names}"


def money_note(guideline: Guideline) -> str:
    """Say what the usual practice costs, and where the prices are from; empty without prices."""
    season = priced_by(guideline.seasons)
    if season is None:
        return ""
    told = [each for each in guideline.advice if each.usual_established]
    usual = "; ".join(dict.fromkeys(f"{each.usual_established} on {each.ground}" for each in told))
    own = f" Usual practice, {usual_of(guideline)}, per plant established: {usual}." if usual else ""
    costs = season.settings.costs
    prices = f": {costs.currency} of {costs.year}; source: “{costs.source}”" if costs is not None else ""
    return (
        f"{own} Prices are inputs of {season.name}{prices}. “Advised” speaks of plants alive: whether they "
        "are worth their cost is to be read from these columns."
    )


def works_of(guideline: Guideline) -> tuple[str, ...]:
    """Names of the preparations and their works, of all seasons and of local practice."""
    found: list[str] = []
    for season in guideline.seasons:
        for method in season.settings.methods:
            found += [method.name, *method.works]
    found += [each.preparation for each in guideline.file.practice]
    return tuple(dict.fromkeys(found))


def cautions_touched(guideline: Guideline) -> str:
    """Say which cautions the preparations touch."""
    found = [f"{caution.subject.lower()} ({caution.short})" for caution in touched(works_of(guideline))]
    return f"The preparations named here touch: {'; '.join(found)}." if found else ""


def radius_words(each: RadiusAdvice) -> str:
    """Say the radius advised, with its limits and area, or why none is."""
    if each.value is None:
        return f"No radius is advised. {each.sentence}\n{many(each.n_plots, 'plot')}."
    low = number(each.lower, 2) if each.lower is not None else "not told"
    high = number(each.upper, 2) if each.upper is not None else "not told"
    area = 3.141592653589793 * each.value**2
    return (
        f"{number(each.value, 2)} m radius, {number(2 * each.value, 2)} m across, {number(area, 2)} m² "
        "(95 % limits "
        f"of the radius {low} to {high} m).\n{each.sentence} {many(each.n_plots, 'plot')}."
    )


def next_sentence(guideline: Guideline) -> str:
    """Say which comparison a further season would teach most about."""
    best = guideline.next.iloc[0]
    what = f"{best['preparation']} on {best['ground']}"
    value = float(best["value_per_100"])
    said = number(value, 2) if value >= LEAST_WORTH else "under 0.01"
    worth = f"{said} plants alive per 100 planted"
    plants = float(best["value_plants"])
    more = f", {number(plants)} a year at what is planted there" if plants == plants else ""
    little = value < _LITTLE
    lead = "Little is left to learn that would change a choice. " if little else ""
    return (
        f"{lead}Another season of {what} would teach most: worth {worth}{more}, by choosing better "
        "afterwards. The file "
        "plan.toml starts its plan."
    )
