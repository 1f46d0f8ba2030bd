"""Does a gradient act alike under every preparation: a slope for each, and a test that they are one.

For the radius every cell of method and site has its own level, so that only plots of
one preparation at one site are set against each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from survivor.arguments import amount
from survivor.effects.cells import check_name, levels_of
from survivor.effects.dose import RADIUS, radius_rows
from survivor.effects.response import LEAST_WITHIN_M, ResponseModel, spread_of
from survivor.errors import EffectError
from survivor.intervals import tally
from survivor.models.clusters import WaldTest
from survivor.models.fit import fit as fit_model
from survivor.models.result import Fit, floored_terms, without_limits
from survivor.shown import Shown

TEN_CM = 0.1


@dataclass(frozen=True, repr=False)
class Slopes(Shown):
    """A slope for each preparation.

    Attributes
    ----------
    column, by
        The gradient, and the column of preparations.
    per
        How much more of ``column`` the ratios are for, in its unit.
    table
        ``<by>, ratio, ratio_lower, ratio_upper`` (of hazards, or of odds of death for a
        logistic model, for ``per`` more of ``column``), ``estimate, std_error, df, lower,
        upper, p_value`` (the same on the log scale; limits by t, not adjusted), ``n_plots``,
        ``reason`` where there is no slope.
    test
        F test that all slopes are one.
    variance
        What limits and test rest on.
    checks
        Plain sentences.
    """

    column: str
    by: str
    per: float
    table: pd.DataFrame
    test: WaldTest
    variance: str
    checks: tuple[str, ...]


def radius_by_method(
    source: Fit | pd.DataFrame,
    column: str = RADIUS,
    at: float = 365,
    *,
    method: str = "method",
    per: float = TEN_CM,
    pieces: Any = None,
) -> Slopes:
    """Slope of the radius under each preparation, on the scale of the model, and whether they differ.

    Parameters
    ----------
    source
        A fit, whose model, cluster and other terms are kept, or risk intervals.
    column
        Radius in metres.
    at
        Days since planting; for a model of one day.
    method
        Column of preparations.
    per
        Metres that a ratio is for.
    pieces
        For the grouped model; as in ``survivor.fit``.

    Returns
    -------
    Slopes
        A row a preparation, ratios for ``per`` metres, and the test that they are alike.

    Raises
    ------
    EffectError
        When fewer than two preparations have plots of different radius at one site.

    Examples
    --------
    >>> found = survivor.radius_by_method(survivor.fit(intervals, "method * z"), "z")
    >>> found.table[["method", "ratio"]].round(3)
      method  ratio
    0  usual  0.988
    1  auger  1.029
    2    rip  1.037
    """
    data, checks = radius_rows(source, column)
    check_name(method)
    amount(per, "per", EffectError, "give a step of the radius, for example per=0.1", above=0)
    if method not in data.columns:
        raise EffectError(
            f"there is no column {method}", where=f"method={method!r}", mend="name the preparations"
        )
    model = ResponseModel.of(source, data, column, method, at, pieces)
    told: list[Any] = []
    alike: list[Any] = []
    for level in levels_of(data, method):
        own = spread_of(data[data[method] == level], column, model.cells)
        (told if own.within_sd_m >= LEAST_WITHIN_M else alike).append(level)
    found = slopes(
        data,
        model.others,
        column,
        told,
        method=method,
        per=per,
        model=model.kind,
        cluster=model.cluster,
        strata=model.cells or None,
        at=model.at,
        pieces=model.pieces,
    )
    why = "its plots at one site are of one radius"
    blank = pd.DataFrame(
        {
            method: alike,
            "n_plots": [tally(data[data[method] == level])["plots"] for level in alike],
            "reason": why,
        }
    )
    table = pd.concat([found.table, blank], ignore_index=True) if alike else found.table
    return Slopes(
        column, method, per, table, found.test, found.variance, (*checks, *model.said, *found.checks)
    )


def slopes(
    data: pd.DataFrame,
    others: Sequence[str],
    column: str,
    levels: Sequence[Any],
    *,
    method: str = "method",
    per: float = 1.0,
    **how: Any,
) -> Slopes:
    """Slope of a column under each of some preparations, by one model with a slope for each.

    Parameters
    ----------
    data
        Risk intervals with ``column`` and ``method``.
    others
        Terms of the model besides; the levels of ``method`` must be among them or
        among the strata.
    column
        A number that differs between plots.
    levels
        Preparations with a slope of their own; rows of others have none.
    method, per
        As for :func:`radius_by_method`.
    how
        Passed on to ``survivor.fit``.

    Raises
    ------
    EffectError
        When there are fewer than two levels.
    """
    if len(levels) < 2:
        raise EffectError(
            f"{column} varies under fewer than two preparations, so their slopes cannot be set side by side",
            where=f"column {column}",
            mend="vary it between plots of each preparation",
        )
    value = data[column].to_numpy(dtype=float)
    own = {f"slope_{place}": value * (data[method] == level) for place, level in enumerate(levels)}
    rows = data.assign(**own)
    common = np.where(data[method].isin(list(levels)), value, 0.0)
    apart = data.assign(slope_common=common, **{name: own[name] for name in list(own)[1:]})
    fitted = fit_model(rows, " + ".join([*others, *own]), **how)
    # The same model, written as one slope and how far the others are from it.
    differing = list(own)[1:]
    test = fit_model(apart, " + ".join([*others, "slope_common", *differing]), **how).test(differing)
    lines = fitted.table.set_index("term").loc[list(own)].reset_index(drop=True)
    numbers = {name: per * lines[name] for name in ("estimate", "std_error", "lower", "upper")}
    table = pd.DataFrame(
        {
            method: list(levels),
            "ratio": np.exp(numbers["estimate"]),
            "ratio_lower": np.exp(numbers["lower"]),
            "ratio_upper": np.exp(numbers["upper"]),
            "estimate": numbers["estimate"],
            "std_error": numbers["std_error"],
            "df": lines["df"],
            "lower": numbers["lower"],
            "upper": numbers["upper"],
            "p_value": lines["p_value"],
            "n_plots": [tally(data[data[method] == level])["plots"] for level in levels],
            "reason": "",
        }
    )
    # What is said of terms is said of the levels that they stand for.
    of_terms = [*without_limits(fitted.table, fitted.cluster), *floored_terms(fitted.table)]
    named = fitted.table.replace({"term": dict(zip(own, map(str, levels), strict=True))})
    checks = [check for check in fitted.noticed if check not in of_terms]
    checks += [*without_limits(named, fitted.cluster), *floored_terms(named)]
    return Slopes(column, method, per, table, test, fitted.variance, tuple(checks))
