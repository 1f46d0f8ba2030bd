"""Appendix, what backs comparisons up: the lot, periods of the season, days alive."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

import pandas as pd

from survivor.figures.hazards import residuals_figure
from survivor.figures.style import Drawing, Size
from survivor.figures.words import limits, number
from survivor.report.content.elements import Block, Column, Figure, Listing, Paragraph, Section, Table
from survivor.report.content.reasons import is_random, not_held
from survivor.report.content.wording import chance, sentence

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis
    from survivor.models.clusters import WaldTest

_MANY_LAYOUTS = 1e6
CLEAR = 0.05


def lot(analysis: Analysis) -> tuple[Section, ...]:
    """Return p from other layouts of the same lot; nothing where no lot was drawn."""
    if not is_random(analysis):
        return ()
    found = analysis.permutation
    if found is None:
        return (unmade(analysis, "lot", "What the lot alone would give", "permutation"),)
    text = (
        "Preparations were drawn by lot within blocks. Were two of them alike, every other way to share out "
        "their two names within the blocks would have been as likely. The p below is the share of such "
        "layouts under which the difference lies at least as many standard errors from nought as it does in "
        "the records. It rests on the lot alone, not on a model of how plots vary. The answer uses the p of "
        "the model, which stands beside it, and is held back where the lot disagrees."
    )
    table = found.table
    adjusted: dict[str, float] = {}
    if analysis.contrasts is not None:
        pairs = analysis.contrasts.table
        adjusted = dict(zip(pairs["method"].astype(str), pairs["p_adjusted"].astype(float), strict=True))
    columns = (
        Column("Preparation"),
        Column("Against"),
        Column("Difference over its standard error", numeric=True),
        Column("Layouts possible", numeric=True),
        Column("p by the lot", numeric=True),
        Column("Smallest p possible", numeric=True),
        Column("p by the lot, adjusted", numeric=True),
        Column("p of the model, adjusted", numeric=True),
    )
    rows = tuple(
        (
            str(row["method"]),
            str(row["against"]),
            number(float(row["statistic"]), 1, sign=True),
            "over a million" if row["layouts"] > _MANY_LAYOUTS else number(float(row["layouts"])),
            chance(float(row["p_value"])),
            chance(float(row["smallest_p"])),
            chance(float(row["p_adjusted"])),
            chance(adjusted.get(str(row["method"]), math.nan)),
        )
        for row in table.to_dict("records")
    )
    note = (
        "Differences here are on the scale of the hazard: minus means fewer deaths. Adjusted for the number "
        "of comparisons (Holm)."
    )
    drawn = table[table["how"].astype(str).str.contains("random")]
    if not drawn.empty:
        note += (
            f" Where there are many layouts, up to {number(float(drawn['tried'].max()))} were drawn (seed "
            f"{found.seed}) and p is (b + 1)/(m + 1), b of m layouts drawn being as far from nought; once "
            "20 were, no more were drawn and p is 20/m. So few tell p roughly: the lot disagrees with a "
            "clear difference only where p is 0.05 or more at the lower 95 % limit of the draws too."
        )
    blocks: list[Block] = [Paragraph(text), Table("lot-table", "p by the lot", columns, rows, 2, note)]
    reasons = [f"{row['method']}: {row['reason']}" for row in table.to_dict("records") if row["reason"]]
    said = tuple(sentence(text) for text in (*reasons, *found.checks))
    if said:
        blocks.append(Listing(said))
    return (Section("lot", "What the lot alone would give", tuple(blocks)),)


def periods(analysis: Analysis) -> Section:
    """Return ratios of hazards by period, their test, and the residuals of the Cox model."""
    heading = "The same ratio all season?"
    found = analysis.hazards
    if found is None:
        return unmade(analysis, "periods", heading, "hazards")
    usual = str(found.table["against"].iloc[0])
    text = (
        "The answer takes it that the hazard of death under a preparation stands in the same ratio to that "
        f"under {usual} in every period of the season. Here each period has a ratio of its own: under 1, "
        f"fewer died than under {usual}."
    )
    if analysis.found_first:
        text += (
            " Tags went in after planting, so stretches begin at the first sighting: a period tells of "
            "deaths after that only, and the first period of fewer deaths than there were."
        )
    columns = (
        Column("Preparation"),
        Column("Period"),
        Column("Hazard ratio", numeric=True),
        Column("95 % limits", numeric=True),
        Column("Deaths, about", numeric=True),
    )
    rows = tuple(
        (
            str(row["method"]),
            str(row["period"]),
            *ratio(row, "hazard_ratio"),
            number(float(row["deaths"])),
        )
        for row in found.table.sort_values("method", kind="stable").to_dict("records")
    )
    note = (
        f"Limits by plot ({found.variance}), not adjusted. A death found after a stretch across two periods "
        "is shared out between them. " + not_held(analysis, [*found.table["method"], usual])
    ).strip()
    blocks: list[Block] = [
        Paragraph(text),
        Paragraph(_same_ratio(found.test)),
        Table("periods-table", "Hazard ratios by period", columns, rows, 2, note),
    ]
    if found.checks:
        blocks.append(Listing(tuple(sentence(check) for check in found.checks)))
    if not analysis.residuals.empty:
        blocks.append(_residuals(analysis.residuals))
    return Section("periods", heading, tuple(blocks))


def _same_ratio(test: WaldTest) -> str:
    if not math.isfinite(test.p_value):
        return "Too few plots for a test of whether the ratios differ between periods."
    said = (
        f"(F {number(test.statistic, 2)} on {number(test.df1)} and {number(test.df2)} degrees of freedom, "
        f"p {chance(test.p_value)})"
    )
    if test.p_value < CLEAR:
        return (
            f"The ratios differ between periods {said}, so the answer is from the model that has a ratio for "
            "each period, where that model could be fitted; else it is an average over the season."
        )
    return (
        f"It is not shown that the ratios differ between periods {said}. Only large changes "
        "would show, so this does not say that they are the same."
    )


def _residuals(frame: pd.DataFrame) -> Figure:
    columns = (
        Column("Preparation"),
        Column("Days after planting", numeric=True),
        Column("Deaths in the round, all preparations", numeric=True),
        Column("Hazard ratio, roughly", numeric=True),
        Column("Over all rounds", numeric=True),
    )
    rows = tuple(
        (
            str(row["method"]),
            _days(float(row["first_day"]), float(row["last_day"])),
            number(float(row["deaths"])),
            number(math.exp(float(row["estimate"])), 2),
            number(math.exp(float(row["overall"])), 2),
        )
        for row in frame.to_dict("records")
    )
    many = frame[frame["deaths"] >= frame["deaths"].max() / 4]
    ranges = many.groupby("method", sort=False)["estimate"].agg(["min", "max"])
    widest = (ranges["max"] - ranges["min"]).idxmax()
    low, high = (number(math.exp(float(ranges.loc[widest, end])), 2) for end in ("min", "max"))
    return Figure(
        key="residuals",
        title="Hazard ratio of each round of visits",
        finding=(
            "Among the rounds with most deaths the ratio moves most for "
            f"{widest}: from {low} to {high} (no limits)."
        ),
        caption=(
            "Dot: what the Cox model's residuals (Schoenfeld, scaled) of a round of visits would have the "
            "ratio be, larger with more deaths. Broken line: the ratio over all rounds. Thin line: 1, as "
            "under what it is compared with. A trend away from the broken line, not one dot, is worth a "
            "thought."
        ),
        draw=partial(_draw, frame),
        table=Table("residuals-table", "Hazard ratio of each round of visits", columns, rows),
    )


def _draw(frame: pd.DataFrame, size: Size) -> Drawing:
    return residuals_figure(frame, size=size)


def _days(first: float, last: float) -> str:
    return number(first) if first == last else f"{number(first)} to {number(last)}"


def days_alive(analysis: Analysis) -> Section:
    """Return restricted means by preparation, and their differences."""
    heading = "Mean days alive"
    found = analysis.mean_days
    if found is None:
        return unmade(analysis, "days-alive", heading, "mean_days")
    day = number(found.day)
    text = (
        f"Out of the first {day} days, how many a seedling lived on average: unlike survival on one day it "
        "tells early deaths from late ones. A death counts on the day it was found, so means are a bit long."
    )
    columns = (
        Column("Preparation"),
        Column(f"Mean days alive of {day}", numeric=True),
        Column("95 % limits", numeric=True),
        Column("Plots", numeric=True),
    )
    rows = tuple(
        (
            str(row["method"]),
            number(float(row["estimate"])) if not row["note"] else str(row["note"]),
            limits(float(row["lower"]), float(row["upper"])),
            number(float(row["n_plots"])),
        )
        for row in found.table.to_dict("records")
    )
    differing = (
        Column("Preparation"),
        Column("Against"),
        Column("Difference in days", numeric=True),
        Column("95 % limits", numeric=True),
        Column("p", numeric=True),
        Column("Plots", numeric=True),
        Column("Sites", numeric=True),
    )
    lines = tuple(
        (
            str(row["method"]),
            str(row["against"]),
            number(float(row["estimate"]), sign=True) if not row["reason"] else str(row["reason"]),
            limits(float(row["lower"]), float(row["upper"]), sign=True),
            chance(float(row["p_value"])),
            number(float(row["n_plots"])),
            number(float(row["n_sites"])),
        )
        for row in found.differences.to_dict("records")
    )
    note = (
        "From the sites that hold both, with plants weighted so that both have the same share of each site. "
        "Limits by leaving out one plot at a time; p not adjusted."
    )
    return Section(
        "days-alive",
        heading,
        (
            Paragraph(text),
            Table("days-alive-table", "Mean days alive, as the plots were", columns, rows),
            Table("days-differ-table", "Differences in mean days alive", differing, lines, 2, note),
        ),
    )


def ratio(row: Mapping[Hashable, Any], name: str) -> tuple[str, str]:
    """Write a ratio and its limits."""
    middle, low, high = (float(row[f"{name}{part}"]) for part in ("", "_lower", "_upper"))
    return number(middle, 2), limits(low, high, 2)


def unmade(analysis: Analysis, key: str, heading: str, part: str) -> Section:
    """Return a section that says why its part could not be made."""
    said = sentence(analysis.unmade.get(part, "")) or "No comparison of preparations could be made."
    return Section(key, heading, (Paragraph(said, kind="note", label="No answer"),))
