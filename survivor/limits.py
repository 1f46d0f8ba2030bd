"""One rule for 95 % CI, for curves, survival, differences, odds and hazard ratios alike.

Limits go by plots, by t on the degrees of freedom that plots leave. Few plots, or plots
that happen to be alike, can show far less spread than chance alone makes, down to none
but rounding. So limits are never narrower than those of independent seedlings by the
normal, and where plots show no spread at all, than those by t: plots that came out alike
are luck and no certainty. A table says so by a standard error that is the one its limits
imply, so that estimate, standard error, degrees of freedom, limits and p agree.

Survival is given limits on the log(-log) scale (Kalbfleisch and Prentice 1980, section
1.3), so that they stay between 0 and 100. There a survival of exactly 0 or 1 has no
limits; the score limits of Wilson (1927, Journal of the American Statistical Association
22, 209-212) on the effective number of seedlings take their place.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from numbers import Real
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy import stats
from scipy.special import ndtri, stdtrit

from survivor import proportions
from survivor.arrays import Floats
from survivor.errors import ModelError
from survivor.vocabulary import CONFIDENCE
from survivor.words import level_of

TAIL: Final = 0.5 + CONFIDENCE / 2
#: What stands in the column ``variance`` where limits are those of independent seedlings.
INDEPENDENT: Final = "independent seedlings"

_TOGETHER: Final = ("lower_simultaneous", "upper_simultaneous")
_EDGE: Final = 1e-9  # survival closer than this to 0 or 1 is at the edge
_MOST_WORDS: Final = 7  # of the names in one sentence, where there are more than one
_NO_SPREAD: Final = 1e-6  # of the standard error of independent seedlings: what is less is rounding


def check_level(level: float) -> float:
    """Return a confidence level; one that is none is refused."""
    if isinstance(level, bool) or not isinstance(level, Real) or not 0 < float(level) < 1:
        raise ModelError(
            f"{level!r} is no confidence level", where="level", mend="give a share, for example level=0.9"
        )
    return float(level)


def with_level(table: pd.DataFrame, level: float) -> pd.DataFrame:
    """Name the level of a table's limits in a column ``level``, where it is not the usual one."""
    return table if level == CONFIDENCE else table.assign(level=float(level))


def quantile(df: ArrayLike, level: float = CONFIDENCE) -> Floats:
    """Two-sided quantile of t; normal for infinite ``df``, NaN where there are none left."""
    tail = 0.5 + level / 2
    df = np.asarray(df, dtype=float)
    usable = np.where(np.isfinite(df) & (df > 0), df, 1.0)
    found: Floats = np.where(np.isposinf(df), ndtri(tail), stdtrit(usable, tail))
    return np.where(df > 0, found, np.nan)


def half_width(std_error: Floats, df: ArrayLike, level: float = CONFIDENCE) -> Floats:
    """Half the width of limits by t; blank where there are no degrees of freedom."""
    width: Floats = quantile(df, level) * std_error
    return width


def holding_together(table: pd.DataFrame, comparisons: int, level: float = CONFIDENCE) -> pd.DataFrame:
    """Give each difference limits that hold for all comparisons together, beside those of its own.

    An interval that is right in 95 of 100 is right less often among those picked out because
    they are clear. By Bonferroni's inequality the chance that any of m intervals of level
    1 - 0.05/m leaves its truth out is at most 0.05, however the differences hang together, so
    the chance that one is picked out and wrong is no larger (Dunn 1961, Journal of the American
    Statistical Association 56, 52-64).

    Parameters
    ----------
    table
        ``estimate, df, lower, upper``, per 100; blank where there are no limits.
    comparisons
        How many there were to pick from.
    level
        Level of ``lower, upper``, and of all together.

    Returns
    -------
    DataFrame
        With ``lower_simultaneous, upper_simultaneous`` behind ``upper``: each as far from the estimate
        as its own limit times the ratio of the two quantiles of t, and no further than 100.
    """
    table = table.drop(columns=list(_TOGETHER), errors="ignore")
    estimate, lower, upper, df = (
        table[name].to_numpy(dtype=float) for name in ("estimate", "lower", "upper", "df")
    )
    wider = quantile(df, 1 - (1 - level) / max(comparisons, 1)) / quantile(df, level)
    ends = (estimate - (estimate - lower) * wider, estimate + (upper - estimate) * wider)
    place = list(table.columns).index("upper") + 1
    for name, end in zip(_TOGETHER[::-1], ends[::-1], strict=True):
        table.insert(place, name, np.clip(end, -100.0, 100.0))
    return table


