"""How much each plot counts in an estimate: a working correlation of the seedlings of a plot.

While a model takes seedlings as independent, a plot of m seedlings counts m times. Where
seedlings of a plot are alike with correlation rho, it tells only as much as
m / (1 + (m - 1) rho) independent ones, so the score of the plot is multiplied by
1 / (1 + (m - 1) rho). For what is constant within plots that is what an exchangeable
working correlation does (Liang and Zeger 1986, Biometrika 73, 13-22). Limits are by
plot either way and do not lean on rho; where rho is near the truth, large plots
dominate less, estimates are more precise and limits rest on more degrees of freedom
(``tests/calibration/notes.md``).

The price is another target. Under independence each seedling counts as one; with
rho > 0 a seedling counts for less in a large plot, up to rho = 1, where each plot counts
as one. Both are the same where survival does not go with the size of plots; where it
does, they answer different questions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.errors import ModelError, SurvivorError
from survivor.intervals import Codes, cluster_columns, entries, group_codes, sum_by
from survivor.models.design import Design
from survivor.proportions import plot_correlation

Floats = NDArray[np.float64]

#: ``independence``, ``plot correlation`` (estimated), or the correlation itself, 0 to 1.
Working = Literal["independence", "plot correlation"] | float

INDEPENDENCE: Literal["independence"] = "independence"
PLOT_CORRELATION: Literal["plot correlation"] = "plot correlation"


@dataclass(frozen=True)
class Weights:
    """What each row counts.

    Attributes
    ----------
    of_row
        Weight of each row of the table, shape (n,), that of its plot, 1 on average over
        seedlings; None where all are 1.
    correlation
        The working correlation; None under independence.
    checks
        What was done, in a sentence; none under independence.
    """

    of_row: Floats | None = None
    correlation: float | None = None
    checks: tuple[str, ...] = ()


def check_working(working: Working, cluster: str | Sequence[str] | None) -> None:
    """Raise unless ``working`` is a way to weight clusters, and there are clusters to weight."""
    known = working in (INDEPENDENCE, PLOT_CORRELATION) if isinstance(working, str) else 0 <= working <= 1
    if not known:
        raise ModelError(
            f"no working correlation {working!r}",
            where="working",
            mend='use "independence", "plot correlation" or a correlation from 0 to 1',
        )
    if cluster is None and working != INDEPENDENCE:
        raise ModelError(
            "rows are taken as independent, so there is no correlation within plots",
            where="working",
            mend='give cluster="plot", or leave working= out',
        )


def weights_of_sizes(size: Floats, correlation: float) -> Floats:
    """Weight of clusters of ``size`` seedlings, 1 on average over seedlings; shape as ``size``."""
    weight = 1 / (1 + (size - 1) * correlation)
    found: Floats = weight * (size.sum() / (weight * size).sum())
    return found


def plots_within(working: Working, frame: pd.DataFrame, cluster: str | Sequence[str] | None) -> list[str]:
    """Columns that name what is weighted: the cluster, or the plots within it where it is larger.

    None under independence.
    """
    if working == INDEPENDENCE or cluster is None:
        return []
    names = cluster_columns(frame, cluster)
    if "plot" in names or "plot" not in frame.columns:
        return names
    return list(dict.fromkeys([*names, *cluster_columns(frame, "plot")]))


def weights_to_the_end(
    working: Working, frame: pd.DataFrame, plots: Sequence[str], design: Design
) -> Weights:
    """Weights from survival to the end of follow-up.

    Parameters
    ----------
    working
        See ``survivor.fit``.
    frame
        Risk intervals. The size of a plot is the seedlings that entered in it; those not
        found dead count as alive.
    plots
        Of :func:`plots_within`.
    design
        Names strata and the columns of the formula.
    """
    if not plots:
        return Weights()
    codes, levels = group_codes(frame, plots)
    count = len(levels)
    entered = entries(frame.assign(_plot=codes))
    size = sum_by(entered["_plot"].to_numpy(dtype=np.intp), entered["at_risk"].to_numpy(dtype=float), count)
    # Where no column tells which rows follow on from which, a plot is as large as its largest row.
    np.maximum.at(size, codes, frame["at_risk"].to_numpy(dtype=float))
    alive = np.clip(size - sum_by(codes, frame["died"].to_numpy(dtype=float), count), 0.0, size)
    return _weights(
        working, _Plots(frame, tuple(plots), codes, alive, size), design, "to the end of follow-up"
    )


def weights_at_milestone(
    working: Working, chains: pd.DataFrame, plots: Sequence[str], design: Design, at: float
) -> Weights:
    """Weights from survival to day ``at``: ``alive`` and ``dead`` of ``chains``, the rows of ``design``."""
    if not plots:
        return Weights()
    codes, levels = group_codes(chains, plots)
    alive, dead = (
        sum_by(codes, chains[name].to_numpy(dtype=float), len(levels)) for name in ("alive", "dead")
    )
    return _weights(
        working, _Plots(chains, tuple(plots), codes, alive, alive + dead), design, f"to day {at:g}"
    )


@dataclass(frozen=True)
class _Plots:
    """A table with the plot of each row (``codes``), and alive and all of each plot."""

    frame: pd.DataFrame
    names: tuple[str, ...]
    codes: Codes
    alive: Floats
    size: Floats


def _weights(working: Working, plots: _Plots, design: Design, until: str) -> Weights:
    what, size = plots.names[-1], plots.size
    if isinstance(working, str):
        group, which = _groups(plots, design)
        correlation, why = _estimated(plots.alive, size, group, f"{what}s {which}", until)
    else:
        correlation, why = float(working), "as given"
    told = f"the correlation between seedlings of a {what} is taken as {correlation:.3f} ({why})"
    if correlation == 0 or (size == size[0]).all():
        reason = "" if correlation == 0 else f" and all {what}s are of one size"
        return Weights(None, correlation, (f"{told}{reason}, so every seedling counts as one",))
    weight = weights_of_sizes(size, correlation)
    low, high = int(size.argmin()), int(size.argmax())
    said = (
        f"{told}, so a seedling counts for less in a large {what}: {weight[high]:.2f} in one of "
        f"{size[high]:.0f} and {weight[low]:.2f} in one of {size[low]:.0f}, 1 on average, and the "
        "log-likelihood is a pseudo-likelihood"
    )
    return Weights(weight[plots.codes], correlation, (said,))


def _estimated(alive: Floats, size: Floats, group: Codes, which: str, until: str) -> tuple[float, str]:
    """Estimate the correlation, none below 0, and say where it comes from."""
    unknown = f"it cannot be estimated from {which}"
    try:
        found = plot_correlation(alive, size, group).icc
    except SurvivorError:
        return 0.0, unknown
    if not np.isfinite(found):
        return 0.0, unknown
    if found <= 0:
        return 0.0, f"{which} differ no more than chance makes them in survival {until}"
    return float(found), f"from {which}, by survival {until}"


def _groups(plots: _Plots, design: Design) -> tuple[Codes, str]:
    """Group of each plot, in which plots are compared, and which they are in words.

    Site (the strata where no column names it), method and other levels of the formula, each
    as far as whole plots share it.
    """
    frame, codes = plots.frame, plots.codes
    places = ("site",) if "site" in frame.columns else design.strata
    factors = [name for name in design.variables if not pd.api.types.is_numeric_dtype(frame[name])]
    group = np.zeros(len(plots.size), dtype=np.intp)
    names = []
    for name in dict.fromkeys(["method", *factors, *places]):
        if name not in frame.columns or name == plots.names[-1]:
            continue
        level = group_codes(frame, [name])[0]
        own = np.zeros(len(plots.size), dtype=np.intp)
        own[codes] = level
        if np.array_equal(own[codes], level):
            group = np.unique(group * (int(own.max()) + 1) + own, return_inverse=True)[1].astype(np.intp)
            names.append(name)
    listed = " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
    return group, f"of one {listed}" if names else "of the whole table"
