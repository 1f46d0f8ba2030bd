"""What is written once for several rows: a line that heads those below it, a cell left blank further down."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

import pandas as pd

from survivor.files import cells
from survivor.files.headers import plain
from survivor.files.sheets import Grid, table_texts
from survivor.records.words import is_total

SECTION: Final = "section"
_PARTS: Final = re.compile(r"\s+[-\N{EN DASH}\N{EM DASH}]\s+|[:;,(]\s*|\)\s*")
_FEWEST_CELLS, _FEWEST_SECTIONS = 3, 2  # of a record; lines that head others
_MOST_PARTS: Final = 3
_LABELLED: Final = {
    "plot": re.compile(r"(?:plot|quadrat|strip|transect)\b\W*", re.IGNORECASE),
    "block": re.compile(r"(?:block|rep|replicate)\b\W*", re.IGNORECASE),
    "site": re.compile(r"(?:site|paddock|property|location|field)\b\W*", re.IGNORECASE),
    "method": re.compile(r"(?:prep\w*|treatment|method)\b\W*", re.IGNORECASE),
}


def with_sections(grid: Grid) -> Grid | None:
    """Give every record the parts of the line that heads it, as columns of their own.

    Returns
    -------
    Grid or None
        The lines themselves are left out. None where the records do not begin with such a line, or
        there is one only.
    """
    first = grid.cells.head(1)
    if (table_texts(first) != "").sum() != 1:
        return None
    texts = pd.DataFrame(table_texts(grid.cells), grid.cells.index, grid.cells.columns)
    number = (texts != "").sum(axis=1)
    said = texts.max(axis=1)
    alone = (number == 1) & ~said.map(_is_figure) & ~said.map(is_total)
    below = number.shift(-1, fill_value=0) >= _FEWEST_CELLS
    heads = alone & below
    if heads.sum() < _FEWEST_SECTIONS or said[heads].duplicated().any():
        return None
    parts = said[heads].map(lambda text: [part.strip() for part in _PARTS.split(text) if part.strip()])
    depth = min(int(parts.map(len).max()), _MOST_PARTS)
    columns = {
        len(grid.header) + n: parts.map(lambda own, n=n: own[n] if n < len(own) else "")
        .reindex(grid.cells.index)
        .ffill()
        .fillna("")
        .astype(object)
        for n in range(depth)
    }
    table = pd.concat([grid.cells, pd.DataFrame(columns)], axis=1)
    return replace(
        grid,
        header=(*grid.header, *(f"{SECTION} {n + 1}" for n in range(depth))),
        cells=table[~heads],
        places=(*grid.places, *(-1 for _ in range(depth))),
    )


def section_columns(grid: Grid) -> dict[str, str]:
    """Tell what the parts of such lines are: by their own words, else by how often they come back."""
    told: dict[str, str] = {}
    known = {plain(header) for header in grid.header}
    for place, header in enumerate(grid.header):
        if not header.startswith(f"{SECTION} "):
            continue
        texts = pd.Series(grid.cells[place].unique())
        texts = texts[texts != ""]
        word = next(
            (
                word
                for word, own in _LABELLED.items()
                if texts.map(lambda text, own=own: bool(own.match(text))).all()
            ),
            None,
        )
        if word is None:
            again = grid.cells[place].ne(grid.cells[place].shift()).sum() > len(texts)
            word = "method" if again else "site"
        if word not in told and word not in known:
            told[word] = header
    return told


def _is_figure(text: str) -> bool:
    return bool(re.fullmatch(r"[\d.,%/ -]+", text))


# A day taken from above holds for its own plot, or its own site, alone.
_HOLDS_WITHIN: Final = {"date": ("site", "block", "plot", "visit"), "planted_date": ("site",)}


def filled_down(facts: pd.DataFrame, words: Sequence[str]) -> tuple[pd.DataFrame, int]:
    """Take blank cells as the cell above; rows of totals and notes are passed over.

    Parameters
    ----------
    facts
        A column a word, and ``total``.
    words
        Those whose blank cells mean as above.

    Returns
    -------
    facts, number
        And how many cells were taken so.
    """
    number = 0
    for word in (word for word in words if word in facts.columns):
        text = cells.texts(facts[word])
        blank = (text == "") & ~facts["total"]
        above = facts[word].astype(object).where((text != "") & ~facts["total"], None)
        above = pd.Series(_down(above.tolist()), index=facts.index, dtype=object)
        if word in _HOLDS_WITHIN:
            above = above.where(_as_the_dated(facts, text, _HOLDS_WITHIN[word]))
        number += int((blank & above.notna()).sum())
        facts[word] = facts[word].where(~blank | above.isna(), above)
    return facts, number


def _as_the_dated(facts: pd.DataFrame, dated: pd.Series[Any], within: Sequence[str]) -> pd.Series[bool]:
    """Tell which rows are of the same place as the last row above with a day of its own."""
    words = [word for word in within if word in facts.columns]
    if not words:
        return pd.Series(True, index=facts.index)
    plots = facts[words].apply(cells.texts).agg("|".join, axis=1)
    own = plots.astype(object).where((dated != "") & ~facts["total"], None)
    return plots.eq(pd.Series(_down(own.tolist()), index=facts.index, dtype=object))


def _down(column: list[Any]) -> list[Any]:
    last = None
    return [last := (cell if cell is not None else last) for cell in column]
