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

How much more the clusters of some rows vary than their seedlings alone would.

The residual of a cluster is its deaths less those expected, summed over its rows.
Were seedlings independent its variance would be the cluster's information on its own
log hazard, less what the estimates took of it; the design effect is the sum of
squared residuals over the sum of these variances (as Rao and Scott 1992, Biometrics
48, 577-585, do for a proportion).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from scipy import stats

from survivor.arguments import is_number
from survivor.arrays import Codes, Floats
from survivor.errors import ModelError, SurvivorError
from survivor.intervals import cluster_columns, entries, group_codes, sum_by
from survivor.models.design import Design, amounts, independent_columns
from survivor.models.jeffreys import Jeffreys, Point
from survivor.models.penalised import maximise
from survivor.proportions import plot_correlation
from survivor.vocabulary import CONFIDENCE

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

    def times(self, weights: Weights) -> Weights:
        """Multiply by other weights of the same rows."""
        if weights.of_row is None:
            return self
        own = weights.of_row if self.of_row is None else self.of_row * weights.of_row
        return Weights(own, self.correlation, (*self.checks, *weights.checks))


def case_weights(frame: pd.DataFrame, column: str | None, cluster: str | Sequence[str] | None) -> Weights:
    """Weights that a column gives, brought to 1 on average over the seedlings of the rows."""
    if column is None:
        return Weights()
    weight, at_risk = amounts(frame, column, "weights"), frame["at_risk"].to_numpy(dtype=float)
    if not (weight > 0).all():
        row = frame.index[~(weight > 0)][0]
        raise ModelError(
            f"row {row} has {column} {weight[~(weight > 0)][0]:g}, and a weight is above 0",
            where=f"column {column}",
            mend="leave rows out that are not to count",
        )
    if cluster is None:
        raise ModelError(
            "with rows taken as independent, weights would count as seedlings",
            where=f"weights={column!r}",
            mend='give cluster="plot", whose limits do not lean on weights; at_risk holds counts',
        )
    said = (
        f"rows count by {column}, 1 on average over seedlings, and the log-likelihood is a pseudo-likelihood"
    )
    return Weights(weight * (at_risk.sum() / (weight * at_risk).sum()), None, (said,))


def check_working(working: Working, cluster: str | Sequence[str] | None) -> None:
    """Raise unless ``working`` is a way to weight clusters, and there are clusters to weight."""
    named = isinstance(working, str)
    valid = working in (INDEPENDENCE, PLOT_CORRELATION) if named else is_number(working) and 0 <= working <= 1
    if not valid:
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
    return np.asarray(weight * (size.sum() / (weight * size).sum()))


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
    taken = f"the correlation between seedlings of a {what} is taken as {correlation:.3f} ({why})"
    if correlation == 0 or (size == size[0]).all():
        reason = "" if correlation == 0 else f" and all {what}s are of one size"
        return Weights(None, correlation, (f"{taken}{reason}, so every seedling counts as one",))
    weight = weights_of_sizes(size, correlation)
    low, high = int(size.argmin()), int(size.argmax())
    sentence = (
        f"{taken}, so a seedling counts for less in a large {what}: {weight[high]:.2f} in one of "
        f"{size[high]:.0f} and {weight[low]:.2f} in one of {size[low]:.0f}, 1 on average, and the "
        "log-likelihood is a pseudo-likelihood"
    )
    return Weights(weight[plots.codes], correlation, (sentence,))


def _estimated(alive: Floats, size: Floats, group: Codes, which: str, until: str) -> tuple[float, str]:
    """Estimate the correlation, none below 0, and say where it comes from."""
    unknown = f"it cannot be estimated from {which}"
    try:
        icc = plot_correlation(alive, size, group).icc
    except SurvivorError:
        return 0.0, unknown
    if not np.isfinite(icc):
        return 0.0, unknown
    if icc <= 0:
        return 0.0, f"{which} differ no more than chance makes them in survival {until}"
    return float(icc), f"from {which}, by survival {until}"


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


_LEAST_DF = 3.0  # fewer leave limits so wide that sites are better counted in
_BLOCK = 4_000_000  # numbers held at once