def t_test(estimate: Floats, std_error: Floats, df: Floats) -> Floats:
    """Two-sided p of each estimate against 0, on the scale of the estimate."""
    known = (std_error > 0) & (df > 0)
    size = np.abs(estimate) / np.where(known, std_error, 1.0)
    finite = np.where(np.isfinite(df) & (df > 0), df, 1.0)
    p_value = np.where(np.isposinf(df), 2 * stats.norm.sf(size), 2 * stats.t.sf(size, finite))
    result: Floats = np.where(known, p_value, np.nan)
    return result


def no_less_than_independent(std_error: Floats, df: ArrayLike, independent: Floats) -> Floats:
    """Widen standard errors until limits by t on ``df`` are no narrower than independent seedlings give.

    Parameters
    ----------
    std_error, df
        By plots, shape (m,).
    independent
        Standard errors with seedlings independent, shape (m,); NaN: no floor.

    Returns
    -------
    ndarray
        ``std_error`` where plots differ as usual; the one that the limits of independent
        seedlings (by the normal) imply on ``df`` where it is larger; ``independent`` itself
        where plots show no spread at all.
    """
    times = ndtri(TAIL) / quantile(df)
    floor = independent * np.where(no_spread(std_error, independent) & ~np.isnan(times), 1.0, times)
    found: Floats = np.where(floor > std_error, floor, std_error)
    return found


def no_spread(std_error: Floats, independent: Floats) -> NDArray[np.bool_]:
    """Whether plots show no spread at all but rounding, shape (m,)."""
    found: NDArray[np.bool_] = std_error <= _NO_SPREAD * independent
    return found


@dataclass(frozen=True)
class Errors:
    """What limits of some estimates rest on.

    Attributes
    ----------
    covariance
        Shape (m, m).
    df
        Degrees of freedom of each, shape (m,).
    floored
        Whether the limits are those of independent seedlings, shape (m,).
    """

    covariance: Floats
    df: Floats
    floored: NDArray[np.bool_]

    @property
    def std_error(self) -> Floats:
        """Standard errors, shape (m,)."""
        return root_of_diagonal(self.covariance)

    def kinds(self, usual: str) -> NDArray[np.str_]:
        """Kind of each variance: ``usual``, or ``independent seedlings`` where these have wider limits."""
        return np.where(self.floored, INDEPENDENT, usual)


def root_of_diagonal(covariance: Floats) -> Floats:
    """Return the standard errors of a covariance, shape (m,)."""
    found: Floats = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    return found


def floored(covariance: Floats, df: Floats, independent: Floats) -> Errors:
    """Covariance by plots, widened where its limits would be narrower than those of independent seedlings.

    Parameters
    ----------
    covariance, df
        By plots, shapes (m, m) and (m,).
    independent
        Covariance with seedlings independent, shape (m, m).
    """
    own = root_of_diagonal(covariance)
    error = no_less_than_independent(own, df, root_of_diagonal(independent))
    wider = error > own
    if not wider.any():
        return Errors(covariance, df, wider)
    # Correlations of rounding mean nothing: those of both together do.
    both = covariance + independent
    size = root_of_diagonal(both)
    scale = np.divide(error, size, out=np.zeros(len(size)), where=size > 0)
    return Errors(both * np.outer(scale, scale), df, wider)


def floored_f(statistic: float, df1: float, df2: float, independent: float) -> float:
    """F statistic of some terms, no larger than independent seedlings allow.

    The same rule as for limits, of which it is the square where there is one term.

    Parameters
    ----------
    statistic, df1, df2
        By plots.
    independent
        Squared length of the estimates in units of their covariance with seedlings
        independent: a chi-square on ``df1``.
    """
    if not statistic * df1 * _NO_SPREAD**2 < independent:
        return independent / df1
    allowed = independent * float(stats.f.ppf(CONFIDENCE, df1, df2) / stats.chi2.ppf(CONFIDENCE, df1))
    return min(statistic, allowed)


