"""The columns that rows of a grouped fit would have under each level of a factor."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from survivor.errors import ModelError
from survivor.models.clusters import Codes, Floats
from survivor.models.grouped import Arranged
from survivor.models.result import Fit


@dataclass(frozen=True)
class Levels:
    """Levels of a factor that enters a formula as a term of its own.

    Attributes
    ----------
    names
        The levels that occur, in their own order.
    columns
        Columns of every fitted row were it of each level, shape (levels, n, q).
    effects
        How they differ from those under the first level, shape (levels, q).
    own
        Level of each fitted row, shape (n,).
    """

    names: tuple[Any, ...]
    columns: Floats
    effects: Floats
    own: Codes


def levels_in(fit: Fit, fitted: Arranged, by: str) -> Levels:
    """Set every fitted row to each level of ``by`` in turn.

    Raises
    ------
    ModelError
        When the formula does not hold ``by``, or holds it in an interaction.
    """
    if by not in fit.variables:
        raise ModelError(
            f"the formula {fit.formula!r} does not hold {by}",
            where=f"by={by!r}",
            mend=f"fit a model with {by} in the formula",
        )
    rows = fit.data.iloc[fitted.rows]
    names = _names(fit.data[by])
    columns = np.array([fitted.design.columns_for(_set(rows, by, name)) for name in names])
    effects = columns[:, 0] - columns[0, 0]
    if not np.allclose(columns - columns[:1], effects[:, None]):
        raise ModelError(
            f"{by} enters {fit.formula!r} in an interaction, so it has no one difference to test",
            where="formula",
            mend=f"fit with {by} as a term of its own",
        )
    own = pd.Index(names).get_indexer(pd.Index(rows[by].to_numpy())).astype(np.intp)
    return Levels(tuple(names), columns, effects, own)


def _names(column: pd.Series[Any]) -> list[Any]:
    if isinstance(column.dtype, pd.CategoricalDtype):
        present = set(column.unique())
        return [level for level in column.cat.categories if level in present]
    return sorted(column.unique().tolist())


def _set(rows: pd.DataFrame, by: str, level: Any) -> pd.DataFrame:
    return rows.assign(**{by: pd.Series([level] * len(rows), index=rows.index, dtype=rows[by].dtype)})


def level_of_term(term: str, by: str) -> str | None:
    """Level that a treatment-coded column of ``by`` stands for; None for any other column."""
    start, end = f"{by}[T.", "]"
    return term[len(start) : -len(end)] if term.startswith(start) and term.endswith(end) else None
