"""The tables of one sheet: one below another, or side by side, each with its own header."""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import pandas as pd

from survivor.files.cells import one_date
from survivor.files.headers import squeezed
from survivor.files.sheets import Whole, as_text, letters
from survivor.records.visit_columns import days_in, is_round
from survivor.records.words import COLUMN_WORDS

_KNOWN: Final = {squeezed(word): ours for ours, words in COLUMN_WORDS.items() for word in (ours, *words)}
_KEYS: Final = frozenset({"plot", "tag", "block"})
_FEWEST_KNOWN: Final = 2  # headers that we know, in a row that is a header
_TOP: Final = 12  # rows in which a header is looked for
_FEWEST_CELLS: Final = 3  # of a row of a table; fewer are a title, or a remark
_MOST_LABELLED: Final = 5  # cells of a title that names a plot
_OF_PLOTS: Final = frozenset({"plot", "quadrat", "strip", "transect"})
_LABEL: Final = re.compile(
    r"(plot|quadrat|strip|transect|block|rep|replicate)\s*(?:no\b\.?|#|:)?\s*([^\W\d_]?\d[\w./-]*|[^\W\d_]{1,2})",
    re.IGNORECASE,
)
LABEL_SIGNS: Final = re.compile(r"\s+[-\N{EN DASH}\N{EM DASH}]\s+|[;,()]\s*|:\s+(?=\D)|\s{2,}")


@dataclass(frozen=True)
class Part:
    """One table of a sheet.

    Attributes
    ----------
    whole
        Its cells; those of other tables left out.
    sheet
        Name of the sheet for the study file; None where the file has but one.
    area
        Where it stands, such as ``A3:H14``; None where it is the only one of its sheet.
    name
        What the sheet is called, or the file where it has one sheet.
    beside
        Lone texts of the sheet, where it has several tables: a remark may be of all of them.
    heading
        Texts above all tables of a sheet with several.
    """

    whole: Whole
    sheet: str | None
    area: str | None
    name: str
    beside: tuple[str, ...] = ()
    heading: tuple[str, ...] = ()


def tables_of(whole: Whole, sheet: str | None, name: str) -> list[Part]:
    """Part a sheet into its tables where a header stands in it more than once.

    Parameters
    ----------
    whole
        The sheet.
    sheet, name
        As in `Part`.
    """
    texts = pd.DataFrame(whole.texts, whole.rows.index, whole.rows.columns)
    heads = _headers(texts)
    across = _starts_across(texts, heads[0]) if heads else []
    tops = _starts_below(texts, heads)
    if len(tops) < 2 and len(across) < 2:
        return [Part(whole, sheet, None, name)]
    last_row, last_column = int(texts.index[-1]), int(texts.columns[-1])
    rows = [*tops, last_row + 1] if len(tops) > 1 else [int(texts.index[0]), last_row + 1]
    columns = [*across, last_column + 1] if len(across) > 1 else [0, last_column + 1]
    areas = [
        f"{letters(left)}{top}:{letters(right - 1)}{foot - 1}"
        for top, foot in pairwise(rows)
        for left, right in pairwise(columns)
    ]
    lone = texts[(texts != "").sum(axis=1) == 1].max(axis=1)
    above = texts.loc[: rows[0] - 1].to_numpy().ravel()
    heading = tuple(str(text) for text in above if text)
    return [Part(whole.part(area), sheet, area, name, tuple(lone), heading) for area in areas]


def holds_records(whole: Whole) -> bool:
    """Tell whether a sheet has a header of plots or seedlings near its top."""
    return bool(_headers(whole.rows.head(_TOP).map(as_text)))


def _headers(texts: pd.DataFrame) -> list[int]:
    """Rows that hold headers we know, that of the plot or the tag among them."""
    heads = []
    for row, line in zip(texts.index, texts.to_numpy(), strict=True):
        # "Plot:" has its value beside it, and heads no column.
        heading = [cell for cell in line if cell and not cell.endswith(":")]
        known = {_KNOWN[own] for cell in heading if (own := squeezed(cell)) in _KNOWN}
        named = known & _KEYS or {"block", "method"} <= known
        if named and len(known) < _FEWEST_KNOWN:
            known |= {str(cell) for cell in line if cell and (is_round(cell) or days_in(cell, "day-first"))}
        if named and len(known) >= _FEWEST_KNOWN:
            heads.append(int(row))
    return heads


