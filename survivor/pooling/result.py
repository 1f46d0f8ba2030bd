"""What pooling gives back."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pandas as pd

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True, repr=False)
class Pooled:
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
        One row: ``estimate, lower, upper``: 95 % limits for the true value of a new season or site.
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
