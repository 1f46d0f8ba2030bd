"""How much more the clusters of some rows vary than their seedlings alone would.

The residual of a cluster is its deaths less those expected, summed over its rows.
Were seedlings independent its variance would be the cluster's information on its own
log hazard, less what the estimates took of it; the design effect is the sum of
squared residuals over the sum of these variances (as Rao and Scott 1992, Biometrics
48, 577-585, do for a proportion).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from survivor.errors import ModelError
from survivor.intervals import Codes, sum_by
from survivor.models.design import independent_columns
from survivor.models.jeffreys import PenalisedLikelihood, Point
from survivor.models.penalised import maximise
from survivor.vocabulary import CONFIDENCE

Floats = NDArray[np.float64]

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
        quantile = float(stats.t.ppf((1 + CONFIDENCE) / 2, self.df))
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


def design_effect(
    likelihood: PenalisedLikelihood, rows: Codes, cluster: Codes, plants: float
) -> DesignEffect:
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
    within = _of_rows(likelihood, rows, cluster, likelihood.stratum[rows], "within")
    if within is not None and within.df >= _LEAST_DF:
        return within
    between = _of_rows(likelihood, rows, cluster, np.zeros(len(rows), dtype=np.intp), "between")
    found = [each for each in (within, between) if each is not None and each.df >= 1]
    return max(found, key=lambda each: each.df) if found else nothing


def _of_rows(
    likelihood: PenalisedLikelihood, rows: Codes, cluster: Codes, stratum: Codes, how: str
) -> DesignEffect | None:
    strata = np.unique(stratum, return_inverse=True)[1].astype(np.intp)
    columns = independent_columns(likelihood.columns[rows], strata)
    part = likelihood.pick(rows, columns, strata)
    try:
        point = maximise(part, part.start()).point
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
        for column in range(common.shape[1]):
            shared[:, strata + column] = sum_by(
                cluster[mine] - low, weight[mine] * common[mine, column], high - low
            )
        taken[low:high] = np.sum(np.hstack(point.bread.times(shared)) * shared, axis=1)
    some = whole > 0
    left = np.clip(whole - taken, 0.0, None)
    return (
        float(np.sum(residual**2)),
        float(left.sum()),
        float(np.sum(left[some] / whole[some])),
    )
