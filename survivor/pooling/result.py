"""What pooling gives back.

Limits that a difference per 100 planted can have: no more than all of 100, or none, can differ; and what
a new season, site or study may show, no further than survival can go from that of the usual practice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
from scipy import stats

from survivor.pooling.spread import between_variance, without_each
from survivor.shown import Shown
from survivor.vocabulary import PER_100
from survivor.words import NONE, difference_digits, number

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


ALL_ALIVE: Final = "all alive"
NONE_ALIVE: Final = "none alive"
TOO_FEW: Final = "too few {units} to say"
NEW_NOTE: Final = (
    "An interval for a new {unit} ends where survival can go no further: none alive, or all alive. That goes "
    "by survival under the usual practice in these {units}."
)


def possible(alive: pd.Series[float]) -> tuple[float, float]:
    """Return the least and greatest difference per 100 planted that survival leaves room for.

    Parameters
    ----------
    alive
        Alive per 100 planted under the practice compared with, in each unit; where none is known,
        no more than the whole scale can differ.
    """
    known = alive.astype(float).dropna()
    if known.empty:
        return -EDGE, EDGE
    return -float(known.clip(0, EDGE).max()), EDGE - float(known.clip(0, EDGE).min())


@dataclass(frozen=True)
class Coming:
    """What a new unit may show, per 100 planted: the one rule for pooled seasons, guideline and programme.

    Attributes
    ----------
    lower, upper
        95 % CI as far as survival can go.
    units
        Their name in the plural.
    none_alive, all_alive
        Whether an end is as far as it can go. Where both are, the interval says nothing.
    """

    lower: float
    upper: float
    units: str
    none_alive: bool
    all_alive: bool

    @classmethod
    def of(cls, lower: float, upper: float, ends: tuple[float, float], units: str) -> Coming:
        """Bring limits to what is possible.

        Parameters
        ----------
        lower, upper
            95 % CI of a new unit as pooling gives it.
        ends
            From `possible`.
        units
            ``seasons``, ``sites`` or ``studies``.
        """
        least, most = ends
        return cls(max(lower, least), min(upper, most), units, lower <= least, upper >= most)

    @classmethod
    def of_row(cls, row: Mapping[Any, Any], units: str) -> Coming:
        """Read ``new_lower, new_upper, possible_lower, possible_upper`` of a row of pooled comparisons."""
        ends = (float(row["possible_lower"]), float(row["possible_upper"]))
        return cls.of(float(row["new_lower"]), float(row["new_upper"]), ends, units)

    @property
    def says_nothing(self) -> bool:
        """Whether it reaches from none alive to all alive."""
        return self.none_alive and self.all_alive

    def __str__(self) -> str:
        if not np.isfinite([self.lower, self.upper]).all():
            return NONE
        if self.says_nothing:
            return TOO_FEW.format(units=self.units)
        digits = difference_digits(self.lower, self.upper)
        ends = (number(end, digits, sign=True) for end in (self.lower, self.upper))
        marks = (f" ({NONE_ALIVE})" if self.none_alive else "", f" ({ALL_ALIVE})" if self.all_alive else "")
        return " to ".join(end + mark for end, mark in zip(ends, marks, strict=True))


_LEAST_APART: Final = 4  # units under which the others are too few to say what one should be like
_APART_COLUMNS: Final = ("unit", "estimate", "expected", "residual", "p_value")


def standing_apart(pooled: Pooled) -> pd.DataFrame:
    """Hold every unit against the mean of the others, to see which stand apart by more than chance.

    By the externally standardised residual, with the variance between units estimated without the unit.
    Source: Viechtbauer and Cheung (2010), Research Synthesis Methods 1, 112-125.

    Parameters
    ----------
    pooled
        Units pooled.

    Returns
    -------
    DataFrame
        ``unit, estimate, expected`` (mean of the others), ``residual`` (standardised, about normal where
        units are many) and ``p_value``, of the normal and not adjusted for the number of units. No
        rows under four units.
    """
    effect = pooled.units["estimate"].to_numpy(dtype=float)
    variance = pooled.units["std_error"].to_numpy(dtype=float) ** 2
    if len(effect) < _LEAST_APART:
        return pd.DataFrame(columns=list(_APART_COLUMNS))
    others = without_each(len(effect))
    between = between_variance(effect[others], variance[others], np.ones((len(effect) - 1, 1)), "reml")
    weight = 1 / (variance[others] + between[:, None])
    expected = (weight * effect[others]).sum(axis=1) / weight.sum(axis=1)
    error = np.sqrt(variance + between + 1 / weight.sum(axis=1))
    residual = (effect - expected) / error
    return pd.DataFrame(
        {
            "unit": pooled.units["unit"],
            "estimate": effect,
            "expected": expected,
            "residual": residual,
            "p_value": 2 * stats.norm.sf(np.abs(residual)),
        }
    )
