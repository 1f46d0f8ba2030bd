"""Sheets that tell survival as percentages only: shown, and refused as a basis of any inference."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import pandas as pd

from survivor.errors import RecordsError
from survivor.records import cells
from survivor.records.matching import Matched
from survivor.records.reading import Grid
from survivor.records.words import KEY_WORDS, plain

_SHOWN: Final = 12  # lines of a summary that an error repeats
_OF_SURVIVAL: Final = frozenset({"survival", "survived", "surviving", "survivors", "alive", "live", "living"})
_AS_SHARE: Final = frozenset({"percent", "percentage", "pct", "rate", "share", "proportion"})


def refuse_percentages(
    grid: Grid, matched: Matched, labels: pd.DataFrame, counts: Sequence[tuple[str, pd.Series[Any]]]
) -> None:
    """Refuse a sheet whose counts are percentages, or that has percentages in place of counts.

    Parameters
    ----------
    grid, matched
        The sheet, and what its columns were taken for.
    labels
        Its rows, with site, block, plot, date and visit where told.
    counts
        Header and cells of each column that should hold counts; none: the sheet has no
        such column, and is looked through for one of percentages.

    Raises
    ------
    RecordsError
        With the percentages, and why nothing can be inferred from them.
    """
    if counts:
        if not all(_all_shares(column) for _, column in counts):
            return
        header, column = counts[-1]
    else:
        places = [place for place, header in enumerate(grid.header) if _speaks_of_shares(header)]
        if not places:
            return
        header, column = grid.header[places[0]], grid.cells[places[0]].reset_index(drop=True)
    raise RecordsError(
        f"this sheet tells survival as a percentage only, under {header!r}: {_listed(labels, column)}. "
        "These are shown and not analysed: how many seedlings and plots stand behind each is not told, so "
        "nobody can say how sure it is, and preparations cannot be compared",
        where=grid.place,
        mend="give the number planted and the number alive of every plot and visit; if plot sheets of "
        "the time still exist, enter those",
    )


def _speaks_of_shares(header: str) -> bool:
    words = set(plain(header).split())
    return bool(words & _OF_SURVIVAL) and (
        bool(words & _AS_SHARE) or words <= _OF_SURVIVAL - {"alive", "live"}
    )


def _all_shares(column: pd.Series[Any]) -> bool:
    """Tell whether every filled cell is a percentage, or a share between 0 and 1."""
    values, faults = cells.numbers(column)
    filled = cells.texts(column) != ""
    if not filled.any() or not (values.notna() | ~filled).all():
        return False
    if (faults[filled] == cells.PERCENTAGE).all():
        return True
    share = values[filled]
    return bool((faults[filled] == "").all() and share.between(0, 1).all() and (share % 1 != 0).any())


def _listed(labels: pd.DataFrame, column: pd.Series[Any]) -> str:
    told = cells.texts(column)
    when = [word for word in ("date", "visit") if word in labels.columns][:1]
    keys = [*(word for word in KEY_WORDS if word in labels.columns), *when]
    names = labels[keys].apply(cells.texts).agg(" ".join, axis=1) if keys else pd.Series("", index=told.index)
    rows = [
        f"{' '.join(name.split()) or f'row {row}'}: {value}"
        for name, row, value in zip(names, labels["row"], told, strict=True)
        if value
    ]
    more = f", and {len(rows) - _SHOWN} more" if len(rows) > _SHOWN else ""
    return ", ".join(rows[:_SHOWN]) + more
