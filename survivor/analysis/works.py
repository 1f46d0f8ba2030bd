"""Works: which part of the preparations paid, when, and what these records cannot answer of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Final

import pandas as pd

from survivor.analysis.models import strata_of
from survivor.analysis.parts import Reason, Unmade, no_rows
from survivor.analysis.season import Season
from survivor.costs.prices import prices_of
from survivor.effects.compare import working_of
from survivor.evidence.finding import Finding
from survivor.records.checks.works import DEPARTURE_COLUMNS, NOT_TOLD
from survivor.records.work_names import AFTER, WATERING, work_name
from survivor.settings import Settings, works_of_pair
from survivor.vocabulary import PLOT_KEY, RANDOM
from survivor.works.answers import ANSWER_COLUMNS, Asked, answers_table, findings_of
from survivor.works.cheapest import Cheapest, cheapest_set
from survivor.works.columns import CALLED, LEAD, PASSES, RIP_SOIL, PlotColumns, plot_columns
from survivor.works.later import Later, effect_of
from survivor.works.parts import Parts, Question, parts_of, unit_column, whole_plots
from survivor.works.timing import Timing, dry_or_wet, lead_time, passes

_TIMES: Final[Mapping[str, Callable[[pd.DataFrame, Question], Timing]]] = {
    LEAD: lead_time,
    PASSES: passes,
    RIP_SOIL: dry_or_wet,
}


@dataclass(frozen=True)
class WorksAnswers:
    """What the works of plots were found to add.

    Attributes
    ----------
    asked
        Whether the study file asks about works at all.
    columns
        The works of plots as columns; None where nothing is known of works.
    parts
        What each work adds.
    timings, later
        When it was done; works after planting.
    cheapest
        The cheapest set of works.
    answers
        All answers, p adjusted over the family: `survivor.works.answers.ANSWER_COLUMNS`.
    findings
        The same as findings, graded.
    departures
        `survivor.records.checks.works.DEPARTURE_COLUMNS`.
    reasons
        Why a question is not answered, by what was asked.
    """

    asked: bool = False
    columns: PlotColumns | None = None
    parts: Parts | None = None
    timings: tuple[Timing, ...] = ()
    later: tuple[Later, ...] = ()
    cheapest: Cheapest | None = None
    answers: pd.DataFrame = field(default_factory=no_rows(*ANSWER_COLUMNS))
    findings: tuple[Finding, ...] = ()
    departures: pd.DataFrame = field(default_factory=no_rows(*DEPARTURE_COLUMNS))
    reasons: Mapping[str, Reason] = field(default_factory=Unmade)


def works_of(season: Season) -> WorksAnswers:
    """Answer what is asked of works, where the study file has a table of them."""
    settings, records = season.settings, season.records
    if settings.works is None:
        return WorksAnswers()
    told, unmade = records.works, Unmade()
    if settings.rules.preparation_of == "plant" or told.rows.empty:
        why = (
            "each plant has its own preparation, and works are told by plot"
            if settings.rules.preparation_of == "plant"
            else "no work of any plot is told: there is no diary, and no preparation lists its works"
        )
        unmade.keep(Reason("what each work adds", why, "name the diary in the study file: [works.diary]"))
        return WorksAnswers(True, departures=told.departures, reasons=unmade)
    columns = plot_columns(told.rows, records.plots, _untold(season))
    frame = columns.join(season.intervals)
    question = unmade.attempt("what each work adds", lambda: _question(season, frame))
    if question is None or frame.empty:
        return WorksAnswers(True, columns, departures=told.departures, reasons=unmade)
    parts = None
    if columns.works:
        pairs = _pairs(settings)
        parts = unmade.attempt("what each work adds", lambda: parts_of(frame, columns.works, pairs, question))
    timings = tuple(
        made
        for key, ask in _TIMES.items()
        if (made := unmade.attempt(CALLED[key], partial(ask, frame, question))) is not None
    )
    later = _later(season, columns, frame, parts, question, unmade)
    asked = Asked(settings.design, settings.works, season.when)
    effects = parts.table if parts is not None else pd.DataFrame()
    answers = answers_table(effects, timings, later, asked)
    answers["at_day"] = answers["at_day"].astype(float).fillna(question.at)
    return WorksAnswers(
        True,
        columns,
        parts,
        timings,
        later,
        unmade.attempt("the cheapest set", lambda: _cheapest(season, parts, question)),
        answers,
        findings_of(answers, asked),
        told.departures,
        unmade,
    )


def _untold(season: Season) -> pd.DataFrame:
    """List plots with planned works and no row in the diary at all: their works are not known."""
    table = season.records.works.departures
    return table.loc[table["what"] == NOT_TOLD, list(PLOT_KEY)].drop_duplicates().astype(str)


def _question(season: Season, frame: pd.DataFrame) -> Question:
    settings = season.settings
    works = settings.works
    assert works is not None
    strata = strata_of(frame, settings) or []
    whole = works.whole_plots
    cluster = whole_plots(frame, whole) if whole is not None else tuple(PLOT_KEY)
    species = frame["species"].astype(str) if "species" in frame.columns else pd.Series(dtype=str)
    others = ("species",) if species.nunique() > 1 and not (species == "").any() else ()
    return Question(
        tuple(strata), cluster, season.milestone_day, others, working_of(frame)[0], season.population
    )


def _pairs(settings: Settings) -> list[tuple[str, str]]:
    works = settings.works
    assert works is not None
    named = [[work_name(part, works.words) for part in works_of_pair(pair)] for pair in works.interactions]
    return [(first, second) for first, second in named]


def _later(
    season: Season,
    columns: PlotColumns,
    frame: pd.DataFrame,
    parts: Parts | None,
    question: Question,
    unmade: Unmade,
) -> tuple[Later, ...]:
    """Answer for each work after planting; those asked about everywhere come first."""
    works = list(dict.fromkeys(columns.later["work"]))
    ordered = [work for work in (*AFTER, WATERING) if work in works]
    ordered += [work for work in works if work not in ordered]
    fitted = parts.frame if parts is not None and len(parts.frame) else frame
    terms = [unit_column(unit) for unit in parts.apart.units] if parts is not None else []
    asked = season.settings.works
    assert asked is not None
    found = []
    for work in ordered:
        at_random = asked.allocated.get(work) == RANDOM
        ask = partial(effect_of, fitted, columns.later, work, terms, question, at_random)
        kept = unmade.attempt(work, ask)
        if kept is not None:
            found.append(kept)
    return tuple(found)


def _cheapest(season: Season, parts: Parts | None, question: Question) -> Cheapest | Reason:
    if parts is None:
        return Reason("the cheapest set", "no model of works could be fitted")
    settings = season.settings
    words = settings.works.words if settings.works is not None else {}
    known = {work for unit in (*parts.apart.units, *parts.apart.others) for work in unit.works}
    seen = set(season.intervals["method"].astype(str))
    sets = {
        method.name: frozenset(work_name(work, words) for work in method.works) & known
        for method in settings.methods
        if method.name in seen
    }
    return cheapest_set(parts, sets, prices_of(settings), settings.design.smallest_difference, question)
