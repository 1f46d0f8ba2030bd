"""What several seasons say: in sentences, and as tables and figures in a folder."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.document.page import page_of
from survivor.evidence.finding import NOT_ENOUGH, as_sentences
from survivor.figures.pooling import pooled_figure
from survivor.figures.svg import to_svg
from survivor.files.writing import Place, csv_text, writing
from survivor.pooling.result import EDGE, TELLS_NOTHING, Coming, tells_nothing, within_scale
from survivor.seasons import english as en
from survivor.seasons.page import PAGE, page_of_seasons
from survivor.seasons.together import SeasonsTogether
from survivor.sentences import Cell, Name, Sentence, Value, cell, plain_text, say
from survivor.vocabulary import PER_100, SIGNIFICANCE
from survivor.words import counted, difference, difference_digits, limits, number

POOLED: Final = "the pooled seasons"
_LEAST_P: Final = 0.001
_ENDS: Final = ("estimate", "lower", "new_lower")


def sentences(found: SeasonsTogether) -> tuple[tuple[Sentence, ...], ...]:
    """Return what is said of each comparison: the difference per 100, and what a new unit may show."""
    lines: list[tuple[Sentence, ...]] = []
    for row in found.table.to_dict("records"):
        if row["scale"] != PER_100:
            continue
        names = {"method": Name(str(row["method"])), "against": Name(str(row["against"]))}
        if not np.isfinite(row["estimate"]):
            lines.append((say(en.NOT_POOLED, reason=str(row["reason"]), **names),))
            continue
        at = {name: cell("pooled", name, method=row["method"], scale=PER_100) for name in _ENDS}
        compared = say(
            en.COMPARED,
            when=found.milestone,
            size=Value(difference_words(row), float(row["estimate"]), at["estimate"]),
            span=Value(_limits(row, "lower", "upper"), float(row["lower"]), at["lower"]),
            units=counted(float(row["n_units"]), found.unit),
            **names,
        )
        read = say(en.READINGS[found.reading(row)])
        if found.reading(row) == NOT_ENOUGH and float(row["lower"]) * float(row["upper"]) > 0:
            compared_in_all = int((found.table["scale"] == PER_100).sum())
            read = say(en.OPEN_OF_MANY, comparisons=counted(compared_in_all, "comparison"))
        apart = [say(en.APART, units=f"{found.unit}s")] if row["method"] in found.differing else []
        lines.append((compared, read, *apart, _new(row, found.unit, at["new_lower"])))
    return tuple(lines)


def told_in_words(found: SeasonsTogether) -> tuple[str, ...]:
    """Return every line: the comparisons, what the trait asked for says, and what to mind."""
    traits = trait_sentences(found)
    compared = tuple(map(plain_text, sentences(found)))
    return (*compared, *(("", *map(plain_text, traits)) if traits else ()), "", *found.checks)


def trait_sentences(found: SeasonsTogether) -> tuple[tuple[Sentence, ...], ...]:
    """Return what the trait asked for says, a line a comparison, per 100 planted."""
    lines: list[tuple[Sentence, ...]] = []
    for (method, against, scale), trend in found.trends.items():
        if scale != PER_100:
            continue
        for test in trend.tests.to_dict("records"):
            p_value = float(test["p_value"])
            known = np.isfinite(p_value)
            verdict = en.TRAIT_GOES if p_value < SIGNIFICANCE else en.TRAIT_OPEN
            values = trend.units[str(test["trait"])]
            told = say(
                en.TRAIT,
                method=Name(method),
                against=Name(against),
                trait=str(test["trait"]),
                verdict=verdict if known else en.TRAIT_UNKNOWN,
                p=f"{_chance(p_value)}; " if known else "",
                units=counted(len(trend.units), found.unit),
            )
            changes = (_change(row, values) for row in trend.table.iloc[1:].to_dict("records"))
            lines.append((told, *changes))
    compared = len(lines)
    lines += [
        as_sentences(line) for line in dict.fromkeys(c for t in found.trends.values() for c in t.checks)
    ]
    if compared > 1:
        lines.append((say(en.TRAIT_MANY, comparisons=counted(compared, "comparison")),))
    return tuple(lines)


def _chance(p_value: float) -> str:
    """Write a p value; one that would print as zero is under the least that is told."""
    return f"p < {_LEAST_P:g}" if p_value < _LEAST_P else f"p = {number(p_value, 3)}"


def difference_words(row: dict[Any, Any]) -> str:
    """Write an estimated difference with its sign."""
    return difference(float(row["estimate"]), float(row["lower"]), float(row["upper"]))[0]


def _span(row: dict[Any, Any], lower: str, upper: str) -> str:
    low, high = float(row[lower]), float(row[upper])
    return limits(low, high, difference_digits(low, high), sign=True)


def _change(row: dict[Any, Any], values: pd.Series[Any]) -> Sentence:
    """Write what a trait changes; a number's by its unit, and no limits wider than a change can be."""
    numbers = pd.api.types.is_numeric_dtype(values)
    reach = float(values.max() - values.min()) if numbers else 1.0
    low, high = float(row["lower"]), float(row["upper"])
    nothing = low * reach <= -2 * EDGE and high * reach >= 2 * EDGE
    size, span = difference(float(row["estimate"]), low, high)
    what = f"for 1 more of {row['term']}" if numbers else str(row["term"]).split(": ", 1)[-1]
    ends = f"95 % CI {TELLS_NOTHING if nothing else span}"
    return say(en.TRAIT_CHANGE, size=Value(size, float(row["estimate"])), what=what, span=Value(ends, low))


