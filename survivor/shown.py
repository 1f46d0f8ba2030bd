"""How a result shows its table in a terminal and in a notebook; shared by the results of all rooms.

Tables hold what their subject needs, under the subject's names; ``tidy`` gives any of them in the
same columns, for a drawing or an export that knows no subject.
"""

from __future__ import annotations

from html import escape
from typing import Final, Protocol

import numpy as np
import pandas as pd

from survivor.vocabulary import CONFIDENCE

#: What the estimate is called, where not ``estimate``.
_ESTIMATES: Final = ("estimate", "cost_per_established", "plants_needed", "survival", "day")
_KEPT: Final = ("estimate", "std_error", "df", "lower", "upper", "p_value", "p_adjusted", "n_plots")


def tidy(table: pd.DataFrame) -> pd.DataFrame:
    """Give a table of results in the columns that all of them share.

    Returns
    -------
    DataFrame
        ``group`` (what a row is of, parted by ``; ``), ``against``, ``estimate, std_error, df, lower,
        upper, p_value, p_adjusted, n_plots`` (blank where the table has none), ``level`` (of the
        limits), ``unit`` and ``note``.
    """
    own = next((name for name in _ESTIMATES if name in table.columns), None)
    before = list(table.columns[: list(table.columns).index(own)]) if own is not None else []
    first = before or [str(table.columns[0])]
    keys = [name for name in first if name not in ("against", "basis") and name != own]
    keys = [name for name in keys if name == keys[0] or not pd.api.types.is_numeric_dtype(table[name])]
    if own == "survival" and "day" in table.columns:
        keys = [*keys, "day"]
    rows = table[keys].astype(str).agg("; ".join, axis=1) if keys else pd.Series("all", table.index)
    found = pd.DataFrame({"group": rows, "against": _text(table, "against")})
    for name in _KEPT:
        source = own if name == "estimate" else name
        found[name] = table[source].to_numpy() if source in table.columns else np.nan
    if "lower" in table.columns:
        found["level"] = table["level"].to_numpy() if "level" in table.columns else CONFIDENCE
    else:
        found["level"] = np.nan
    note = next((name for name in ("note", "reason") if name in table.columns), "note")
    return found.assign(unit=_text(table, "unit"), note=_text(table, note))


def _text(table: pd.DataFrame, name: str) -> pd.Series[str]:
    if name not in table.columns:
        return pd.Series("", table.index, dtype=object)
    return table[name].astype(object).where(table[name].notna(), "").astype(str)


def _of_level(result: object) -> str:
    """Say at which level limits are, where it is not the usual one."""
    level = getattr(result, "level", CONFIDENCE)
    return "" if level == CONFIDENCE else f"limits at {100 * level:g} %"


class _HasTable(Protocol):
    @property
    def table(self) -> pd.DataFrame: ...


class Shown:
    """A result with a ``table``; its ``statement`` stands before, its ``test`` and ``checks`` after."""

    def __repr__(self: _HasTable) -> str:
        around = (
            getattr(self, "statement", ""),
            self.table.to_string(index=False),
            _of_level(self),
            getattr(self, "test", ""),
            *(f"- {check}" for check in getattr(self, "checks", ())),
        )
        return "\n".join(str(part) for part in around if part)

    def tidy(self: _HasTable) -> pd.DataFrame:
        """Give the table in the columns that all results share; see ``survivor.shown.tidy``."""
        return tidy(self.table)

    def _repr_html_(self: _HasTable) -> str:
        lines = [line for line in (_of_level(self), *getattr(self, "checks", ())) if line]
        said = "".join(f"<li>{escape(line)}</li>" for line in lines)
        return str(self.table.to_html(index=False)) + (f"<ul>{said}</ul>" if said else "")
