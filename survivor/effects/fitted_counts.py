"""Does a model fit the counts: are the seedlings counted alive within its limits.

On a day between two visits the share alive lies between what was counted at the visits
round it. The model's average over the same plots, with its limits, should reach into that
stretch; where it lies wholly outside, its shape is wrong for these records, whatever its
limits say.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from survivor.effects.cells import levels_of, study_cells
from survivor.effects.limits import at_edge, limits_of_survival
from survivor.intervals import entries, group_codes, sum_by
from survivor.vocabulary import PLOT_KEY

if TYPE_CHECKING:
    from survivor.models.result import Fit

_SLACK = 1e-6
COLUMNS = ["level", "estimate", "lower", "upper", "counted_after", "counted_before", "outside"]


def fitted_counts(fit: Fit, at: float, by: str | None = "method") -> pd.DataFrame:
    """Set the model's survival of each level beside its counts, over the plots of that level.

    Parameters
    ----------
    fit
        A fitted model.
    at
        Days since planting.
    by
        Column of levels; None: all together.

    Returns
    -------
    DataFrame
        ``level, estimate, lower, upper`` (of the model), ``counted_after`` and
        ``counted_before`` (share alive at each plot's next visit and its last one), all per
        100, and ``outside``: whether the limits hold none of the stretch between the two.
    """
    frame = fit.data
    levels: list[Any] = ["all"] if by is None else levels_of(frame, by)
    cells = study_cells(fit, [], None)
    weights = np.array(
        [np.ones(len(cells.plants)) if by is None else np.asarray(cells.frame[by] == name) for name in levels]
    )
    weights = weights * cells.plants
    weights = weights / weights.sum(axis=1, keepdims=True)
    found = fit.average_survival(cells.frame, weights, at)
    estimate = np.asarray(found.estimate, dtype=float)
    limits = limits_of_survival(found, np.full(len(levels), np.nan))
    before, after = (
        np.array([_share(frame if by is None else frame[frame[by] == name], at, late) for name in levels])
        for late in (False, True)
    )
    known = np.isfinite(limits.lower) & np.isfinite(limits.upper) & ~at_edge(estimate)
    outside = known & ((limits.upper < after - _SLACK) | (limits.lower > before + _SLACK))
    numbers = (estimate, limits.lower, limits.upper, after, before)
    table = {name: 100 * values for name, values in zip(COLUMNS[1:-1], numbers, strict=True)}
    return pd.DataFrame({"level": levels, **table, "outside": outside})


def _share(frame: pd.DataFrame, at: float, late: bool) -> float:
    """Share alive by the product over each plot's visits up to a day, or up to the next one after it."""
    frame = frame.reset_index(drop=True)
    keys = [name for name in PLOT_KEY if name in frame.columns]
    code = group_codes(frame, keys)[0] if keys else np.zeros(len(frame), dtype=np.intp)
    plots = int(code.max()) + 1
    first = entries(frame)  # rows of the table on which somebody entered, with how many
    planted = sum_by(code[first.index.to_numpy()], first["at_risk"].to_numpy(dtype=float), plots)
    start, stop = (frame[name].to_numpy(dtype=float) for name in ("start_day", "stop_day"))
    used = start < at if late else stop <= at
    rows, died = (frame[name].to_numpy(dtype=float) for name in ("at_risk", "died"))
    day = np.unique(stop, return_inverse=True)[1]
    visit = code * (int(day.max()) + 1) + day
    size = plots * (int(day.max()) + 1)
    risk = sum_by(visit[used], rows[used], size).reshape(plots, -1)
    dead = sum_by(visit[used], died[used], size).reshape(plots, -1)
    lived = np.where(risk > 0, 1 - dead / np.where(risk > 0, risk, 1.0), 1.0).prod(axis=1)
    return float(np.average(lived, weights=planted))