def _starts_below(texts: pd.DataFrame, heads: list[int]) -> list[int]:
    """First row of each table: the titles above its header go with it.

    A header that is written again, with no title above it, is no table of its own.
    """
    filled = (texts != "").sum(axis=1)
    starts = [int(texts.index[0])]
    for head in heads[1:]:
        start = _top_of(texts, head, starts[-1] + 1)
        titled = (filled.loc[start : head - 1] > 0).any() if start < head else False
        same = bool((texts.loc[[head]].to_numpy() == texts.loc[[heads[0]]].to_numpy()).all())
        if head - heads[0] > 1 and (titled or not same) and start > heads[0] + 1:
            starts.append(start)
    return [_top_of(texts, heads[0], starts[0]), *starts[1:]] if len(starts) > 1 else starts


def _top_of(texts: pd.DataFrame, head: int, least: int) -> int:
    """First row of the table with a header: upper rows of the header, and its titles, go with it."""
    filled = (texts != "").sum(axis=1)

    def line(row: int) -> list[str]:
        return [str(cell) for cell in texts.loc[[row]].to_numpy()[0]]

    start = head
    while start > least and _heads_columns(line(start - 1)):
        start -= 1
    while start > least and filled.loc[start - 1] == 0:
        start -= 1
    while start > least and filled.loc[start - 1] > 0 and _is_title(line(start - 1)):
        start -= 1
    return start


def plot_labels(text: str) -> dict[str, str]:
    """Read what a title says of a plot or a block under its own word: Plot 3, Block E."""
    parts = [part.strip() for part in LABEL_SIGNS.split(text)]
    found = [(part, one) for part in parts if (one := _LABEL.fullmatch(part)) is not None]
    return {("plot" if one[1].casefold() in _OF_PLOTS else "block"): one[2] for _, one in found}


def _is_title(line: list[str]) -> bool:
    filled = [cell for cell in line if cell]
    labelled = any(plot_labels(cell) or cell.endswith(":") for cell in filled)
    return len(filled) < _FEWEST_CELLS or (labelled and len(filled) <= _MOST_LABELLED)


def _heads_columns(line: list[str]) -> bool:
    """Tell whether a row is the upper part of a header: days and names of visits, and no figures."""
    filled = [cell for cell in line if cell]
    figures = any(cell.replace(".", "").isdigit() for cell in filled)
    return (
        bool(filled) and not figures and any(is_round(cell) or one_date(cell, "day-first") for cell in filled)
    )


def _starts_across(texts: pd.DataFrame, head: int) -> list[int]:
    """First column of each table of several side by side: their first header stands there again."""
    line = [squeezed(str(cell)) for cell in texts.loc[head]]
    known = [place for place, own in enumerate(line) if own in _KNOWN]
    if not known:
        return []
    first = line[known[0]]
    starts = [place for place in known if line[place] == first]
    keys = [place for place in known if _KNOWN[line[place]] in _KEYS]
    each = all(
        any(left <= key < right for key in keys)
        for left, right in zip(starts, [*starts[1:], len(line)], strict=True)
    )
    return starts if len(starts) > 1 and each else _beyond_gap(texts.loc[head:], line)


def _beyond_gap(texts: pd.DataFrame, line: list[str]) -> list[int]:
    """First column of a table, and of a summary right of an empty column that has a heading of it again."""
    for gap in (place for place in range(1, len(line)) if (texts[place] == "").all()):
        left, right = ({own for own in part if own in _KNOWN} for part in (line[:gap], line[gap:]))
        if left & right and not {_KNOWN[own] for own in right} & _KEYS:
            return [next(place for place, own in enumerate(line) if own), gap + 1]
    return []