@dataclass(frozen=True)
class DesignEffect:
    """Design effect, at least 1.

    Attributes
    ----------
    effect
        Variance over that of independent seedlings.
    df
        Degrees of freedom behind it; infinite where it is not estimated.
    clusters
        Clusters that it rests on.
    how
        ``independent``, ``within``, ``between`` (variation between strata is counted
        in) or ``one plant`` (a cluster counts as one plant).
    """

    effect: float
    df: float
    clusters: int
    how: str

    @property
    def allowed(self) -> float:
        """How far limits may lie below the maximum of the log-likelihood of independent rows."""
        return self.allowed_at(CONFIDENCE)

    def allowed_at(self, level: float) -> float:
        """Return the same for limits at a level of confidence."""
        quantile = float(stats.t.ppf((1 + level) / 2, self.df))
        return self.effect * quantile**2 / 2

    def p_value(self, fall: float, terms: int = 1) -> float:
        """P-value of ``terms`` constraints that lower the maximum by ``fall``."""
        if np.isinf(self.df):
            return float(stats.chi2.sf(self.statistic(fall, terms) * terms, terms))
        return float(stats.f.sf(self.statistic(fall, terms), terms, self.df))

    def statistic(self, fall: float, terms: int = 1) -> float:
        """F statistic of ``terms`` constraints that lower the maximum by ``fall``."""
        return 2 * fall / (self.effect * terms)


INDEPENDENT = DesignEffect(1.0, float("inf"), 0, "independent")


def design_effect(likelihood: Jeffreys, rows: Codes, cluster: Codes, plants: float) -> DesignEffect:
    """Design effect of some rows of a likelihood.

    Parameters
    ----------
    likelihood
        Of all rows.
    rows
        Those whose clusters tell how clusters vary.
    cluster
        Cluster of each row of the likelihood.
    plants
        Mean number of plants in a cluster: the design effect where nothing tells.
    """
    nothing = DesignEffect(max(plants, 1.0), float("inf"), 0, "one plant")
    if not len(rows):
        return nothing
    within = _of_rows(likelihood, rows, cluster, likelihood.data.stratum[rows], "within")
    if within is not None and within.df >= _LEAST_DF:
        return within
    between = _of_rows(likelihood, rows, cluster, np.zeros(len(rows), dtype=np.intp), "between")
    usable = [each for each in (within, between) if each is not None and each.df >= 1]
    return max(usable, key=lambda each: each.df) if usable else nothing


def _of_rows(
    likelihood: Jeffreys, rows: Codes, cluster: Codes, stratum: Codes, how: str
) -> DesignEffect | None:
    strata = np.unique(stratum, return_inverse=True)[1].astype(np.intp)
    columns = independent_columns(likelihood.data.columns[rows], strata)
    part = likelihood.pick(rows, columns, strata)
    try:
        point = maximise(part, part.data.start()).point
    except ModelError:
        return None
    codes = np.unique(cluster[rows], return_inverse=True)[1].astype(np.intp)
    squares, variances, left = _residuals(point, strata, codes)
    if not variances > 0:
        return None
    return DesignEffect(max(squares / variances, 1.0), left, int(codes.max()) + 1, how)


def _residuals(point: Point, stratum: Codes, cluster: Codes) -> tuple[float, float, float]:
    """Sum of squared residuals of clusters, of their variances, and degrees of freedom left."""
    clusters, strata = int(cluster.max()) + 1, int(stratum.max()) + 1
    own, common = point.rows[:, 0], point.rows[:, 1:]
    residual = sum_by(cluster, point.score * own, clusters)
    weight = point.weight * own
    whole = sum_by(cluster, weight * own, clusters)
    taken = np.empty(clusters)
    order = np.argsort(cluster, kind="stable")
    size = max(1, _BLOCK // (strata + common.shape[1]))
    for low in range(0, clusters, size):
        high = min(low + size, clusters)
        begin, end = np.searchsorted(cluster[order], [low, high])
        mine = order[begin:end]
        shared = np.zeros((high - low, strata + common.shape[1]))
        np.add.at(shared, (cluster[mine] - low, stratum[mine]), weight[mine] * own[mine])
        shared[:, strata:] = sum_by(cluster[mine] - low, weight[mine, None] * common[mine], high - low)
        taken[low:high] = np.sum(np.hstack(point.bread.times(shared)) * shared, axis=1)
    some = whole > 0
    left = np.clip(whole - taken, 0.0, None)
    return (float(np.sum(residual**2)), float(left.sum()), float(np.sum(left[some] / whole[some])))
