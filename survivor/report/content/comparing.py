"""Each preparation against the usual practice, in differences per 100 planted."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

import pandas as pd

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
from survivor.report.content.reasons import is_random, usual_practice, why
from survivor.report.content.wording import chance, plain, sentence, shortened

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

KEY = "comparison"
RADIUS = "weed_free_radius_m"  # part of the preparation, not of the ground
HEADING = "Each preparation against the usual practice"


def comparison(analysis: Analysis) -> Section:
    """Return differences from the usual practice: sentences, picture, table, cautions."""
    if analysis.contrasts is None or analysis.contrasts.table.empty:
        said = why(
            analysis, "contrast", "compar", otherwise="No comparison between preparations could be made"
        )
        return missing(KEY, HEADING, said)
    table = analysis.contrasts.table.sort_values("estimate", ascending=False, kind="stable")
    smallest = analysis.settings.design.smallest_difference
    milestone = analysis.settings.headline_milestone.name
    sentences = tuple(
        sentence(in_words(row, milestone, smallest, random=is_random(analysis)))
        for row in table.to_dict("records")
    )
    blocks: list[Block] = [Listing(sentences)]
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
            title="Difference from the usual practice",
            finding=_largest(table),
            caption=(
                "Dot: difference in plants alive per 100 planted. Line: 95 % limits, not adjusted for the "
                "number of "
                f"comparisons. Shaded: differences under {plain(smallest)}, the smallest worth having. "
                f"Hollow dot, "
                "broken line: between sites only."
            ),
            draw=partial(_draw, table, smallest),
            table=contrast_table("contrasts-table", "Differences from the usual practice", table),
        )
    )
    if analysis.confounding is not None:
        blocks.extend(_traits(analysis.confounding.balance, usual_practice(analysis)))
    blocks.extend(before_acting(analysis))
    return Section(KEY, HEADING, tuple(blocks))


def _draw(table: pd.DataFrame, smallest: float, size: Size) -> Drawing:
    return contrasts_figure(table, smallest=smallest, size=size)


def _largest(table: pd.DataFrame) -> str:
    known = table[table["estimate"].notna()]
    if known.empty:
        return "No preparation could be compared with the usual practice."
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
    note = (
        "Limits are of the one comparison. p is adjusted for the number of comparisons (Holm). A p value "
        "above 0.05 "
        "means that a difference is not shown, not that there is none."
    )
    return Table(key, caption, columns, rows, row_heads=2, note=note)


def _traits(balance: pd.DataFrame, usual: str | None) -> list[Block]:
    """Name traits of the ground that went with a preparation."""
    ground = balance[balance["trait"].astype(str) != RADIUS]
    if ground.empty:
        return []
    apart = ground[ground["standardised_difference"].abs() >= 0.5]
    if apart.empty:
        return [
            Paragraph("No recorded trait of the plots differed much between the preparations.", kind="small")
        ]
    keys = ["trait", "level"]
    under = ground[ground["method"].astype(str) == str(usual)].set_index(keys)["value"]
    rows = []
    for row in apart.to_dict("records"):
        trait = str(row["trait"]).replace("_", " ")
        name = f"{trait}: {row['level']}" if str(row["level"]) else trait
        unit = "" if row["unit"] == "mean" else f" {row['unit']}"
        place = (row["trait"], row["level"])
        values = (float(row["value"]), float(under.get(place, math.nan)))
        rows.append(
            (name, str(row["method"]), *(f"{number(v, 1 if abs(v) < 10 else 0)}{unit}" for v in values))
        )
    text = (
        "Preparations stood on different ground where the table below has a row: the mean of the trait, "
        "or the "
        "share of plots, lies at least half a standard deviation from that under the usual practice."
    )
    columns = (
        Column("Trait"),
        Column("Preparation"),
        Column("Under it", numeric=True),
        Column("Under the usual practice", numeric=True),
    )
    table = Table(
        "traits", "Traits of plots that differ between preparations", columns, tuple(rows), row_heads=2
    )
    return [Paragraph(text), shortened(table, "traits.csv", 20)]
