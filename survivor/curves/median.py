"""Median survival of curves: the day by which half have died, with limits, or that it is not reached.

The limits of the median are the days on which the limits of the curve reach one half
(Brookmeyer and Crowley 1982, Biometrics 38, 29-41, on the scale of the curve's own limits).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from survivor.arguments import must_be
from survivor.curves.result import Curves, first_at
from survivor.errors import CurveError
from survivor.limits import check_level, limits_at, with_level
from survivor.shown import Shown
from survivor.vocabulary import CONFIDENCE

_NOT_REACHED = "not reached"


@dataclass(frozen=True, repr=False)
class Medians(Shown):
    """Days by which a share of the seedlings have died.

    Attributes
    ----------
    share
        Of those alive at the beginning, 0 to 1.
    table
        One row a group: the column drawn by, ``day, lower, upper`` (days since planting; blank where
        not reached), ``last_day`` watched and ``note``.
    level
        Confidence level of the limits; where it is not 0.95, the table names it in a column ``level``.
    """

    share: float
    table: pd.DataFrame
    level: float = CONFIDENCE


def median_days(curves: Curves, share: float = 0.5, level: float = CONFIDENCE) -> Medians:
    """Day by which ``share`` of the seedlings of each curve have died, with limits.

    Parameters
    ----------
    curves
        From ``survivor.curve``. A death counts on the day it was found.
    share
        Share that has died, above 0 and below 1.
    level
        Confidence level of the limits: days on which the limits of the curve at it reach the share.

    Returns
    -------
    Medians

    Raises
    ------
    CurveError
        When this is no set of curves, or the share is none (``ModelError``: no level, or the limits of
        the curves are a band).

    Examples
    --------
    >>> found = median_days(survivor.curve(intervals, by="method"))
    >>> found.table.set_index("method").loc["rip", "note"]
    'not reached by day 365'
    """
    must_be(curves, Curves, "curves", "curves", CurveError, 'give survivor.curve(intervals, by="method")')
    if isinstance(share, bool) or not isinstance(share, int | float) or not 0 < share < 1:
        raise CurveError(f"{share!r} is no share", where="share", mend="give one between 0 and 1")
    check_level(level)
    column, rows = curves.column, []
    table = curves.table if level == CONFIDENCE else limits_at(curves, level)
    for label, own in table.groupby(column, sort=False, observed=True):
        days = own["day"].to_numpy(float)
        day, low, high = (
            first_at(days, own[name].to_numpy(float), 1 - share) for name in ("survival", "lower", "upper")
        )
        notes = [] if np.isfinite(day) else [f"{_NOT_REACHED} by day {days[-1]:g}"]
        if np.isfinite(day) and not np.isfinite(high):
            notes.append(f"upper limit {_NOT_REACHED} by day {days[-1]:g}")
        rows.append((label, day, low, high, days[-1], "; ".join(notes)))
    found = pd.DataFrame(rows, columns=[column, "day", "lower", "upper", "last_day", "note"])
    found = with_level(found.astype({column: curves.table[column].dtype}), level)
    return Medians(float(share), found, float(level))