def said_of_floor(names: Sequence[object], wider: NDArray[np.bool_]) -> list[str]:
    """Name the estimates whose limits are those of independent seedlings."""
    which = [str(name) for name, one in zip(names, wider, strict=True) if one]
    if not which:
        return []
    kept = which[:1]
    for name in which[1:]:
        if len(" ".join([*kept, name]).split()) > _MOST_WORDS:
            break
        kept.append(name)
    if len(which) > len(kept):
        kept.append(f"and {len(which) - len(kept)} more")
    return [
        "plots differ less than chance makes seedlings differ, so limits are those of independent "
        f"seedlings: {'; '.join(kept)}"
    ]


@dataclass(frozen=True)
class Limits:
    """Limits of each estimate, shape (m,), and which of them stand at 0 or 100 %."""

    lower: Floats
    upper: Floats
    edge: NDArray[np.bool_]


def at_edge(survival: Floats) -> NDArray[np.bool_]:
    """Whether each survival (0 to 1) is 0 or 1 to within rounding."""
    edge: NDArray[np.bool_] = (survival <= _EDGE) | (survival >= 1 - _EDGE)
    return edge


def loglog_slope(survival: Floats) -> Floats:
    """Return the derivative of log(-log S) in S; 0 at the edges, where there is none."""
    inside = ~at_edge(survival)
    safe = np.where(inside, survival, 0.5)
    slope: Floats = np.where(inside, 1 / (safe * np.log(safe)), 0.0)
    return slope


def around(survival: Floats, half: Floats) -> tuple[Floats, Floats]:
    """Limits ``half`` to either side of log(-log S): S to the power exp(+-half); NaN at 0 and 1."""
    inside = (survival > 0) & (survival < 1)
    s = np.where(inside, survival, 0.5)
    lower, upper = s ** np.exp(half), s ** np.exp(-half)
    return np.where(inside, lower, np.nan), np.where(inside, upper, np.nan)


def survival_limits(
    survival: Floats, std_error: Floats, df: Floats, effective: Floats, level: float = CONFIDENCE
) -> Limits:
    """Limits of survival.

    Parameters
    ----------
    survival, std_error
        Between 0 and 1, shape (m,).
    df
        Degrees of freedom of each.
    effective
        Effective number of seedlings for Wilson limits at 0 or 100 %.

    Returns
    -------
    Limits
        ``edge`` is true where Wilson's limits were used.
    """
    edge = at_edge(survival) | ~(std_error > 0)
    safe = np.where(edge, 0.5, survival)
    lower, upper = around(safe, half_width(std_error * np.abs(loglog_slope(safe)), df, level))
    wilson_lower, wilson_upper = wilson(survival, effective, level)
    return Limits(np.where(edge, wilson_lower, lower), np.where(edge, wilson_upper, upper), edge)


def wilson(share: Floats, number: Floats, level: float = CONFIDENCE) -> tuple[Floats, Floats]:
    """Score limits of a share (0 to 1) of ``number``; blank where the number is not positive."""
    known = np.where(number > 0, number, 0.0)
    return proportions.wilson(np.clip(share, 0.0, 1.0) * known, known, level)


