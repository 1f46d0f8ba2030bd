"""Does a trait of the season or site go with the answer: pooling on rain, texture or slope.

Mixed-effects meta-regression with Knapp and Hartung's tests (2003, Stat. Med. 22,
2693-2710). Units are few and chosen by nobody: what goes with a trait of the season may
go with anything else of that season.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np
import pandas as pd
from scipy import stats

from survivor.arguments import several
from survivor.arrays import Floats
from survivor.errors import PoolingError
from survivor.pooling.limits import TREND_LIMITS, Factor, Means, Pooling, TrendLimits, means
from survivor.pooling.pool import Numbers, checked
from survivor.pooling.spread import Method, between_variance, squares_at
from survivor.shown import Shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_UNITS_A_TRAIT = 10  # common practice; no source
Trait: TypeAlias = "Sequence[Any] | Floats | pd.Series[Any]"


@dataclass(frozen=True, repr=False)
class PooledTrend(Shown):
    """Pooling on traits of the units.

    Attributes
    ----------
    table
        ``term, estimate, std_error, df, lower, upper, p_value, factor``: the value at zero of
        every number and the first level of every word, then a change for each. ``factor`` is
        Hartung and Knapp's, as found: under 1 where units lie nearer to the trend than their
        standard errors say.
    tests
        ``trait, f, df1, df2, p_value``: whether the trait goes with the answer at all;
        ``p_factor_at_least_1``: the same with Hartung and Knapp's factor kept at 1 where it is under.
    spread
        One row: ``q, df, p_value`` of what the traits leave; ``tau2`` left and ``tau2_without``
        traits; ``explained``, per 100 of the latter.
    units
        ``unit, estimate, std_error``, the traits, and ``fitted``.
    scale
        What was pooled.
    checks
        Plain sentences.
    """

    table: pd.DataFrame
    tests: pd.DataFrame
    spread: pd.DataFrame
    units: pd.DataFrame
    scale: str
    checks: tuple[str, ...]

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the coefficients with their limits; returns the Axes."""
        from survivor.figures.pooling import draw_trend

        return draw_trend(self.table, self.scale, ax)

    def __repr__(self) -> str:
        parts = [self.table, self.tests, self.spread]
        return "\n\n".join([*(part.to_string(index=False) for part in parts), *self.checks])

    def _repr_html_(self) -> str:
        return "".join(str(part.to_html(index=False)) for part in (self.table, self.tests, self.spread))


def pool_by(
    estimates: Numbers,
    std_errors: Numbers,
    traits: Mapping[str, Trait] | pd.DataFrame,
    method: Method = "reml",
    limits: TrendLimits = "hartung-knapp",
    *,
    factor: Factor = "as is",
    units: Sequence[str] | None = None,
    scale: str = "as given",
) -> PooledTrend:
    """Pool estimates on traits of their units.

    Parameters
    ----------
    estimates, std_errors, method, factor, units, scale
        As for :func:`survivor.pool`.
    limits
        ``hartung-knapp`` or ``normal``, as there: a trait is tested by all its levels at once, for
        which Knapp and Hartung give an F test.
    traits
        One column a trait, one value a unit: numbers (rain decile) or words (texture).

    Returns
    -------
    PooledTrend

    Raises
    ------
    PoolingError
        As :func:`survivor.pool`; when a trait is blank for some unit or the same for all,
        when traits cannot be distinguished, or when units are no more than coefficients.

    Examples
    --------
    >>> found = survivor.pool_by([9.0, 14.0, 6.0, 3.0], [3.0, 4.0, 3.5, 2.0], {"decile": [2, 1, 5, 8]})
    >>> found.table[["term", "estimate"]].round(2)
            term  estimate
    0  all units     12.87
    1     decile     -1.26
    """
    how = Pooling(method, limits, factor)
    effect, variance, names = checked(estimates, std_errors, how, units, scale, TREND_LIMITS)
    frame = _frame(traits, len(effect))
    columns, terms, owner = _columns(frame)
    if len(effect) <= columns.shape[1]:
        raise PoolingError(
            f"{len(effect)} units cannot tell {columns.shape[1]} coefficients",
            where="traits",
            mend="ask for fewer traits, or wait for more seasons",
        )
    if np.linalg.matrix_rank(columns) < columns.shape[1]:
        raise PoolingError(
            f"the traits {', '.join(frame.columns)} cannot be distinguished: one follows from the others",
            where="traits",
            mend="leave one of them out",
        )
    between = between_variance(effect, variance, columns, method)
    fitted = means(effect, variance, columns, between, limits, factor)
    ones = np.ones((len(effect), 1))
    without = float(between_variance(effect, variance, ones, method))
    shown = pd.DataFrame({"unit": names, "estimate": effect, "std_error": np.sqrt(variance)})
    shown = pd.concat([shown, frame], axis=1).assign(fitted=columns @ fitted.coefficients)
    tests = _tests(fitted, owner, list(frame.columns))
    kept = _tests(means(effect, variance, columns, between, limits, "at least 1"), owner, list(frame.columns))
    return PooledTrend(
        table=_table(fitted, terms),
        tests=tests.assign(p_factor_at_least_1=kept["p_value"]),
        spread=_spread(effect, variance, columns, float(between), without),
        units=shown,
        scale=scale,
        checks=(*_said(len(effect), len(frame.columns), limits), *_nearer(fitted, how)),
    )


