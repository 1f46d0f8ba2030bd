"""Appendix, preparation or ground: traits, overlap, within and between sites, hidden traits, other sites."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pandas as pd

from survivor.effects.balance import DAYS, MEAN
from survivor.effects.within_between import DIFFERENCE
from survivor.figures.words import number
from survivor.report.content.backing import CLEAR, ratio, unmade
from survivor.report.content.comparing import RADIUS, contrast_table, trait_name
from survivor.report.content.elements import Block, Column, Paragraph, Section, Table
from survivor.report.content.reasons import base_words, compared_with, not_held
from survivor.report.content.wording import chance, date, dates, listed, plain, sentence, shortened
from survivor.report.tables import hidden

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

_ALIKE = 0.05  # standard deviations; less is printed as 0.0
_ALL = 99.5  # per 100; more is printed as 100


def ground(analysis: Analysis) -> Section:
    """Return what speaks on preparation or ground: traits, overlap, within and between sites, E-values."""
    blocks: list[Block] = []
    if analysis.confounding is not None:
        private = hidden(analysis)
        told, common = (
            frame[~frame["trait"].astype(str).str.casefold().isin(private)]
            for frame in (analysis.confounding.balance, analysis.confounding.overlap)
        )
        blocks += [
            *_balance(analysis, told, compared_with(analysis)),
            *_overlap(common, base_words(analysis)),
        ]
    blocks += [*_within_between(analysis), *_sensitivity(analysis)]
    if not blocks:
        return unmade(analysis, "ground", "Preparation or ground", "ground")
    return Section("ground", "Preparation or ground", tuple(blocks))


def _balance(analysis: Analysis, balance: pd.DataFrame, usual: str | None) -> list[Block]:
    others = balance[balance["method"].astype(str) != str(usual)]
    if others.empty:
        return [Paragraph("The records hold no trait of the plots by which their ground could be compared.")]
    columns = (
        Column("Trait"),
        Column("Preparation"),
        Column("Under it", numeric=True),
        Column("Apart, in standard deviations", numeric=True),
    )
    apart, alike = _apart(others, others["standardised_difference"].abs() < _ALIKE)
    rows = tuple(
        (
            trait_name(row),
            str(row["method"]),
            _value(row, analysis.records.plots),
            number(float(row["standardised_difference"]), 1, sign=True),
        )
        for row in apart.to_dict("records")
    )
    base = base_words(analysis)
    same = f"Under every preparation as under {base}, 0.0 apart: {listed(alike)}." if alike else ""
    if not rows:
        return [Paragraph(same)]
    note = (
        f"Apart: from the plots under {base}. Half a standard deviation and more is much. "
        f"Dates: the middle one, and first to last. {same}"
    ).strip()
    made = Table("balance-table", "Traits of the plots under each preparation", columns, rows, 2, note)
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
    columns = (
        Column("Trait"),
        Column("Preparation"),
        Column(f"Its plots where {base} stood too, per 100", numeric=True),
        Column(f"Plots of {base} where it stood too, per 100", numeric=True),
    )
    shared = (overlap["inside"] >= _ALL) & (overlap["inside_against"] >= _ALL)
    apart, alike = _apart(overlap, shared)
    rows = tuple(
        (
            trait_name(row),
            str(row["method"]),
            *(number(float(row[name])) for name in ("inside", "inside_against")),
        )
        for row in apart.to_dict("records")
    )
    same = f"All plots stood where the other stood too, by: {listed(alike)}." if alike else ""
    if not rows:
        return [Paragraph(same)]
    note = (
        "Where few plots of one stood on ground that the other had too, a comparison rests on what the model "
        "takes that ground to do. Numbers and dates: within the range of the other's plots; words and sites: "
        f"where both stood. {same}"
    ).strip()
    made = Table("overlap-table", "Plots on ground that both had", columns, rows, 2, note)
    return [replace(shortened(made, "overlap.csv"), folded=True)]


def _within_between(analysis: Analysis) -> list[Block]:
    found = analysis.within_between
    if found is None:
        said = analysis.unmade.get("within_between", "")
        return [Paragraph(f"Within sites beside between sites: {said}", kind="small")] if said else []
    text = (
        "Were preparation and ground not mixed up, plots of one site would tell the same as sites with more "
        "of a preparation against sites with less. The answer rests on the first; the second holds whatever "
        "else went with such sites."
    )
    columns = (
        Column("Preparation"),
        Column("Compared"),
        Column("Hazard ratio", numeric=True),
        Column("95 % limits", numeric=True),
        Column("p", numeric=True),
    )
    rows = tuple(
        (
            str(row["method"]),
            "between sites over within sites" if row["basis"] == DIFFERENCE else str(row["basis"]),
            *ratio(row, "hazard_ratio"),
            chance(float(row["p_value"])),
        )
        for row in found.table.to_dict("records")
    )
    note = (
        f"Limits by site (CR2, {found.n_sites} sites), not adjusted. Sites have no level of their own here. "
        + not_held(analysis, [*found.table["method"], compared_with(analysis) or ""])
    ).strip()
    made = Table("within-between-table", "Within sites and between them", columns, rows, 2, note)
    p_value = found.test.p_value
    if not math.isfinite(p_value):
        verdict = "Too few sites for a test of whether the two differ."
    elif p_value < CLEAR:
        verdict = (
            f"The two differ (Mundlak's test, p {chance(p_value)}): something else went with the sites that "
            "had more of a preparation."
        )
    else:
        verdict = (
            f"It is not shown that the two differ (Mundlak's test, p {chance(p_value)}); few sites leave "
            "room for much."
        )
    return [Paragraph(text), made, Paragraph(" ".join([verdict, *map(sentence, found.checks)]))]


def _sensitivity(analysis: Analysis) -> list[Block]:
    if analysis.sensitivity is None:
        return []
    table = analysis.sensitivity.table
    text = (
        "An unrecorded trait of the ground could account for the whole of a difference only if it went with "
        "the preparation, and with death, by a risk ratio of at least the E-value each, beyond what the "
        "model holds. An E-value near 1 says that little would do, not whether there is such a trait."
    )
    columns = (
        Column("Preparation"),
        Column("Against"),
        Column("Risk ratio of death", numeric=True),
        Column("95 % limits", numeric=True),
        Column("E-value", numeric=True),
        Column("E-value of the limit", numeric=True),
    )
    rows = tuple(
        (
            str(row["method"]),
            str(row["against"]),
            *ratio(row, "risk_ratio"),
            number(float(row["e_value"]), 1),
            number(float(row["e_value_limit"]), 1),
        )
        for row in table.to_dict("records")
    )
    said = [f"{row['method']}: {row['reason']}" for row in table.to_dict("records") if row["reason"]]
    note = (
        f"Risk of death by day {plain(analysis.sensitivity.at_day)}, over the places that hold both "
        "(VanderWeele and Ding 2017). E-value of the limit: 1 where the limits hold 1. "
        + " ".join([*map(sentence, said), not_held(analysis, [*table["method"], *table["against"]])])
    ).strip()
    return [Paragraph(text), Table("e-values-table", "E-values", columns, rows, 2, note)]


def like_sites(analysis: Analysis) -> Section:
    """Return differences with limits for sites like these."""
    heading = "Limits for sites like these"
    found = analysis.like_sites
    if found is None:
        return unmade(analysis, "like-sites", heading, "like_sites")
    text = (
        "The limits of the answer are for these sites. Here the sites stand for others like them: the limits "
        "hold how the difference varied from site to site. They say nothing of sites that were planted "
        "for another reason, or of another season."
    )
    made = contrast_table("like-sites-table", "Differences, limits for sites like these", found.table)
    note = sentence(found.limits_note)
    return Section("like-sites", heading, (Paragraph(text), replace(made, note=f"{note} {made.note}")))
