"""The first answer beside what each other check gives: how far it bears, in one table."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from survivor.analysis.result import Analysis
from survivor.document.elements import Paragraph, Section, numbers, words, written
from survivor.report import appendix_english as en
from survivor.sentences import Name, say
from survivor.words import NONE, chance, difference, limits, model_words, number

_ENDS = ("estimate", "lower", "upper")
Row = Mapping[Any, Any]


def first_answer(analysis: Analysis) -> tuple[Section, ...]:
    """Return the first comparison under every other check; nothing where nothing is compared."""
    found = next((one for one in analysis.findings if one.key == "headline"), None)
    if found is None or found.estimate is None or len(found.methods) < 2:
        return ()
    method, against = found.methods[:2]
    rows = list(_rows(analysis, method, against))
    frame = pd.DataFrame(rows, columns=["check", "size", "p"])
    fields = (
        words("Check", "check"),
        numbers(f"Difference {analysis.per_100} (95 % CI)", "size", write=str),
        numbers("p", "p", write=str),
    )
    text = say(en.FIRST_ANSWER, method=Name(method), against=Name(against))
    table = written("first-answer-table", "The first answer under each check", frame, fields)
    return (Section("first-answer", "The first answer under each check", (Paragraph((text,)), table)),)


def _rows(analysis: Analysis, method: str, against: str) -> Iterator[tuple[str, str, str]]:
    """Give what each check has of a pair: its name, the size with limits, and p."""
    pair = (method, against)
    for check, result in (
        (en.CHECK_ANSWER, analysis.comparing.against),
        (en.CHECK_PAIRS, analysis.comparing.all_pairs),
        (en.CHECK_RADIUS, analysis.radius.held_equal),
        (en.CHECK_LIKE_SITES, analysis.supporting.like_sites),
    ):
        if result is not None:
            yield from _sized(result.table, pair, check)
    robust = analysis.robustness
    others = robust.agreement[robust.agreement["model"].astype(str) != "grouped"]
    others = others.assign(model=others["model"].astype(str).map(model_words))
    yield from _sized(others, pair, en.CHECK_MODEL)
    rules = robust.differences[robust.differences["rule"].astype(str) != "as reported"]
    yield from _sized(rules, pair, en.CHECK_RULE)
    yield from _sized(_least(robust.left_out, pair), pair, en.CHECK_SITE)
    if analysis.supporting.permutation is not None:
        for row in _of(analysis.supporting.permutation.table, pair, "p_value"):
            yield en.CHECK_LOT, NONE, chance(float(row["p_adjusted"]))
    if analysis.supporting.mean_days is not None:
        for row in _of(analysis.supporting.mean_days.differences, pair):
            size, span = number(row["estimate"], sign=True), limits(row["lower"], row["upper"], sign=True)
            yield en.CHECK_DAYS, en.DAYS.format(size=size, span=span), chance(float(row["p_value"]))
    if analysis.confounding.sensitivity is not None:
        for row in _of(analysis.confounding.sensitivity.table, pair, "e_value_limit"):
            yield en.CHECK_E_VALUE, number(row["e_value_limit"], 1), NONE


def _of(table: pd.DataFrame, pair: tuple[str, str], known: str = "estimate") -> list[Row]:
    """Pick the rows of a pair, either way round; of one the other way round signs and limits turn."""
    found: list[Row] = []
    for row in table.to_dict("records"):
        named = (str(row["method"]), str(row["against"]))
        if named not in (pair, pair[::-1]) or not math.isfinite(float(row[known])):
            continue
        if named != pair and "estimate" in row:
            estimate, lower, upper = (-float(row[name]) for name in _ENDS)
            row = {**row, "estimate": estimate, "lower": upper, "upper": lower}
        found.append(row)
    return found


def _sized(table: pd.DataFrame, pair: tuple[str, str], called: str) -> Iterator[tuple[str, str, str]]:
    """Write the rows of a pair; ``called`` names a row by its columns."""
    for row in _of(table, pair) if len(table) else []:
        size, span = difference(*(float(row[name]) for name in _ENDS))
        named = called.format(**{str(name): value for name, value in row.items()})
        yield named, f"{size} ({span})", chance(float(row.get("p_adjusted", math.nan)))


def _least(table: pd.DataFrame, pair: tuple[str, str]) -> pd.DataFrame:
    """Pick the site without which the difference is least clear: its interval ends nearest to 0."""
    rows = pd.DataFrame(_of(table, pair) if len(table) else [])
    if rows.empty:
        return rows
    near = rows["lower"].where(rows["estimate"] > 0, -rows["upper"]).astype(float)
    return rows.loc[[near.idxmin()]]
