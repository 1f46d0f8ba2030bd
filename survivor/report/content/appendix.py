"""Appendix: all pairs, radius held equal, other models, tests, limits, sites and rules."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import pandas as pd

from survivor.figures.fit import agreement_figure
from survivor.figures.style import Drawing, Size
from survivor.figures.words import difference, per_100, per_100_limits
from survivor.report.content.backing import days_alive, lot, periods
from survivor.report.content.comparing import contrast_table
from survivor.report.content.elements import Block, Column, Figure, Paragraph, Section, Table
from survivor.report.content.ground import ground, like_sites
from survivor.report.content.reasons import base_words, not_held, why
from survivor.report.content.slopes import radius_slopes, rain_slopes
from survivor.report.content.wording import model_words, sentence, shortened

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis


def appendix(analysis: Analysis) -> Section:
    """Return the parts that back the answers up."""
    parts = (
        Section("all-pairs", "All pairs of preparations", _all_pairs(analysis)),
        Section("radius-held", "Preparations with the radius held equal", _radius_held(analysis)),
        radius_slopes(analysis),
        *rain_slopes(analysis),
        Section("agreement", "The same difference from different models", _agreement(analysis)),
        *lot(analysis),
        periods(analysis),
        days_alive(analysis),
        ground(analysis),
        like_sites(analysis),
        Section("left-out", "The same difference with one site left out", _left_out(analysis)),
        Section("bounds", "Other rules for missing and unknown plants", _bounds(analysis)),
    )
    return Section("appendix", "Appendix", (), parts)


def _all_pairs(analysis: Analysis) -> tuple[Block, ...]:
    if analysis.all_pairs is None or analysis.all_pairs.table.empty:
        return (_nothing(why(analysis, "pair", "compar", otherwise="No pairs could be compared")),)
    made = contrast_table("all-pairs-table", "Differences between all pairs", analysis.all_pairs.table)
    note = (
        "The p of a pair is larger here than where each preparation is compared with "
        f"{base_words(analysis)} alone: more comparisons, so more of them come out by chance. "
        "Which differ from it is judged by the smaller table; which is the best of all, by this one."
    )
    return (replace(made, note=f"{made.note} {note}"),)


def _radius_held(analysis: Analysis) -> tuple[Block, ...]:
    if analysis.radius_held is None or analysis.radius_held.table.empty:
        return (_nothing(why(analysis, "radius", "radii", otherwise="The radius could not be held equal")),)
    text = (
        "The headline compares preparations as they were done, with the radius each came with. Here the "
        "radius is "
        "held equal, which asks a different question: what is left of the difference between two "
        "preparations of one "
        "radius."
    )
    table = analysis.radius_held.table
    made = contrast_table("radius-held-table", "Differences with the radius held equal", table)
    apart = not_held(analysis, [*table["method"], *table["against"]])
    return (Paragraph(text), replace(made, note=f"{made.note} {apart}".strip()))


def _agreement(analysis: Analysis) -> tuple[Block, ...]:
    if analysis.agreement.empty:
        return (_nothing(why(analysis, "model", otherwise="Only one model could be fitted")),)
    table = analysis.agreement.assign(model=analysis.agreement["model"].astype(str).map(model_words))
    text = (
        "Models are compared on differences per 100 planted. They look at the same records in different "
        "ways, so they need not agree to the last plant. Between visits, a death lies somewhere between the "
        "visit alive and the visit found dead, and all sites share the shape of the season; for Cox it fell "
        "on the day it was found, and each site has a shape of its own; at the milestone only that visit "
        "counts, and plants of unknown state are left out; the model of plots drawn from a normal "
        "distribution is the first with a level for each plot, averaged over plots. Its limits rest on that "
        "distribution, those of the others on how plots differed. Where models point in different "
        "directions, trust none much."
    )
    figure = Figure(
        key="agreement",
        title="The same difference from different models",
        finding=_agreement_words(table),
        caption="Dot, square or diamond: one model each, named under the preparation. Line: 95 % limits.",
        draw=partial(_draw, table),
        table=_noted(analysis, _agreement_table(table), [*table["method"], *table["against"]]),
    )
    return (Paragraph(text), figure)


def _draw(table: pd.DataFrame, size: Size) -> Drawing:
    return agreement_figure(table, size=size)


def _agreement_words(table: pd.DataFrame) -> str:
    signs = table.assign(up=table["estimate"] > 0).dropna(subset=["estimate"])
    mixed = [
        str(name)
        for name, ups in signs.groupby("method", observed=True, sort=False)["up"]
        if ups.nunique() > 1
    ]
    if mixed:
        return f"Models point in different directions for: {', '.join(mixed)}."
    return "All models point in the same direction for every preparation."


def _agreement_table(table: pd.DataFrame) -> Table:
    columns = (
        Column("Preparation"),
        Column("Model"),
        Column("Against"),
        Column("Difference per 100 planted", numeric=True),
        Column("95 % limits", numeric=True),
        Column("Note"),
    )
    rows = tuple(
        (
            str(row["method"]),
            str(row["model"]),
            str(row["against"]),
            *difference(*(float(row[name]) for name in ("estimate", "lower", "upper"))),
            sentence(row["note"]) if isinstance(row.get("note"), str) else "",
        )
        for row in table.sort_values("method", kind="stable").to_dict("records")
    )
    return Table("agreement-table", "Differences from different models", columns, rows, row_heads=2)


def _left_out(analysis: Analysis) -> tuple[Block, ...]:
    table = analysis.left_out
    if table.empty:
        return (_nothing(why(analysis, "left out", otherwise="There were too few sites to leave one out")),)
    text = (
        "The differences without each site in turn. Where a row is far from the others, that site carries "
        "the answer."
    )
    columns = (
        Column("Site left out"),
        Column("Preparation"),
        Column("Against"),
        Column("Difference per 100 planted", numeric=True),
        Column("95 % limits", numeric=True),
    )
    rows = tuple(
        (
            *(str(row[name]) for name in ("site_left_out", "method", "against")),
            *difference(*(float(row[name]) for name in ("estimate", "lower", "upper"))),
        )
        for row in table.sort_values("method", kind="stable").to_dict("records")
    )
    made = Table("left-out-table", "Differences with one site left out", columns, rows, row_heads=2)
    noted = _noted(analysis, made, [*table["method"], *table["against"]])
    return (Paragraph(text), shortened(noted, "left_out.csv"))


def _noted(analysis: Analysis, table: Table, shown: list[str]) -> Table:
    """Add which preparations a table does not show, and why."""
    return replace(table, note=f"{table.note} {not_held(analysis, shown)}".strip())


def _bounds(analysis: Analysis) -> tuple[Block, ...]:
    table = analysis.bounds
    if table.empty:
        return (
            _nothing(
                why(analysis, "missing", "unknown", "not found", otherwise="No plant was missing or unknown")
            ),
        )
    text = (
        "The same survival under other rules. The first is the one used. Plants never found again are those "
        "of which neither plant nor place was found: that they all died, and that all lived, are the bounds "
        "of survival under the rule of this study for missing plants, which counts them as "
        f"{_missing(analysis)}. They are no bounds of the truth where that rule is wrong: "
        "survival under the other rule for missing plants stands beside them."
    )
    rules = list(dict.fromkeys(table["rule"].astype(str)))
    cells = {(str(row["method"]), str(row["rule"])): _with_limits(row) for row in table.to_dict("records")}
    methods = list(dict.fromkeys(table["method"].astype(str)))
    columns = (Column("Preparation"), *(Column(sentence(rule).rstrip("."), numeric=True) for rule in rules))
    rows = tuple((method, *(cells.get((method, rule), "–") for rule in rules)) for method in methods)
    caption = "Alive per 100 planted (95 % limits) under each rule"
    return (Paragraph(text), _noted(analysis, Table("bounds-table", caption, columns, rows), methods))


def _missing(analysis: Analysis) -> str:
    return "dead" if analysis.settings.rules.missing == "dead" else "unknown"


def _with_limits(row: object) -> str:
    assert isinstance(row, dict)
    return f"{per_100(float(row['estimate']))} ({per_100_limits(float(row['lower']), float(row['upper']))})"


def _nothing(said: str) -> Paragraph:
    return Paragraph(said, kind="note", label="No answer")
