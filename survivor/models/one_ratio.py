"""Whether a fit that holds to one ratio of hazards all season may: one test for every model, made once a fit.

The test is that of ``survivor.models.by_period``: a grouped model with a ratio of each level in each
period, against the same with one. A grouped fit is asked itself, by its own kind of limits. For the
others (Cox, mixed, an unspecified baseline, a penalised fit) the grouped model of the same rows,
formula, plots and strata is: a ratio that turns round is a matter of the records, whichever model
of one ratio was fitted to them. Fits of one day hold nothing constant, and are not asked.
"""

from __future__ import annotations

import math
from typing import Any, Final

import pandas as pd

from survivor.errors import SurvivorError
from survivor.intervals import entries
from survivor.models.by_period import fit_by_period
from survivor.models.clusters import WaldTest
from survivor.models.fitted import DeltaEngine, Fitted
from survivor.models.grouped import fit_grouped
from survivor.models.result import Fit
from survivor.models.told import Told
from survivor.vocabulary import SIGNIFICANCE
from survivor.words import chance

TURNING: Final = (
    "The ratio of deaths between {between} is not the same all season ({test} degrees of freedom, p {p})"
)
ONE_RATIO: Final = (
    "These answers hold it to one: survivor.compare, or survivor.fit with by_period={by!r}, gives each "
    "period a ratio of its own."
)


def one_ratio(fit: Fit, by: str) -> WaldTest | None:
    """F test that each level of ``by`` has one ratio of hazards all season, made once a fit.

    None for a fit of one day, for one that has ratios by period already, for one read back without its
    records, and where nothing could speak against one ratio.
    """
    if not isinstance(fit, Fitted) or isinstance(fit.engine, Told):
        return None
    if fit.at is not None or fit.by_period is not None:
        return None
    if by not in fit.ratio_tests:
        try:
            fit.ratio_tests[by] = fit_by_period(_grouped(fit, by), by).proportional
        except SurvivorError:  # too few deaths in some period: nothing could speak against one ratio
            fit.ratio_tests[by] = None
    return fit.ratio_tests[by]


def _grouped(fit: Fit, by: str) -> Fit:
    """Give the grouped fit that is tested: the fit itself, or that of its rows."""
    if isinstance(fit.engine, DeltaEngine) and fit.engine.fitted is not None:
        return fit
    rows = _between_ends(fit.data, by) if fit.variance == "penalised" else fit.data
    read: Any = getattr(fit.engine, "read", None)
    pieces = None if read is None or read.pieces is None else read.pieces.base
    return fit_grouped(
        rows,
        fit.formula,
        cluster=list(fit.cluster) or None,
        strata=list(fit.strata) or None,
        pieces=pieces,
        working=fit.working,
        offset=None if read is None else read.design.offset,
        weights=fit.weights,
    )


def _between_ends(rows: pd.DataFrame, by: str) -> pd.DataFrame:
    """Leave out levels with which nobody, or everybody, died: they have no ratio in any period."""
    died = rows.groupby(by, observed=True)["died"].sum()
    began = entries(rows).groupby(by, observed=True)["at_risk"].sum()
    kept = died.index[(died > 0) & (died < began)]
    rows = rows[rows[by].isin(kept)]
    if isinstance(rows[by].dtype, pd.CategoricalDtype):
        return rows.assign(**{by: rows[by].cat.remove_unused_categories()})
    return rows


def said_of_turning(test: WaldTest | None, by: str) -> str:
    """Say that ratios are not the same all season, where the test rejects that; else nothing."""
    if test is None or not test.p_value < SIGNIFICANCE:
        return ""
    told = (
        f"F {test.statistic:.1f} on {test.df1:.0f} and {test.df2:.0f}"
        if math.isfinite(test.df2)
        else f"chi-square {test.statistic * test.df1:.1f} on {test.df1:.0f}"  # seedlings independent
    )
    between = "preparations" if by == "method" else f"levels of {by}"
    return TURNING.format(between=between, test=told, p=chance(test.p_value))


def said_of_one_ratio(fit: Fit | None, by: str) -> tuple[str, ...]:
    """Sentences on answers of a fit that holds to one ratio where the records speak against it."""
    turning = "" if fit is None else said_of_turning(one_ratio(fit, by), by)
    return (f"{turning}.", ONE_RATIO.format(by=by)) if turning else ()


def said_of_ratios(fit: Fit) -> tuple[str, ...]:
    """Say the same of every term of names in the formula of a fit."""
    names = [name for name in fit.variables if name in fit.data.columns and _of_names(fit, name)]
    return tuple(sentence for name in names for sentence in said_of_one_ratio(fit, name))


def _of_names(fit: Fit, name: str) -> bool:
    """Whether a column is in the formula by its names, each with a level of its own."""
    return bool(not pd.api.types.is_numeric_dtype(fit.data[name]) or f"C({name}" in fit.formula)
