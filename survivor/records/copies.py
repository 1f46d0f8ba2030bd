"""Sheets that are older copies of another: the same plants or plots, and the same states as far as they go.

A copy read as a second sheet doubles the records; one left out without a word may be the newer one.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import pandas as pd

from survivor.files import cells
from survivor.files.headers import squeezed
from survivor.records.guess import Guess

_SAME_KEYS: Final = 0.8  # of the plants of the shorter sheet that stand in the longer one
_SAME_ROWS: Final = 0.9  # of those, whose cells agree; sheets of two sites differ in far more
_FEWEST_ROWS: Final = 4


def copies(visits: Sequence[Guess]) -> dict[int, Guess]:
    """Find sheets of visits that are older copies of another.

    Returns
    -------
    dict
        ``id`` of the guess of each copy -> the sheet that it is a copy of.
    """
    ranked = sorted(visits, key=lambda guess: (-len(_heads(guess)), -len(guess.grid.cells)))
    tables = {id(guess): _signatures(guess) for guess in ranked}
    older: dict[int, Guess] = {}
    for place, guess in enumerate(ranked):
        for other in ranked[:place]:
            if id(other) not in older and _is_copy(guess, other, tables[id(guess)], tables[id(other)]):
                older[id(guess)] = other
                break
    return older


def _heads(guess: Guess) -> list[str]:
    heads = [squeezed(guess.grid.header[place]) for place in guess.values]
    # Of sheets that hold a visit each, the day tells one from another.
    heads += [guess.every_row[word] for word in ("date", "visit") if word in guess.every_row]
    if not guess.visits and guess.matched.has("date"):
        for place in guess.matched.positions.get("date", ()):
            heads += list(dict.fromkeys(cells.texts(guess.grid.cells[place])))
    return heads


def _is_copy(guess: Guess, other: Guess, own: pd.DataFrame, whole: pd.DataFrame) -> bool:
    shared = [column for column in own.columns if column in whole.columns]
    if (
        len(own) < _FEWEST_ROWS
        or not set(_heads(guess)) <= set(_heads(other))
        or len(shared) < len(guess.values)
    ):
        return False
    there = own.index.intersection(whole.index)
    if len(there) < _SAME_KEYS * len(own):
        return False
    same = (own.loc[there, shared] == whole.loc[there, shared]).all(axis=1)
    return bool(same.mean() >= _SAME_ROWS)


def _signatures(guess: Guess) -> pd.DataFrame:
    """One row a plant (or plot, or record of a long sheet): its cells, by header."""
    keys = [guess.texts_of(word) for word in ("block", "plot", "tag", "species") if guess.matched.has(word)]
    if guess.matched.has("site"):
        keys.insert(0, guess.texts_of("site"))
    if not guess.visits and guess.matched.has("date"):
        keys.append(guess.texts_of("date"))
    columns = {
        squeezed(guess.grid.header[place]): cells.texts(guess.grid.cells[place]) for place in guess.values
    }
    if guess.matched.has("method"):
        columns["method"] = guess.texts_of("method")
    table = pd.DataFrame(columns)
    table.index = pd.Index(
        ["|".join(parts).casefold() for parts in zip(*keys, strict=True)] if keys else table.index
    )
    return table[~table.index.duplicated()]
