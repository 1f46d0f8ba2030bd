"""Each preparation against the usual practice, in differences per 100 planted."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from dataclasses import replace
from functools import partial
from typing import Any

import pandas as pd

from survivor.analysis.result import Analysis
from survivor.document.elements import (
    Block,
    Figure,
    Paragraph,
    Section,
    Table,
    headed,
    missing,
    numbers,
    shortened,
    words,
    written,
)
from survivor.effects.confounding import BETWEEN
from survivor.effects.contrasts import Contrasts
from survivor.figures.comparison import contrasts_figure
from survivor.report import english as en
from survivor.report.cautions import before_acting
from survivor.report.columns import (
    AGAINST,
    ALL_TOGETHER,
    METHOD,
    PLOTS,
    SEEDLINGS,
    SITES,
    differing,
    together,
)
from survivor.report.reasons import base_words, compared_with, no_usual_practice, not_random, why
from survivor.report.tables import hidden
from survivor.sentences import Name, Text, Value, cell, plain_text, say
from survivor.vocabulary import Basis
from survivor.words import chance, counted, difference, number, plain

KEY = "comparison"
RADIUS = "weed_free_radius_m"
HEADING = "Each preparation against {base}"
MUCH = 0.5  # standard deviations; from here a trait counts as differing much


def comparison(analysis: Analysis) -> Section:
    """Return differences from the usual practice: sentences, picture, table, cautions."""
    if analysis.comparing.against is None or analysis.comparing.against.table.empty:
        said = why(analysis, "comparing", "No comparison between preparations could be made")
        return missing(KEY, HEADING.format(base="the usual practice"), said)
    base = base_words(analysis)
    table = analysis.comparing.against.table.sort_values("estimate", ascending=False, kind="stable")
    smallest = analysis.settings.design.smallest_difference
    blocks: list[Block] = [*no_usual_practice(analysis), *not_random(analysis, en.NOT_RANDOM_SEEN)]
    caption = [en.CONTRASTS_CAPTION.format(per=analysis.per_100, smallest=plain(smallest))]
    if (table["basis"].astype(str) == BETWEEN).any():
        caption.append(en.CONTRASTS_HOLLOW)
    blocks.append(
        Figure(
            key="contrasts",
            title=f"Difference from {base}",
            finding=_largest(table, base, analysis.basis),
            caption=" ".join(caption),
            draw=partial(contrasts_figure, table, smallest=smallest, per=analysis.per_100),
            table=_first_table(f"Differences from {base}", analysis.comparing.against, analysis.basis),
        )
    )
    if analysis.confounding.layout is not None:
        blocks.extend(_traits(analysis, analysis.confounding.layout.balance))
    blocks.extend(before_acting(analysis))
    return Section(KEY, HEADING.format(base=base), tuple(blocks))


def _first_table(caption: str, found: Contrasts, basis: Basis) -> Table:
    """Return the table of differences that readers come to first: its note says what p means."""
    made = contrast_table("contrasts-table", caption, found, basis)
    return replace(made, note=f"{plain_text(made.note)} {en.P_MEANS}")


def _largest(table: pd.DataFrame, base: str, basis: Basis) -> Text:
    known = table[table["estimate"].notna()]
    if known.empty:
        return en.CONTRASTS_NONE.format(base=base)
    row = known.iloc[int(known["estimate"].abs().to_numpy().argmax())]
    written, span = difference(*(float(row[name]) for name in ("estimate", "lower", "upper")))
    method, against = str(row["method"]), str(row["against"])
    at = {name: cell("contrasts", name, method=method, against=against) for name in ("estimate", "lower")}
    return say(
        en.CONTRASTS_LARGEST,
        method=Name(method),
        against=Name(against),
        per=basis.per_100,
        size=Value(written, float(row["estimate"]), at["estimate"]),
        span=Value(span, float(row["lower"]), at["lower"]),
    )


def contrast_table(key: str, caption: str, found: Contrasts, basis: Basis) -> Table:
    """Return differences with limits, adjusted p, what they rest on and how much."""
    table = found.table
    fields = (
        METHOD,
        AGAINST,
        *differing(basis),
        together(),
        numbers("Adjusted p", "p_adjusted", write=chance),
        words("Rests on", "basis"),
        SEEDLINGS,
        PLOTS,
        SITES,
    )
    note = en.CONTRASTS_NOTE.format(
        together=ALL_TOGETHER,
        pairs=counted(found.comparisons, "comparison"),
        compared=counted(int(table["p_adjusted"].notna().sum()), "comparison"),
    )
    return written(key, caption, table, fields, row_heads=2, note=note)


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
    base_name = base_words(analysis)
    size = told["standardised_difference"].abs()
    most = told.iloc[int(size.to_numpy().argmax())]
    largest = f"{trait_name(most)} under {most['method']}, {_apart(float(most['standardised_difference']))}"
    apart = told[size >= MUCH]
    if apart.empty:
        text = f"{en.TRAITS_ALIKE.format(base=base_name)} {en.TRAITS_LARGEST.format(largest=largest)}"
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
    said = [en.TRAITS.format(base=base_name), en.TRAITS_LARGEST.format(largest=largest)]
    if (apart["trait"].astype(str) == RADIUS).any():
        said.append(en.TRAITS_RADIUS)
    counts = ("Its plots", f"Plots of {base_name}", "Difference, in standard deviations")
    columns = headed("Trait", "Preparation", numeric=counts)
    table = Table(
        "traits", "Traits of plots that differ between preparations", columns, tuple(rows), row_heads=2
    )
    return [Paragraph(" ".join(said)), shortened(table, "traits.csv", 20)]


def trait_name(row: Mapping[Hashable, Any] | pd.Series[Any]) -> str:
    """Write a trait of the plots, and its level where it is a word."""
    trait = "weed-free radius" if row["trait"] == RADIUS else str(row["trait"]).replace("_", " ")
    return f"{trait}: {row['level']}" if str(row.get("level", "")) else trait


def _apart(difference: float) -> str:
    if not math.isfinite(difference):
        return "which no plot of theirs shares"
    more = "more" if difference >= 0 else "less"
    return f"{number(abs(difference), 1)} standard deviations {more}"
