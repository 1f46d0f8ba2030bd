"""Several planting seasons beside each other."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from typing import Any

from survivor.analysis.milestone import milestone_words
from survivor.analysis.planting_years import EVERY
from survivor.analysis.result import Analysis
from survivor.document.elements import Paragraph, Section, words, written
from survivor.report import english as en
from survivor.report.columns import METHOD, NOTE, PLOTS, SITES, WATCHED, alive
from survivor.sentences import Value, cell, say
from survivor.words import listed, per_100, per_100_limits

KEY = "planting-years"


def planting_years(analysis: Analysis) -> tuple[Section, ...]:
    """Return survival by planting season; nothing where all were planted in one."""
    table = analysis.planting_years
    if table.empty:
        return ()
    years = list(dict.fromkeys(table["planting_year"].astype(str)))
    when = milestone_words(analysis.settings.headline_milestone, analysis.milestone_day)
    text = say(en.YEARS, years=listed(years))
    fields = (METHOD, words("Planted", "planting_year"), *alive(analysis.basis), WATCHED, PLOTS, SITES, NOTE)
    every = table[table["method"] == EVERY].to_dict("records")
    said = tuple(
        say(
            _template(row),
            year=str(row["planting_year"]),
            when=when,
            per=analysis.per_100,
            estimate=_cell(row, "estimate", per_100(float(row["estimate"]))),
            span=_cell(row, "lower", per_100_limits(float(row["lower"]), float(row["upper"]))),
        )
        for row in every
    )
    made = written("years-table", f"Alive at {when} by planting year", table, fields, 2, en.YEARS_NOTE)
    return (Section(KEY, "Planting years beside each other", (Paragraph(said), Paragraph(text), made)),)


def _template(row: Mapping[Hashable, Any]) -> str:
    if not math.isfinite(float(row["estimate"])):
        return en.YEAR_NONE
    return en.YEAR if math.isfinite(float(row["lower"])) else en.YEAR_BARE


def _cell(row: Mapping[Hashable, Any], column: str, text: str) -> Value:
    at = cell("planting_years", column, planting_year=row["planting_year"], method=EVERY)
    return Value(text, float(row[column]), at)
