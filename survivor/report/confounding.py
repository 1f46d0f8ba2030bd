"""Appendix, preparation or ground: traits, overlap, within and between sites, hidden traits, other sites."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from dataclasses import replace
from typing import Any

import pandas as pd

from survivor.analysis.result import Analysis
from survivor.document.elements import (
    Block,
    Paragraph,
    Section,
    numbers,
    of_row,
    places,
    shortened,
    words,
    written,
)
from survivor.effects.confounding import DAYS, MEAN
from survivor.effects.within_between import DIFFERENCE
from survivor.report import appendix_english as en
from survivor.report.columns import AGAINST, METHOD, P, ratio
from survivor.report.comparing import RADIUS, contrast_table, trait_name
from survivor.report.reasons import base_words, compared_with, not_held
from survivor.report.supporting import unmade
from survivor.report.tables import hidden
from survivor.vocabulary import SIGNIFICANCE
from survivor.words import chance, date, dates, listed, number, plain, sentence

_ALIKE = 0.05  # standard deviations; less is printed as 0.0
_ALL = 99.5  # per 100; more is printed as 100


def ground(analysis: Analysis) -> Section:
    """Return what speaks on preparation or ground: traits, overlap, within and between sites, E-values."""
    blocks: list[Block] = []
    if analysis.confounding.layout is not None:
        private = hidden(analysis)
        told, common = (
            frame[~frame["trait"].astype(str).str.casefold().isin(private)]
            for frame in (analysis.confounding.layout.balance, analysis.confounding.layout.overlap)
        )
        blocks += [
            *_balance(analysis, told, compared_with(analysis)),
            *_overlap(common, base_words(analysis)),
        ]
    blocks += [*_within_between(analysis), *_sensitivity(analysis)]
    if not blocks:
        return unmade(analysis, "ground", "Could the ground explain the difference?", "confounding")
    return Section("ground", "Could the ground explain the difference?", tuple(blocks))


def _balance(analysis: Analysis, balance: pd.DataFrame, usual: str | None) -> list[Block]:
    others = balance[balance["method"].astype(str) != str(usual)]
    if others.empty:
        return [Paragraph(en.NO_TRAIT)]
    fields = (
        of_row("Trait", trait_name),
        METHOD,
        of_row("Its plots", lambda row: _value(row, analysis.records.plots), numeric=True),
        numbers("Difference, in standard deviations", "standardised_difference", write=places(1, sign=True)),
    )
    apart, alike = _apart(others, others["standardised_difference"].abs() < _ALIKE)
    base = base_words(analysis)
    same = en.SAME_TRAITS.format(base=base, names=listed(alike)) if alike else ""
    if apart.empty:
        return [Paragraph(same)]
    note = f"{en.BALANCE_NOTE.format(base=base)} {same}".strip()
    made = written("balance-table", "Traits of the plots under each preparation", apart, fields, 2, note)
    return [replace(shortened(made, "traits.csv"), folded=True)]


def _apart(table: pd.DataFrame, alike: pd.Series[bool]) -> tuple[pd.DataFrame, list[str]]:
    """Return the rows of the traits in which some preparation is not alike, and the names of the others."""
    by_trait = alike.groupby(table["trait"].astype(str), sort=False).transform("all")
    names = dict.fromkeys(trait_name({"trait": name}) for name in table.loc[by_trait, "trait"].astype(str))
    return table[~by_trait], list(names)


def _value(row: Mapping[Hashable, Any], plots: pd.DataFrame) -> str:
    """Write a trait under a preparation: dates by their middle and range, numbers by their mean."""
    trait = str(row["trait"])
    if row["unit"] == DAYS and trait in plots:
        own = plots.loc[plots["method"].astype(str) == str(row["method"]), trait].dropna()
        if not own.empty:
            middle = own.sort_values().iloc[(len(own) - 1) // 2]
            return f"{date(middle)} ({dates(own)})" if own.nunique() > 1 else date(middle)
    if trait == RADIUS:
        return f"{number(float(row['value']), 2)} m"
    unit = [] if row["unit"] == MEAN else [str(row["unit"])]
    return " ".join([plainly(float(row["value"])), *unit])


def plainly(value: float) -> str:
    """Write the mean of a trait: one place under 10, none above."""
    return number(value, 1 if abs(value) < 10 else 0)


def _overlap(overlap: pd.DataFrame, base: str) -> list[Block]:
    if overlap.empty:
        return []
    fields = (
        of_row("Trait", trait_name),
        METHOD,
        numbers(f"Of 100 of its plots, on ground that {base} had too", "inside"),
        numbers(f"Of 100 plots of {base}, on ground that it had too", "inside_against"),
    )
    shared = (overlap["inside"] >= _ALL) & (overlap["inside_against"] >= _ALL)
    apart, alike = _apart(overlap, shared)
    same = en.SAME_GROUND.format(names=listed(alike)) if alike else ""
    if apart.empty:
        return [Paragraph(same)]
    note = f"{en.OVERLAP_NOTE} {same}".strip()
    made = written("overlap-table", "Plots on ground that both had", apart, fields, 2, note)
    return [replace(shortened(made, "overlap.csv"), folded=True)]


def _within_between(analysis: Analysis) -> list[Block]:
    found = analysis.confounding.within_between
    if found is None:
        reason = analysis.unmade.get("within_between")
        text = "" if reason is None else en.WITHIN_NONE.format(reason=reason.what)
        return [Paragraph(text, kind="small")] if text else []
    table = found.table.assign(
        basis=found.table["basis"].replace(DIFFERENCE, "between sites over within sites")
    )
    fields = (METHOD, words("Compared", "basis"), *ratio("Hazard ratio", "hazard_ratio"), P)
    apart = not_held(analysis, [*found.table["method"], compared_with(analysis) or ""])
    note = f"{en.WITHIN_NOTE.format(sites=found.n_sites)} {apart}".strip()
    made = written("within-between-table", "Within sites and between them", table, fields, 2, note)
    p_value = found.test.p_value
    if not math.isfinite(p_value):
        verdict = en.WITHIN_NO_TEST
    elif p_value < SIGNIFICANCE:
        verdict = en.WITHIN_DIFFER.format(p=chance(p_value))
    else:
        verdict = en.WITHIN_OPEN.format(p=chance(p_value))
    return [Paragraph(en.WITHIN), made, Paragraph(" ".join([verdict, *map(sentence, found.checks)]))]


def _sensitivity(analysis: Analysis) -> list[Block]:
    found = analysis.confounding.sensitivity
    if found is None:
        return []
    table = found.table
    fields = (
        METHOD,
        AGAINST,
        *ratio("Risk ratio of death", "risk_ratio"),
        numbers("E-value", "e_value", write=places(1)),
        numbers("E-value of the limit", "e_value_limit", write=places(1)),
    )
    said = [f"{row['method']}: {row['reason']}" for row in table.to_dict("records") if row["reason"]]
    apart = not_held(analysis, [*table["method"], *table["against"]])
    note = " ".join([en.E_NOTE.format(day=plain(found.at_day)), *map(sentence, said), apart]).strip()
    return [Paragraph(en.E_VALUES), written("e-values-table", "E-values", table, fields, 2, note)]


def like_sites(analysis: Analysis) -> Section:
    """Return differences with limits expected at similar sites."""
    heading = "Expected at similar sites"
    found = analysis.supporting.like_sites
    if found is None:
        return unmade(analysis, "like-sites", heading, "like_sites")
    made = contrast_table("like-sites-table", "Differences expected at similar sites", found, analysis.basis)
    note = sentence(found.limits_note)
    return Section(
        "like-sites", heading, (Paragraph(en.LIKE_SITES), replace(made, note=f"{note} {made.note}"))
    )
