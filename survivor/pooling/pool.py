"""The front door of pooling: ``survivor.pool``.

What pooling refuses, and how it says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final, TypeAlias

import numpy as np
import pandas as pd
from scipy import stats

from survivor.arguments import is_one_of, several
from survivor.arrays import Floats
from survivor.errors import PoolingError
from survivor.pooling.limits import (
    FACTORS,
    LIMITS,
    Factor,
    Limits,
    Means,
    Pooling,
    means,
    new_unit,
    new_unit_by_t,
    quantile,
)
from survivor.pooling.result import TELLS_NOTHING, Pooled, tells_nothing, within_scale
from survivor.pooling.spread import (
    METHODS,
    Method,
    between_variance,
    profile_limits,
    squares_at,
    typical_variance,
    without_each,
)
from survivor.vocabulary import PER_100

Numbers: TypeAlias = "Sequence[float] | Floats | pd.Series[Any]"
_NAMES = "give each season or site its own name"


def checked(
    estimates: Numbers,
    std_errors: Numbers,
    how: Pooling,
    units: Sequence[str] | None,
    scale: str,
    known_limits: tuple[str, ...] = LIMITS,
) -> tuple[Floats, Floats, list[str]]:
    """Return estimates, variances and names, or say what is wrong.

    Raises
    ------
    PoolingError
        For too few units, lengths that differ, missing numbers, standard errors not above
        zero, names given twice, or a word that is not known.
    """
    for word, known, place in (
        (how.method, METHODS, "method"),
        (how.limits, known_limits, "limits"),
        (how.factor, FACTORS, "factor"),
    ):
        if not is_one_of(word, known):
            raise PoolingError(
                f"{word!r} is not known", where=place, mend=f"use one of: {', '.join(map(repr, known))}"
            )
    if not isinstance(scale, str):
        raise PoolingError(f"{scale!r} is no text", where="scale", mend='for example scale="per 100 planted"')
    effect, error = _numbers(estimates, "estimates"), _numbers(std_errors, "std_errors")
    given = range(1, len(effect) + 1) if units is None else several(units, "units", PoolingError, _NAMES)
    names = [str(name) for name in given]
    if not len(effect) == len(error) == len(names):
        raise PoolingError(
            f"{len(effect)} estimates, {len(error)} standard errors and {len(names)} names do not go"
            " together",
            where="estimates",
            mend="give one of each for every unit",
        )
    if len(effect) < 2:
        raise PoolingError(
            f"there {'is one unit' if len(effect) else 'are no units'}: nothing to pool",
            where="estimates",
            mend="give two units or more; one season's own limits stand as they are",
        )
    if twice := [name for name in dict.fromkeys(names) if names.count(name) > 1]:
        raise PoolingError(f"two units are called {twice[0]!r}", where="units", mend=_NAMES)
    wrong = ~(np.isfinite(effect) & np.isfinite(error) & (error > 0))
    if wrong.any():
        first = int(np.flatnonzero(wrong)[0])
        raise PoolingError(
            f"estimate {effect[first]:g} with standard error {error[first]:g} cannot be pooled",
            where=f"unit {names[first]}",
            mend="leave the unit out and say so, or give a finite estimate and a standard error above 0",
        )
    return effect, error**2, names


def _numbers(given: Numbers, name: str) -> Floats:
    try:
        numbers = np.asarray(given, dtype=float)
    except (TypeError, ValueError) as error:
        raise PoolingError("these are not all numbers", where=name, mend="give one number a unit") from error
    if numbers.ndim != 1:
        raise PoolingError(
            f"a list of numbers is needed, not a table of shape {numbers.shape}",
            where=name,
            mend="give one number a unit",
        )
    return numbers


FEW_UNITS: Final = 5  # units under which little can be said of how they differ
_KEPT = "hartung-knapp, factor at least 1"
_CLEAR = 0.1  # of the test of Q, which has little power with few units


def pool(
    estimates: Sequence[float] | Floats | pd.Series[Any],
    std_errors: Sequence[float] | Floats | pd.Series[Any],
    method: Method = "reml",
    limits: Limits = "hartung-knapp",
    *,
    factor: Factor = "as is",
    units: Sequence[str] | None = None,
    scale: str = "as given",
) -> Pooled:
    """Pool estimates of units that do not share a plant.

    Parameters
    ----------
    estimates, std_errors
        One a unit (season, study or site), on a scale on which they are about normal: a log
        hazard ratio, or a difference per 100 planted.
    method
        How the variance between units is estimated: ``reml`` (restricted maximum
        likelihood), ``dl`` (DerSimonian and Laird), ``pm`` (Paule and Mandel), or
        ``fixed``: none, the units share one true value.
    limits
        ``hartung-knapp``: t on units less one, the variance taken from how units differ by their
        weights. With 3 to 10 units it covers 93.9 to 95.1 times of 100 by simulation where standard
        errors are within a factor of two, 89.3 to 95.1 where they are within five.
        ``cr2``: the variance taken from each unit's own distance to the mean, bias-reduced, on
        Satterthwaite degrees of freedom: fewer than units less one where some weigh more. It covers
        94.8 to 96.7 and 94.2 to 98.0 times, so seasons are pooled by it (``survivor pool``, the
        guideline). With equal standard errors the two are one.
        ``normal``: too narrow with few units; for comparison. All are in ``other_limits``.
    factor
        Of Hartung and Knapp only: ``as is``, or ``at least 1``, which never lets it make limits
        narrower and covers more than it says when units differ little.
    units
        Names; numbered where None.
    scale
        What is pooled, for tables and figures.

    Returns
    -------
    Pooled

    Raises
    ------
    PoolingError
        When there are fewer than two units, a number is missing, a standard error is not
        above zero, or two units have one name.

    Examples
    --------
    >>> import survivor
    >>> found = survivor.pool([9.0, 14.0, 6.0], [3.0, 4.0, 3.5])
    >>> round(float(found.table["estimate"].iloc[0]), 2)
    9.26
    """
    how = Pooling(method, limits, factor)
    effect, variance, names = checked(estimates, std_errors, how, units, scale)
    ones = np.ones((len(effect), 1))
    between = between_variance(effect, variance, ones, method)
    pooled = means(effect, variance, ones, between, limits, factor)
    spread = _spread(effect, variance, ones, between, method)
    others = _others(effect, variance, ones, between)
    return Pooled(
        table=_table(pooled, len(effect), how, scale),
        units=_units(effect, variance, between, names),
        spread=spread,
        new_unit=_new(effect, variance, ones, pooled, method),
        other_limits=others,
        left_out=_left_out(effect, variance, how, names),
        scale=scale,
        checks=_remarks(spread, pooled, how, others, scale),
    )


def _table(pooled: Means, units: int, how: Pooling, scale: str) -> pd.DataFrame:
    line = _line(pooled)
    more = {"n_units": units, "method": how.method, "limits": how.limits, "factor": float(pooled.factor)}
    return pd.DataFrame([{**line, **more, "scale": scale}])


def _line(pooled: Means) -> dict[str, float]:
    estimate, error = float(pooled.coefficients[0]), float(pooled.std_error[0])
    df, half = float(np.ravel(pooled.df)[0]), float(pooled.half_width[0])
    # Units that agree exactly leave no variance, but for normal limits.
    p_value = float(2 * stats.t.sf(abs(estimate) / error, df)) if error > 0 else float("nan")
    return {
        "estimate": estimate,
        "std_error": error,
        "df": df,
        "lower": estimate - half,
        "upper": estimate + half,
        "p_value": p_value,
    }


def _units(effect: Floats, variance: Floats, between: Floats, names: Sequence[str]) -> pd.DataFrame:
    error, weight = np.sqrt(variance), 1 / (variance + between)
    half = quantile(float("inf")) * error
    return pd.DataFrame(
        {
            "unit": list(names),
            "estimate": effect,
            "std_error": error,
            "lower": effect - half,
            "upper": effect + half,
            "weight": 100 * weight / weight.sum(),
        }
    )


def _spread(effect: Floats, variance: Floats, ones: Floats, between: Floats, method: Method) -> pd.DataFrame:
    q, df = float(squares_at(effect, variance, ones, np.zeros(()))), len(effect) - 1
    lower, upper = profile_limits(effect, variance, ones)
    typical, tau2 = float(typical_variance(variance, ones)), float(between)
    line = {
        "q": q,
        "df": df,
        "p_value": float(stats.chi2.sf(q, df)),
        # With no variance between units assumed, the share is still told from Q.
        "i2": 100 * (max(q - df, 0.0) / q if q > 0 else 0.0)
        if method == "fixed"
        else 100 * tau2 / (tau2 + typical),
        "tau2": tau2,
        "tau2_lower": float(lower),
        "tau2_upper": float(upper),
        "tau": tau2**0.5,
    }
    return pd.DataFrame([line])


def _new(effect: Floats, variance: Floats, ones: Floats, pooled: Means, method: Method) -> pd.DataFrame:
    centre = float(pooled.coefficients[0])
    if method == "fixed":  # one true value for all: a new unit has it too
        half = float(pooled.half_width[0])
        lower, upper = centre - half, centre + half
    else:
        lower, upper = (float(limit) for limit in new_unit(effect, variance, ones))
    return pd.DataFrame([{"estimate": centre, "lower": lower, "upper": upper}])


def _others(effect: Floats, variance: Floats, ones: Floats, between: Floats) -> pd.DataFrame:
    """Limits of the mean and of a new unit by every way; the last is for comparison only."""
    ways: tuple[tuple[str, Limits, Factor], ...] = (
        ("cr2", "cr2", "as is"),
        ("hartung-knapp, factor as is", "hartung-knapp", "as is"),
        (_KEPT, "hartung-knapp", "at least 1"),
        ("normal", "normal", "as is"),
    )
    lines = []
    for name, limits, factor in ways:
        estimates = means(effect, variance, ones, between, limits, factor)
        line = _line(estimates)
        # Higgins et al. take one degree of freedom more off; two units leave none.
        df = float("inf") if limits == "normal" else float(len(effect) - 2)
        low, high = new_unit_by_t(estimates, between, df) if df > 0 else (np.nan, np.nan)
        numbers = {key: line[key] for key in ("std_error", "df", "lower", "upper")}
        lines.append({"limits": name, **numbers, "new_lower": float(low), "new_upper": float(high)})
    return pd.DataFrame(lines)


def _left_out(effect: Floats, variance: Floats, how: Pooling, names: Sequence[str]) -> pd.DataFrame:
    if len(effect) < 3:
        return pd.DataFrame(columns=["unit_left_out", "estimate", "lower", "upper", "tau2", "p_value"])
    lines: list[dict[str, Any]] = []
    others, ones = without_each(len(effect)), np.ones((len(effect) - 1, 1))
    spread = between_variance(effect[others], variance[others], ones, how.method)
    for name, kept, between in zip(names, others, spread, strict=True):
        line = _line(means(effect[kept], variance[kept], ones, between, how.limits, how.factor))
        numbers = {column: line[column] for column in ("estimate", "lower", "upper", "p_value")}
        lines.append({"unit_left_out": name, **numbers, "tau2": float(between)})
    return pd.DataFrame(lines)


def _remarks(
    spread: pd.DataFrame, pooled: Means, how: Pooling, others: pd.DataFrame, scale: str
) -> tuple[str, ...]:
    remarks, units = [], int(spread["df"].iloc[0]) + 1
    if units < FEW_UNITS:
        of_freedom = f"{units - 1} degree{'' if units == 2 else 's'} of freedom"
        remarks.append(
            f"Only {units} units: how far they differ rests on {of_freedom}. So the limits, and those of a "
            "new unit, are wide and should be."
        )
    if how.method == "fixed":
        remarks.append("One true value is assumed for all units: nothing is said of other seasons or sites.")
        if float(spread["p_value"].iloc[0]) < _CLEAR:
            remarks.append("The units do not look like units of one true value: use another method.")
    if how.limits == "normal" and how.method != "fixed":
        remarks.append(
            "Normal limits take the variance between units as known; with few units they are too narrow."
        )
    if how.limits != "normal" and how.factor == "as is" and float(pooled.factor) < 1:
        wider = next(r for r in within_scale(others, scale).to_dict("records") if r["limits"] == _KEPT)
        nothing = scale == PER_100 and tells_nothing(wider, "lower", "upper")
        span = f"{float(wider['lower']):.3g} to {float(wider['upper']):.3g}"
        remarks.append(
            f"The units agree more closely than their standard errors (factor {float(pooled.factor):.2f}): "
            f"with Hartung and Knapp's factor kept at 1 the limits are {TELLS_NOTHING if nothing else span}."
        )
    return tuple(remarks)