def _frame(traits: Mapping[str, Trait] | pd.DataFrame, units: int) -> pd.DataFrame:
    if not isinstance(traits, Mapping | pd.DataFrame):
        raise PoolingError(
            f"traits are a dict or a table, not {type(traits).__name__}",
            where="traits",
            mend='give for example {"rain decile": [2, 1, 5]}',
        )
    frame = pd.DataFrame(
        {
            str(name): pd.Series(several(values, f"trait {name}", PoolingError, "give a list of values"))
            for name, values in dict(traits).items()
        }
    ).reset_index(drop=True)
    if frame.empty or len(frame) != units:
        raise PoolingError(
            f"traits of {len(frame)} units do not go with {units} estimates",
            where="traits",
            mend="give each trait one value a unit",
        )
    for name in frame.columns:
        if frame[name].isna().any():
            place = int(np.flatnonzero(frame[name].isna().to_numpy())[0])
            raise PoolingError(
                f"unit {place + 1} has no value", where=f"trait {name}", mend="give it, or leave the unit out"
            )
        if frame[name].nunique() < 2:
            raise PoolingError(
                "every unit has the same value", where=f"trait {name}", mend="leave the trait out"
            )
    return frame


def _columns(frame: pd.DataFrame) -> tuple[Floats, list[str], list[int]]:
    """Columns with a first of ones, their names, and which trait each belongs to (-1: none)."""
    columns: list[Floats] = [np.ones(len(frame))]
    terms, owner = ["all units"], [-1]
    for place, name in enumerate(frame.columns):
        values = frame[name]
        if pd.api.types.is_numeric_dtype(values) and not pd.api.types.is_bool_dtype(values):
            columns.append(values.to_numpy(dtype=float))
            terms.append(name)
            owner.append(place)
            continue
        levels = list(dict.fromkeys(values.astype(str)))
        for level in levels[1:]:
            columns.append(np.where(values.astype(str) == level, 1.0, 0.0))
            terms.append(f"{name}: {level} rather than {levels[0]}")
            owner.append(place)
    return np.column_stack(columns), terms, owner


def _table(fitted: Means, terms: list[str]) -> pd.DataFrame:
    error, half = fitted.std_error, fitted.half_width
    # Units that lie exactly on the trend leave no variance, but for normal limits.
    size = np.abs(fitted.coefficients) / np.where(error > 0, error, np.nan)
    return pd.DataFrame(
        {
            "term": terms,
            "estimate": fitted.coefficients,
            "std_error": error,
            "df": fitted.df,
            "lower": fitted.coefficients - half,
            "upper": fitted.coefficients + half,
            "p_value": 2 * stats.t.sf(size, fitted.df),
            "factor": float(fitted.factor),
        }
    )


def _tests(fitted: Means, owner: list[int], names: list[str]) -> pd.DataFrame:
    lines = []
    for place, name in enumerate(names):
        mine = [column for column, own in enumerate(owner) if own == place]
        part = fitted.coefficients[mine]
        covariance = fitted.covariance[np.ix_(mine, mine)]
        singular = np.linalg.matrix_rank(covariance) < len(mine)
        f = np.nan if singular else float(part @ np.linalg.solve(covariance, part)) / len(mine)
        chi2 = stats.chi2.sf(f * len(mine), len(mine))  # what F is with no end of degrees of freedom
        p_value = float(stats.f.sf(f, len(mine), fitted.df) if np.isfinite(fitted.df) else chi2)
        lines.append({"trait": name, "f": f, "df1": len(mine), "df2": fitted.df, "p_value": p_value})
    return pd.DataFrame(lines)


def _spread(
    effect: Floats, variance: Floats, columns: Floats, between: float, without: float
) -> pd.DataFrame:
    q, df = float(squares_at(effect, variance, columns, np.zeros(()))), len(effect) - columns.shape[1]
    explained = 100 * max(0.0, 1 - between / without) if without > 0 else float("nan")
    line = {"q": q, "df": df, "p_value": float(stats.chi2.sf(q, df)), "tau2": between}
    return pd.DataFrame([{**line, "tau2_without": without, "explained": explained}])


def _said(units: int, traits: int, limits: TrendLimits) -> tuple[str, ...]:
    remarks = [
        "Units were not given their traits at random: what goes with one may go with anything else of them."
    ]
    if units < _UNITS_A_TRAIT * traits:
        many = f"{traits} trait{'' if traits == 1 else 's'}"
        remarks.append(f"{units} units are few for {many}: chance alone can look like a trend.")
    if limits == "normal":
        remarks.append("Normal limits are too narrow with few units.")
    return tuple(remarks)


def _nearer(fitted: Means, how: Pooling) -> list[str]:
    """Say so where Hartung and Knapp's factor makes limits narrower."""
    if how.limits == "normal" or how.factor != "as is" or float(fitted.factor) >= 1:
        return []
    return [
        "The units lie nearer to the trend than their standard errors say, which makes limits narrower; "
        "with Hartung and Knapp's factor kept at 1, p is larger."
    ]