def _limits(row: dict[Any, Any], lower: str, upper: str) -> str:
    nothing = tells_nothing(row, lower, upper)
    return f"95 % CI {TELLS_NOTHING if nothing else _span(row, lower, upper)}"


def _new(row: dict[Any, Any], unit: str, at: Cell) -> Sentence:
    coming = Coming.of_row(row, f"{unit}s")
    if coming.says_nothing:
        return say(en.NEW_ANYTHING, unit=unit, why=str(coming))
    return say(en.NEW, unit=unit, span=Value(str(coming), float(row["new_lower"]), at))


def write_together(found: SeasonsTogether, folder: Path | Place) -> tuple[Path, ...]:
    """Write the page, the tables of what is pooled, and a picture a comparison.

    Raises
    ------
    WritingError
        When the folder cannot be written to, or holds what survivor did not write under one of these names.
    """
    texts = _tables(found) | {"pooled.txt": "\n".join([*told_in_words(found), ""])}
    texts = {PAGE: page_of(page_of_seasons(found, (*sentences(found), *trait_sentences(found)))), **texts}
    names = found.table.loc[found.table["scale"] == PER_100, "method"]
    pooled_per_100 = {key[0] for key in found.pooled if key[2] == PER_100}
    answers = {
        method: plain_text(line)
        for method, line in zip(names, sentences(found), strict=True)
        if method in pooled_per_100
    }
    for method, against, scale in found.pooled:
        which = "per-100" if scale == PER_100 else "ratio"
        name = re.sub(r"[^a-z0-9]+", "-", f"{method} {which}".casefold()).strip("-")
        key = (method, against, scale)
        drawn = pooled_figure(*found.drawn(key), scale, new_name=f"a new {found.unit}")
        title = f"{method} against {against}, {scale}, at {found.milestone}"
        svg = to_svg(drawn, f"pooled-{name}", title, answers.get(method, title))
        texts[f"{name}.svg"] = svg.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
    with writing(folder, POOLED) as place:
        return place.write(texts)


def _tables(found: SeasonsTogether) -> dict[str, str]:
    tables = {
        "pooled.csv": found.table,
        "units.csv": found.units,
        "same-sites.csv": found.same_sites,
        "joint.csv": within_scale(found.joint, "scale"),
    }
    left = [_named(pooled.left_out, key) for key, pooled in found.pooled.items() if len(pooled.left_out)]
    if left:
        tables["left-out.csv"] = within_scale(pd.concat(left, ignore_index=True), "scale")
    other = [_named(pooled.other_limits, key) for key, pooled in found.pooled.items()]
    tables["other-limits.csv"] = within_scale(pd.concat(other, ignore_index=True), "scale")
    if found.trends:
        parts = [_named(trend.table, key) for key, trend in found.trends.items()]
        tables["trends.csv"] = pd.concat(parts, ignore_index=True)
    return {name: csv_text(table) for name, table in tables.items()}


def _named(table: pd.DataFrame, key: tuple[str, str, str]) -> pd.DataFrame:
    named = table.copy()
    for place, (column, value) in enumerate(zip(("method", "against", "scale"), key, strict=True)):
        named.insert(place, column, value)
    return named
