"""Appendix: whether the radius, and the season's rain, go alike with survival under every preparation."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from survivor.evidence.grading import LEAST_DF
from survivor.figures.words import NONE, limits, number
from survivor.report.content.backing import CLEAR, unmade
from survivor.report.content.elements import Block, Column, Listing, Paragraph, Section, Table
from survivor.report.content.wording import chance, plain, sentence

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis
    from survivor.effects.slopes import Slopes


def radius_slopes(analysis: Analysis) -> Section:
    """Return the response to the radius under each preparation, and the test that it is one."""
    key, heading = "radius-by-method", "The radius under each preparation"
    found = analysis.radius_by_method
    if found is None:
        return unmade(analysis, key, heading, "radius_by_method")
    text = (
        "Does a wider weed-free patch go with the same under every preparation? Each preparation has a "
        "straight line of its own here, from plots of one preparation at one site set against each other. A "
        "ratio under 1 means that fewer died where the patch was wider."
    )
    return Section(key, heading, _told(found, text, "10 cm more of radius", "radius-slopes"))


def rain_slopes(analysis: Analysis) -> tuple[Section, ...]:
    """Return how rain went with survival under each preparation; nothing where rain cannot be told."""
    found = analysis.rain_by_method
    if found is None:
        return ()
    text = (
        "Did rain of the first dry season go with the same under every preparation? This compares gauges and "
        "seasons, each one sample, so whatever else went with them is in it. A ratio under 1 means that "
        "fewer died where more rain fell."
    )
    made = _told(found, text, f"{plain(found.per)} mm more rain", "rain-slopes")
    return (Section("rain-by-method", "Rain under each preparation", made),)


def _told(found: Slopes, text: str, per: str, key: str) -> tuple[Block, ...]:
    columns = (
        Column("Preparation"),
        Column(f"Ratio of deaths for {per}", numeric=True),
        Column("95 % limits", numeric=True),
        Column("p", numeric=True),
        Column("Degrees of freedom", numeric=True),
        Column("Plots", numeric=True),
        Column("Note"),
    )
    rows = tuple(
        (
            str(row[found.by]),
            number(float(row["ratio"]), 2) if math.isfinite(float(row["ratio"])) else NONE,
            limits(float(row["ratio_lower"]), float(row["ratio_upper"]), 2),
            chance(float(row["p_value"])),
            number(float(row["df"]), 1) if math.isfinite(float(row["df"])) else NONE,
            number(float(row["n_plots"])),
            sentence(str(row["reason"])) if str(row["reason"]) else _few(float(row["df"])),
        )
        for row in found.table.to_dict("records")
    )
    note = f"Ratios of hazards; limits by t on the degrees of freedom ({found.variance}), not adjusted."
    blocks: list[Block] = [
        Paragraph(text),
        Paragraph(_alike(found)),
        Table(key, f"Ratio of deaths for {per}, by preparation", columns, rows, note=note),
    ]
    if found.checks:
        blocks.append(Listing(tuple(sentence(check) for check in found.checks)))
    return tuple(blocks)


def _few(df: float) -> str:
    return "" if df >= LEAST_DF else f"Fewer than {LEAST_DF:g} degrees of freedom: not to be leaned on."


def _alike(found: Slopes) -> str:
    test = found.test
    if not math.isfinite(test.p_value):
        return "Too few plots for a test of whether the preparations differ in this."
    said = (
        f"(F {number(test.statistic, 2)} on {number(test.df1)} and {number(test.df2, 1)} degrees of freedom, "
        f"p {chance(test.p_value)})"
    )
    if test.df2 < LEAST_DF:
        return (
            f"Whether the preparations differ in this cannot be leaned on {said}: plots of one preparation "
            f"at one site are too few, with fewer than {LEAST_DF:g} degrees of freedom."
        )
    if test.p_value < CLEAR:
        return (
            f"The preparations differ in this {said}: read the response over all of them as an average, and "
            "each by its own line below."
        )
    return (
        f"It is not shown that the preparations differ in this {said}. Limits of each are wide where its "
        "plots are few, so this does not say that they are the same."
    )