def limits_at(result: Any, level: float) -> pd.DataFrame:
    """Give the table of a result with its limits at another level of confidence.

    Parameters
    ----------
    result
        What ``curve``, ``survival``, ``contrasts``, ``hazards``, ``dose``, ``mean_days_alive``, ``pool`` and
        others give, or such a table: one whose limits are t limits, of the estimate itself or of
        log(-log) of survival.
    level
        Confidence level, for example 0.9.

    Returns
    -------
    DataFrame
        The table with ``lower, upper``, and those of ratios, at ``level``, which a column ``level``
        names where it is not 0.95, and without what rests on the limits that it had
        (``e_value_limit``; where a table comes alone, limits that hold together). All else is as it was.

    Raises
    ------
    ModelError
        When the level is none, or limits of the result were made otherwise: by draws, one-sided, or by
        the profile of a penalised fit, which is at hand in the fit itself only. The call that made such a
        result takes ``level=``.

    Examples
    --------
    >>> differences = survivor.contrasts(fit, at=365)
    >>> survivor.limits_at(differences, 0.9)[["method", "lower", "upper"]].round(2)
      method  lower  upper
    0  auger  -1.03  23.75
    1    rip  12.87  37.59
    """
    check_level(level)
    refitted = getattr(result, "summary", None)  # a fit finds limits by a profile anew
    if callable(refitted) and not isinstance(result, type):
        found: pd.DataFrame = refitted(level).table
        return found
    table = result if isinstance(result, pd.DataFrame) else getattr(result, "table", None)
    if not isinstance(table, pd.DataFrame):
        what = f"this takes a result with a table, not {type(result).__name__}"
        raise ModelError(what, where="result", mend="for example survivor.curve(intervals)")
    named = "survival" if "survival" in table and "estimate" not in table else "estimate"
    absent = [name for name in (named, "std_error", "lower", "upper") if name not in table]
    if absent:
        raise _made_otherwise(f"its table has no {', '.join(absent)}")
    df = result.df if hasattr(result, "df") else table.get("df", np.inf)
    estimate, error, lower, upper = (
        table[name].to_numpy(dtype=float) for name in (named, "std_error", "lower", "upper")
    )
    scale = 1.0 if named == "survival" else 100.0
    own = level_of(table)
    values = _Made(estimate, error, lower, upper, np.asarray(df, dtype=float), scale, own)
    told = np.isfinite(values.lower) & np.isfinite(values.upper)
    rule = next((rule for rule in (_Made.around_estimate, _Made.around_survival) if values.holds(rule)), None)
    if rule is None:
        raise _made_otherwise(f"they are not t limits at {100 * own:g} %")
    low, high = (np.where(told, end, np.nan) for end in rule(values, level))
    found = with_level(table.drop(columns="level", errors="ignore").assign(lower=low, upper=high), level)
    ratios = [str(name)[: -len("_lower")] for name in table.columns if str(name).endswith("_lower")]
    with np.errstate(over="ignore"):
        for name in ratios:
            found = found.assign(**{f"{name}_lower": np.exp(low), f"{name}_upper": np.exp(high)})
    found = found.drop(columns=[name for name in table.columns if str(name).endswith("_limit")])
    # A table that comes alone does not know how many comparisons they hold for.
    comparisons = getattr(result, "comparisons", None)
    if comparisons is None or not set(_TOGETHER) <= set(found.columns):
        return found.drop(columns=list(_TOGETHER), errors="ignore")
    return holding_together(found, comparisons, level)


def _made_otherwise(why: str) -> ModelError:
    return ModelError(
        f"limits of this result cannot be had at another level: {why}",
        where="result",
        mend="give level= where the result is made, if it takes one",
    )


@dataclass(frozen=True)
class _Made:
    """Estimates with their limits at ``level``, shape (n,) each; survival between 0 and ``scale``."""

    estimate: Floats
    error: Floats
    lower: Floats
    upper: Floats
    df: Floats
    scale: float
    level: float

    def holds(self, rule: Callable[[_Made, float], tuple[Floats, Floats]]) -> bool:
        """Whether the limits are those that a rule gives at their own level."""
        told = np.isfinite(self.lower) & np.isfinite(self.upper)
        made = rule(self, self.level)
        pairs = zip(made, (self.lower, self.upper), strict=True)
        return all(np.allclose(end[told], own[told], rtol=1e-6, atol=1e-9) for end, own in pairs)

    def around_estimate(self, level: float) -> tuple[Floats, Floats]:
        """By t on the scale of the estimate."""
        half = half_width(self.error, self.df, level)
        return self.estimate - half, self.estimate + half

    def around_survival(self, level: float) -> tuple[Floats, Floats]:
        """By t on log(-log) of survival; at 0 and 1 by Wilson on the effective number behind the limits."""
        survival, lower, upper = (part / self.scale for part in (self.estimate, self.lower, self.upper))
        edge = at_edge(survival)
        safe = np.where(edge | ~(survival > 0), 0.5, survival)
        half = half_width(self.error / self.scale * np.abs(loglog_slope(safe)), self.df, level)
        low, high = around(safe, half)
        with np.errstate(divide="ignore", invalid="ignore"):
            odds = np.where(survival > 0.5, lower / (1 - lower), (1 - upper) / upper)
        times = quantile(self.df, self.level) / quantile(self.df, level)
        worth = odds * ndtri(0.5 + level / 2) ** 2 * times**2
        certain = edge & (lower == upper)
        own = wilson(survival, np.where(np.isfinite(worth), worth, 0.0), level)
        ends = (
            np.where(certain, survival, np.where(edge, at, inside))
            for at, inside in zip(own, (low, high), strict=True)
        )
        first, second = (self.scale * end for end in ends)
        return first, second
