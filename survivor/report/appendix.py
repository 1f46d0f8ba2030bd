"""Appendix: all pairs, radius held equal, other models, tests, limits, sites and rules."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import pandas as pd

from survivor.analysis.result import Analysis
from survivor.document.elements import (
    Block,
    Figure,
    Paragraph,
    Section,
    Table,
    headed,
    numbers,
    shortened,
    words,
    written,
)
from survivor.evidence.headline import CLEAR
from survivor.figures.comparison import agreement_figure
from survivor.report import appendix_english as en
from survivor.report.columns import AGAINST, METHOD, differing, heading
from survivor.report.comparing import contrast_table
from survivor.report.confounding import ground, like_sites
from survivor.report.first_answer import first_answer
from survivor.report.radius import radius_slopes, rain_slopes
from survivor.report.reasons import base_words, not_held, why
from survivor.report.supporting import days_alive, lot, periods
from survivor.sentences import Name, Names, Sentence, Value, say
from survivor.vocabulary import SIGNIFICANCE, Basis
from survivor.words import alive_limits, counted, model_words, number, sentence


def appendix(analysis: Analysis) -> Section:
    """Return the parts that back the answers up."""
    parts = (
        *first_answer(analysis),
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
        Section("left-out", "Leave-one-site-out check", _left_out(analysis)),
        Section("bounds", "Other rules for missing and unknown plants", _bounds(analysis)),
    )
    return Section("appendix", "Appendix", (), parts)


def _all_pairs(analysis: Analysis) -> tuple[Block, ...]:
    if analysis.comparing.all_pairs is None or analysis.comparing.all_pairs.table.empty:
        return (_nothing(why(analysis, "all_pairs", "No pairs could be compared")),)
    made = contrast_table(
        "all-pairs-table", "Differences between all pairs", analysis.comparing.all_pairs, analysis.basis
    )
    note = en.ALL_PAIRS.format(base=base_words(analysis))
    return (replace(made, note=f"{made.note} {note}"),)


def _radius_held(analysis: Analysis) -> tuple[Block, ...]:
    if analysis.radius.held_equal is None or analysis.radius.held_equal.table.empty:
        return (_nothing(why(analysis, "radius_held_equal", "The radius could not be held equal")),)
    held = analysis.radius.held_equal
    made = contrast_table("radius-held-table", "Differences with the radius held equal", held, analysis.basis)
    table = held.table
    apart = not_held(analysis, [*table["method"], *table["against"]])
    return (Paragraph(en.RADIUS_HELD), replace(made, note=f"{made.note} {apart}".strip()))


def _agreement(analysis: Analysis) -> tuple[Block, ...]:
    if analysis.robustness.agreement.empty:
        return (_nothing(why(analysis, "robustness", "Only one model could be fitted")),)
    table = analysis.robustness.agreement.assign(
        model=analysis.robustness.agreement["model"].astype(str).map(model_words)
    )
    text = f"{en.AGREEMENT.format(per=analysis.per_100)} {en.AGREEMENT_MODELS} {en.AGREEMENT_LIMITS}"
    figure = Figure(
        key="agreement",
        title="The same difference from different models",
        finding=_agreement_words(table),
        caption=en.AGREEMENT_CAPTION,
        draw=partial(agreement_figure, table, per=analysis.per_100),
        table=_noted(
            analysis, _agreement_table(table, analysis.basis), [*table["method"], *table["against"]]
        ),
    )
    return (Paragraph(text), figure)


def _agreement_words(table: pd.DataFrame) -> str:
    signs = table.assign(up=table["estimate"] > 0).dropna(subset=["estimate"])
    mixed = [
        str(name)
        for name, ups in signs.groupby("method", observed=True, sort=False)["up"]
        if ups.nunique() > 1
    ]
    if mixed:
        return str(say(en.AGREEMENT_MIXED, names=Names(tuple(mixed))))
    return en.AGREEMENT_ALL


def _agreement_table(table: pd.DataFrame, basis: Basis) -> Table:
    ordered = table.sort_values("method", kind="stable")
    note = words("Note", "note", lambda said: sentence(said) if isinstance(said, str) else "")
    fields = (METHOD, words("Model", "model"), AGAINST, *differing(basis), note)
    return written("agreement-table", "Differences from different models", ordered, fields, row_heads=2)


def _left_out(analysis: Analysis) -> tuple[Block, ...]:
    table = analysis.robustness.left_out
    table = table if table.empty else table[table["estimate"].notna()]
    if table.empty:
        return (_nothing(why(analysis, "robustness", "There were too few sites to leave one out")),)
    text: list[Sentence] = [say(en.LEFT_OUT), *_turning(analysis)]
    model, left = analysis.models.within, analysis.robustness.left_out["site_left_out"].nunique()
    if model is not None and left < model.n_sites:
        all_sites = Value(number(model.n_sites), float(model.n_sites))
        text += [
            say(en.LEFT_OUT_MANY, sites=all_sites, left=Value(number(left), float(left))),
            say(en.LEFT_OUT_STEP),
        ]
    fields = (words("Site left out", "site_left_out"), METHOD, AGAINST, *differing(analysis.basis))
    ordered = table.sort_values("method", kind="stable")
    made = written("left-out-table", "Differences without each site in turn", ordered, fields, row_heads=2)
    noted = _noted(analysis, made, [*table["method"], *table["against"]])
    return (Paragraph(tuple(text)), shortened(noted, "left_out.csv"))


def _turning(analysis: Analysis) -> tuple[Sentence, ...]:
    """Name the clear differences that are no longer so without one of the sites, with those sites."""
    table, shown = analysis.robustness.left_out, False
    by_p: list[tuple[Name, Names]] = []
    by_interval: list[tuple[Name, Names]] = []
    for one in analysis.findings:
        if one.key != " against ".join(one.methods) or one.reading not in CLEAR:
            continue
        shown = True
        rows = table[
            (table["method"].astype(str) == one.methods[0])
            & (table["against"].astype(str) == one.methods[1])
            & table["estimate"].notna()
        ]
        still = (rows.get("p_adjusted", 0.0) < SIGNIFICANCE) & (
            (rows["estimate"] > 0) == ((one.estimate or 0.0) > 0)
        )
        holds = (rows["lower"] <= 0) & (rows["upper"] >= 0)
        for turned, said in ((~still, by_p), (holds, by_interval)):
            if turned.any():
                sites = Names(tuple(rows.loc[turned, "site_left_out"].astype(str)))
                said.append((Name(one.methods[0]), sites))
    if not shown:
        return ()
    return (
        *(say(en.LEFT_OUT_TURNS, method=method, sites=sites) for method, sites in by_p),
        *(() if by_p else (say(en.LEFT_OUT_HOLDS),)),
        *(say(en.LEFT_OUT_OWN, method=method, sites=sites) for method, sites in by_interval),
        *(() if by_interval else (say(en.LEFT_OUT_OWN_HOLDS),)),
    )


def _noted(analysis: Analysis, table: Table, shown: list[str]) -> Table:
    """Add which preparations a table does not show, and why."""
    return replace(table, note=f"{table.note} {not_held(analysis, shown)}".strip())


def _bounds(analysis: Analysis) -> tuple[Block, ...]:
    table = analysis.robustness.bounds
    if table.empty:
        return (_nothing(_no_bounds(analysis)),)
    text = f"{en.BOUNDS.format(missing=_missing(analysis))} {en.BOUNDS_NOT}"
    rules = list(dict.fromkeys(table["rule"].astype(str)))
    cells = {
        (str(row["method"]), str(row["rule"])): WITH_LIMITS.cell(row) for row in table.to_dict("records")
    }
    methods = list(dict.fromkeys(table["method"].astype(str)))
    columns = headed("Preparation", numeric=map(heading, rules))
    rows = tuple((method, *(cells.get((method, rule), "–") for rule in rules)) for method in methods)
    caption = f"Alive {analysis.per_100} (95 % CI) under each rule"
    return (Paragraph(text), _noted(analysis, Table("bounds-table", caption, columns, rows), methods))


def _no_bounds(analysis: Analysis) -> str:
    """Say why no other rule for missing plants is tried: counts have no plant that could be missing."""
    observed = analysis.survival.observed
    if "robustness" in analysis.unmade or analysis.settings.records.kind == "tagged":
        return why(analysis, "robustness", en.NO_UNKNOWN)
    unknown = 0.0 if observed.empty else float(observed["unknown"].astype(float).sum())
    if not unknown > 0:
        return en.COUNTED
    return " ".join(map(str, (en.COUNTED, say(en.COUNTED_UNKNOWN, plants=counted(unknown, "plant")))))


def _missing(analysis: Analysis) -> str:
    return "dead" if analysis.settings.rules.missing == "dead" else "unknown"


WITH_LIMITS = numbers("", "estimate", "lower", "upper", write=alive_limits)


def _nothing(said: str) -> Paragraph:
    return Paragraph(said, kind="note", label="No answer")
