"""What pooling gives back.

Limits that a difference per 100 planted can have: no more than all of 100, or none, can differ.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from survivor.shown import Shown
from survivor.vocabulary import PER_100

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True, repr=False)
class Pooled(Shown):
    """Units pooled: seasons, or sites.

    Attributes
    ----------
    table
        One row: ``estimate, std_error, df, lower, upper, p_value, n_units, method, limits,
        factor, scale``. Limits are two-sided 95 %. ``factor`` is Hartung and Knapp's, as found:
        under 1 where units agree more closely than their standard errors say.
    units
        One row a unit: ``unit, estimate, std_error, lower, upper`` (of the unit alone, normal)
        and ``weight``, per 100 of the whole.
    spread
        One row: ``q, df, p_value`` of the test that all units share one true value; ``i2``, the
        variation that is between units, per 100; ``tau2``, the variance between units, with 95 %
        limits ``tau2_lower, tau2_upper`` (Q profile); ``tau``, its root.
    new_unit
        One row: ``estimate, lower, upper``: 95 % CI for the true value of a new season or site.
    other_limits
        ``limits, std_error, df, lower, upper``: the same estimate under the other limits; and
        ``new_lower, new_upper``, a new unit by t on units less two (normal: as if all were known).
    left_out
        ``unit_left_out, estimate, lower, upper, tau2, p_value``: pooled without each unit.
    scale
        What was pooled, for example ``log hazard ratio``.
    checks
        Plain sentences.
    """

    table: pd.DataFrame
    units: pd.DataFrame
    spread: pd.DataFrame
    new_unit: pd.DataFrame
    other_limits: pd.DataFrame
    left_out: pd.DataFrame = field(repr=False)
    scale: str
    checks: tuple[str, ...]

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw every unit, all together, and what a new one may show; returns the Axes."""
        from survivor.figures.pooling import draw_pooled

        return draw_pooled(self.units, self.table, self.new_unit, self.scale, ax)

    def __repr__(self) -> str:
        parts = [self.units, self.table, self.spread, self.new_unit]
        return "\n\n".join([*(part.to_string(index=False) for part in parts), *self.checks])

    def _repr_html_(self) -> str:
        parts = (self.units, self.table, self.spread, self.new_unit)
        return "".join(str(part.to_html(index=False)) for part in parts)


EDGE: Final = 100.0
TELLS_NOTHING: Final = "wider than the whole scale: tells nothing"
_PAIRS: Final = (("lower", "upper", "limits"), ("new_lower", "new_upper", "limits of a new unit"))


def within_scale(table: pd.DataFrame, scale: str) -> pd.DataFrame:
    """Cut limits per 100 planted at -100 and 100, and say so in a column ``cut``.

    Parameters
    ----------
    table
        With some of ``lower, upper`` and ``new_lower, new_upper``.
    scale
        Name of the column that tells what scale a row is on, or that scale itself where the
        table has no such column.

    Returns
    -------
    DataFrame
        ``cut`` is empty where nothing was cut.
    """
    cut = table.copy()
    per_100 = cut[scale] == PER_100 if scale in cut else pd.Series(scale == PER_100, index=cut.index)
    notes = pd.Series("", index=cut.index, dtype=object)
    for lower, upper, name in _PAIRS:
        if lower not in cut or upper not in cut:
            continue
        low, high = cut[lower].astype(float), cut[upper].astype(float)
        under, over = per_100 & (low < -EDGE), per_100 & (high > EDGE)
        cut[lower], cut[upper] = low.mask(under, -EDGE), high.mask(over, EDGE)
        words = np.select(
            [under & over, under, over],
            [f"{name} {TELLS_NOTHING}", f"{name} cut at −100", f"{name} cut at +100"],
            "",
        )
        notes = pd.Series(
            ["; ".join(filter(None, pair)) for pair in zip(notes, words, strict=True)], index=cut.index
        )
    return cut.assign(cut=notes)


def tells_nothing(row: dict[Any, Any], lower: str, upper: str) -> bool:
    """Tell whether limits per 100 planted, cut or not, span the whole scale."""
    return float(row[lower]) <= -EDGE and float(row[upper]) >= EDGE
