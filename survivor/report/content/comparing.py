"""Each preparation against the usual practice, in differences per 100 planted."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

import pandas as pd

from survivor.analysis.milestone import milestone_words
from survivor.effects.confounding import REFUSED
from survivor.evidence.words import Counts, comparison_sentence
from survivor.figures.comparison import contrasts_figure
from survivor.figures.style import Drawing, Size
from survivor.figures.words import NONE, difference, number
from survivor.report.content.cautions import before_acting
from survivor.report.content.elements import (
    Block,
    Column,
    Figure,
    Listing,
    Paragraph,
    Section,
    Table,
    missing,
)
from survivor.report.content.reasons import base_words, compared_with, is_random, no_usual_practice, why
from survivor.report.content.wording import chance, counted, plain, sentence, shortened
from survivor.report.tables import hidden

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

KEY = "comparison"
RADIUS = "weed_free_radius_m"
HEADING = "Each preparation against {base}"
MUCH = 0.5  # standard deviations; from here a trait counts as differing much


def comparison(analysis: Analysis) -> Section:
    """Return differences from the usual practice: sentences, picture, table, cautions."""
    if analysis.contrasts is None or analysis.contrasts.table.empty:
        said = why(
            analysis, "contrast", "compar", otherwise="No comparison between preparations could be made"
        )
        return missing(KEY, HEADING.format(base="the usual practice"), said)
    base = base_words(analysis)
    table = analysis.contrasts.table.sort_values("estimate", ascending=False, kind="stable")
    smallest = analysis.settings.design.smallest_difference
    milestone = milestone_words(analysis.settings.headline_milestone, analysis.milestone_day)
    sentences = tuple(
        sentence(in_words(row, milestone, smallest, random=is_random(analysis)))
        for row in table.to_dict("records")
    )
    blocks: list[Block] = [*no_usual_practice(analysis), Listing(sentences)]
    if not is_random(analysis):
        blocks.append(
            Paragraph(
                "These differences were seen between plots whose preparation was not allocated at random.",
                kind="note",
                label="Not allocated at random",
                see="answer",
            )
        )
    blocks.append(
        Figure(
            key="contrasts",
            title=f"Difference from {base}",
            finding=_largest(table, base),
            caption=(
                "Dot: difference in plants alive per 100 planted. Line: 95 % limits, not adjusted for the "
                "number of "
                f"comparisons. Shaded: differences under {plain(smallest)}, the smallest worth having. "
                f"Hollow dot, "
                "broken line: between sites only."
            ),
            draw=partial(_draw, table, smallest),
            table=contrast_table("contrasts-table", f"Differences from {base}", table),
        )
    )
    if analysis.confounding is not None:
        blocks.extend(_traits(analysis, analysis.confounding.balance))
    blocks.extend(before_acting(analysis))
    return Section(KEY, HEADING.format(base=base), tuple(blocks))


def _draw(table: pd.DataFrame, smallest: float, size: Size) -> Drawing:
    return contrasts_figure(table, smallest=smallest, size=size)


def _largest(table: pd.DataFrame, base: str) -> str:
    known = table[table["estimate"].notna()]
    if known.empty:
        return f"No preparation could be compared with {base}."
    row = known.iloc[int(known["estimate"].abs().to_numpy().argmax())]
    written, span = difference(*(float(row[name]) for name in ("estimate", "lower", "upper")))
    size = f"{written} alive per 100 planted ({span})"
    return f"Largest difference: {row['method']}, {size} against {row['against']}."


def in_words(row: Mapping[Hashable, Any], milestone: str, smallest: float, *, random: bool) -> str:
    """Return a difference as a sentence; a wide interval is 'not shown', never 'no difference'."""
    method, against = str(row["method"]), str(row["against"])
    estimate, lower, upper = (float(row[name]) for name in ("estimate", "lower", "upper"))
    if str(row["basis"]) == REFUSED or not math.isfinite(estimate):
        return sentence(f"{method} is not compared with {against}: {row['reason'] or 'no estimate'}")
    counts = Counts(*(int(row[name]) for name in ("n_seedlings", "n_plots", "n_sites")))
    return comparison_sentence(
        method,
        against,
        estimate,
        lower,
        upper,
        milestone,
        counts,
        p_adjusted=float(row["p_adjusted"]),
        smallest=smallest,
        random=random,
        basis=str(row["basis"]),
    )


def contrast_table(key: str, caption: str, table: pd.DataFrame) -> Table:
    """Return differences with limits, adjusted p, what they rest on and how much."""
    columns = (
        Column("Preparation"),
        Column("Against"),
        Column("Difference per 100 planted", numeric=True),
        Column("95 % limits", numeric=True),
        Column("Adjusted p", numeric=True),
        Column("Rests on"),
        Column("Seedlings", numeric=True),
        Column("Plots", numeric=True),
        Column("Sites", numeric=True),
    )
    rows = tuple(
        (
            str(row["method"]),
            str(row["against"]),
            *difference(*(float(row[name]) for name in ("estimate", "lower", "upper"))),
            chance(float(row["p_adjusted"])) if "p_adjusted" in row else NONE,
            str(row["basis"]),
            *(number(float(row[name])) for name in ("n_seedlings", "n_plots", "n_sites")),
        )
        for row in table.to_dict("records")
    )
    told = int(table["p_adjusted"].notna().sum()) if "p_adjusted" in table else 0
    note = (
        "Limits are of the one comparison. p is adjusted for the "
        f"{counted(told, 'comparison')} of this table (Holm). A p value "
        "above 0.05 means that a difference is not shown, not that there is none."
    )
    return Table(key, caption, columns, rows, row_heads=2, note=note)


def _traits(analysis: Analysis, balance: pd.DataFrame) -> list[Block]:
    """Name traits of the plots that went with a preparation, and the one that differed most."""
    base = compared_with(analysis)
    private = hidden(analysis)
    told = balance[
        ~balance["trait"].astype(str).str.casefold().isin(private)
        & (balance["method"].astype(str) != str(base))
        & balance["standardised_difference"].notna()
    ]
    if told.empty:
        return []
    words = base_words(analysis)
    size = told["standardised_difference"].abs()
    most = told.iloc[int(size.to_numpy().argmax())]
    largest = f"{trait_name(most)} under {most['method']}, {_apart(float(most['standardised_difference']))}"
    apart = told[size >= MUCH]
    if apart.empty:
        text = (
            f"No trait that the records hold of the plots lies half a standard deviation or more from that "
            f"under {words}. The largest difference: {largest}."
        )
        return [Paragraph(text, kind="small")]
    keys = ["trait", "level"]
    under = balance[balance["method"].astype(str) == str(base)].set_index(keys)["value"]
    rows = []
    for row in apart.to_dict("records"):
        metres = " m" if row["trait"] == RADIUS else ""
        unit = metres if row["unit"] == "mean" else f" {row['unit']}"
        place = (row["trait"], row["level"])
        values = (float(row["value"]), float(under.get(place, math.nan)))
        digits = 2 if row["trait"] == RADIUS else 1
        rows.append(
            (
                trait_name(row),
                str(row["method"]),
                *(f"{number(v, digits if abs(v) < 10 else 0)}{unit}" for v in values),
                number(float(row["standardised_difference"]), 1, sign=True)
                if math.isfinite(float(row["standardised_difference"]))
                else "no overlap",
            )
        )
    text = (
        "Plots of the preparations differed where the table below has a row: the mean of the trait, or the "
        f"share of plots, lies at least half a standard deviation from that under {words}. The largest "
        f"difference: {largest}."
    )
    if (apart["trait"].astype(str) == RADIUS).any():
        text += (
            " The weed-free radius is part of a preparation as it was done, so the differences above hold "
            "what it did; with the radius held equal they stand in the appendix."
        )
    columns = (
        Column("Trait"),
        Column("Preparation"),
        Column("Under it", numeric=True),
        Column(f"Under {words}", numeric=True),
        Column("Apart, in standard deviations", numeric=True),
    )
    table = Table(
        "traits", "Traits of plots that differ between preparations", columns, tuple(rows), row_heads=2
    )
    return [Paragraph(text), shortened(table, "traits.csv", 20)]


def trait_name(row: Mapping[Hashable, Any] | pd.Series[Any]) -> str:
    """Write a trait of the plots, and its level where it is a word."""
    trait = "weed-free radius" if row["trait"] == RADIUS else str(row["trait"]).replace("_", " ")
    return f"{trait}: {row['level']}" if str(row.get("level", "")) else trait


def _apart(difference: float) -> str:
    if not math.isfinite(difference):
        return "which no plot of theirs shares"
    more = "more" if difference >= 0 else "less"
    return f"{number(abs(difference), 1)} standard deviations {more}"
