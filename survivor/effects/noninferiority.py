"""Whether a method is at most so much worse, or by so much better, than another: one-sided questions.

A difference that is not shown to be other than zero is not shown to be zero. Whether a
cheaper method is good enough is asked against the smallest difference that matters: not
inferior where the one-sided limit of the difference lies above minus that margin, better
by more than it where the limit lies above it.

Source: Blackwelder (1982), Controlled Clinical Trials 3, 345-353, with limits by t on the
degrees of freedom of the comparison.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NoReturn

import numpy as np
import pandas as pd

from survivor.arguments import is_number, must_be
from survivor.arrays import Floats
from survivor.effects.contrasts import Contrasts
from survivor.errors import EffectError
from survivor.limits import check_level, half_width, with_level
from survivor.shown import Shown
from survivor.vocabulary import CONFIDENCE, REFUSED


@dataclass(frozen=True, repr=False)
class NonInferiority(Shown):
    """Differences against a margin.

    Attributes
    ----------
    margin
        Smallest difference that matters, alive per 100, above 0.
    level
        One-sided confidence level.
    table
        ``<by>, against, estimate, lower`` (one-sided limit), ``margin, p_value`` (one-sided, that the
        difference is minus the margin or less), ``not_inferior``, ``p_better`` (that it is the margin
        or less), ``better`` and ``unit``; blank where there is no comparison with limits.
    checks
        Plain sentences, those of the differences.
    """

    margin: float
    level: float
    table: pd.DataFrame
    checks: tuple[str, ...] = ()


def non_inferiority(differences: Contrasts, margin: float, level: float = CONFIDENCE) -> NonInferiority:
    """Ask of each difference whether it is above minus a margin, and whether it is above the margin.

    Parameters
    ----------
    differences
        From ``survivor.contrasts`` or ``survivor.compare(...).contrasts``.
    margin
        Smallest difference that matters, alive per 100 planted, above 0.
    level
        One-sided confidence level; 0.975 goes with two-sided limits of 95 %.

    Returns
    -------
    NonInferiority
        A row a difference, per 100 planted.

    Raises
    ------
    EffectError
        When this is no table of differences, the margin is not above 0, or a comparison is by a
        penalised model, whose limits are two-sided.

    Examples
    --------
    >>> found = non_inferiority(survivor.contrasts(fit, at=365), margin=5)
    >>> found.table[["method", "not_inferior", "better"]].values.tolist()
    [['auger', True, False], ['rip', True, True]]
    """
    check_level(level)
    mend = "give survivor.contrasts(fit)"
    must_be(differences, Contrasts, "differences", "differences", EffectError, mend)
    if not is_number(margin) or not 0 < margin < 100:
        raise EffectError(
            f"a margin of {margin!r} is no smallest difference that matters",
            where="margin",
            mend="give alive per 100 planted, above 0, for example margin=5",
        )
    table = differences.table
    if not level > 0.5:
        _refuse_low(level)
    if table.loc[table["basis"] != REFUSED, "penalised"].any():
        raise EffectError(
            "limits of a penalised model are two-sided",
            where="differences",
            mend="leave out the level with which nobody, or everybody, died, or read the lower limit of "
            f"survivor.contrasts(fit, level={2 * level - 1:g})",
        )
    estimate, error, df = (table[name].to_numpy(float) for name in ("estimate", "std_error", "df"))
    lower = estimate - half_width(error, df, 2 * level - 1)
    p_value, p_better = _above(estimate, error, df, -margin), _above(estimate, error, df, margin)
    told = pd.Series(~np.isnan(p_value))
    found = table[[differences.by, "against"]].assign(
        estimate=estimate,
        lower=lower,
        margin=float(margin),
        p_value=p_value,
        not_inferior=pd.Series(lower > -margin, dtype="boolean").where(told),
        p_better=p_better,
        better=pd.Series(lower > margin, dtype="boolean").where(told),
        unit=table["unit"],
    )
    return NonInferiority(float(margin), float(level), with_level(found, level), differences.checks)


def _refuse_low(level: float) -> NoReturn:
    raise EffectError(
        f"a one-sided level of {level:g} says nothing", where="level", mend="give more than 0.5, usually 0.95"
    )


def _above(estimate: Floats, error: Floats, df: Floats, bound: float) -> Floats:
    """One-sided p that differences are ``bound`` or less."""
    from scipy import stats

    known = (error > 0) & (df > 0)
    size = (estimate - bound) / np.where(known, error, 1.0)
    tail = np.where(np.isposinf(df), stats.norm.sf(size), stats.t.sf(size, np.where(known, df, 1.0)))
    return np.where(known, tail, np.nan)
