"""Delete-one-cluster jackknife of a stratified Cox model.

The model is fitted again without each cluster, by Newton steps from the full
estimate, and the squared changes are summed. How much each counts:

* a quantity that is constant within clusters (a method on whole plots, the level
  of survival) is compared between the clusters of a stratum, so that leaving out
  one of n clusters moves it n / (n - 1) times too far: its squares count
  (n - 1) / n, the stratified jackknife of survey sampling;
* a column that varies within clusters (species within plots) takes nothing from
  the stratum, and its squares count (G - 1) / G, with G clusters in all.

Strata that share clusters count as one. Without strata both are (G - 1) / G. To
count (G - 1) / G for methods on whole plots too would make their variance up to
twice what it is where sites hold few plots (``tests/calibration/cox_limits.py``).

Sources: Shao and Tu (1995), The Jackknife and Bootstrap, section 6.2; Lipsitz,
Dear and Zhao (1994), Biometrics 50, 842-846 (jackknife of clustered survival).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from survivor.arrays import Codes, Floats
from survivor.limits import Errors, floored
from survivor.models.clusters import WaldTest, hotelling
from survivor.models.partial import Maximum, RiskSets, by_stratum, evaluate, maximise
from survivor.progress import counted_off
from survivor.words import term_words

# Clusters times rows up to which every refit is carried to its end; beyond it one
# Newton step each, on the strata of the cluster alone (differs by order 1 / clusters squared).
_FULL_REFITS = 3e5
_LEAST_LEFT = 0.5  # share of the information on a term that must remain for one step to do
_LONG_STEP = 0.5  # squared length, in units of standard errors, from which one step does not do
_SHORT = 0.02  # a step that moves no log hazard by more does, however exactly coefficients are known
_SAME = 1e-9  # columns that differ by less than this share of their range are equal


@dataclass(frozen=True)
class Groups:
    """How clusters lie in strata.

    Attributes
    ----------
    count
        Clusters G; their codes run from 0.
    block
        Block of each cluster, shape (G,): a stratum, or strata joined by shared clusters.
    factor
        What the squares of a quantity compared between clusters count, shape (G,).
    within
        Which columns vary within a cluster, shape (q,).
    df
        Degrees of freedom of each column, shape (q,), NaN where none is left. Constant
        within clusters: clusters less blocks less such columns, over the blocks in
        which some column varies. Else: the clusters in which it varies, less one.
    df_average
        Clusters less blocks less columns constant within clusters, over all blocks,
        for averages of survival.
    counted
        The clusters, blocks and columns that the first kind was counted from.
    """

    count: int
    block: Codes
    factor: Floats
    within: NDArray[np.bool_]
    df: Floats
    df_average: float
    counted: tuple[int, int, int]

    def scaled(self, change: Floats, inside: Floats) -> Floats:
        """Scale changes of averages without each cluster, shape (G, m), so that their squares add up.

        ``inside`` is the part of each that comes through columns varying within clusters: it
        counts as those columns do, the rest as what is compared between clusters does.
        """
        between: Floats = np.sqrt(self.factor)[:, None] * (change - inside)
        return np.asarray(between + np.sqrt(1 - 1 / self.count) * inside)

    @property
    def alone(self) -> NDArray[np.bool_]:
        """Whether each cluster is the only one of its block, shape (G,)."""
        return np.asarray(np.bincount(self.block)[self.block] == 1)

    @property
    def scales(self) -> Floats:
        """Root of what each change counts, shape (G, q)."""
        return np.sqrt(np.where(self.within, 1 - 1 / self.count, self.factor[:, None]))


def groups(sets: RiskSets) -> Groups:
    """Read from the rows how clusters lie in strata and which columns vary within them."""
    # As they were before each stratum was centred: a cluster may reach into several.
    return groups_of(sets.columns + sets.centre[sets.strata], sets.cluster, sets.strata)


def groups_of(columns: Floats, cluster: Codes, strata: Codes) -> Groups:
    """Read how clusters lie in strata from ``columns`` (n, q) and codes from 0 without gaps, (n,)."""
    count, levels = int(cluster.max()) + 1, int(strata.max()) + 1
    together = sparse.coo_array((np.ones(len(cluster)), (cluster, count + strata)), (count + levels,) * 2)
    block = connected_components(together, directed=False)[1][:count].astype(np.intp)
    size = np.bincount(block)[block]
    # The only cluster of a block takes no stratum with it but its own.
    factor = np.where(size > 1, 1 - 1 / size, 1 - 1 / count)
    same = _SAME * np.ptp(columns, axis=0)
    varies = _range(columns, cluster, count) > same
    within = np.any(varies, axis=0)
    tells = np.any(_range(columns, block[cluster], int(block.max()) + 1) > same, axis=1)
    between = int((~within).sum())
    counted = (int(tells[block].sum()), int(tells.sum()), between)
    return Groups(
        count,
        block,
        factor,
        within,
        np.where(within, [_left(int(number), 1, 0) for number in varies.sum(axis=0)], _left(*counted)),
        _left(count, int(block.max()) + 1, between),
        counted,
    )


def _left(clusters: int, blocks: int, columns: int) -> float:
    """Degrees of freedom, NaN where none is left."""
    left = clusters - blocks - columns
    return float(left) if left > 0 else np.nan


def _range(columns: Floats, codes: Codes, levels: int) -> Floats:
    high, low = np.full((levels, columns.shape[1]), -np.inf), np.full((levels, columns.shape[1]), np.inf)
    np.maximum.at(high, codes, columns)
    np.minimum.at(low, codes, columns)
    return np.where(np.isfinite(high), high - low, 0.0)


@dataclass(frozen=True)
class Deletions:
    """Coefficients without each cluster.

    Attributes
    ----------
    groups
        How clusters lie in strata.
    beta
        Shape (G, q).
    known
        Whether a coefficient has a finite estimate without the cluster, shape (G, q).
    flat
        Directions of which nothing is known without the cluster; see ``partial.Maximum``.
    full
        Whether each refit was carried to its end; else one Newton step.
    """

    groups: Groups
    beta: Floats
    known: NDArray[np.bool_]
    flat: dict[int, Floats]
    full: bool

    def covariance(self, estimate: Floats) -> Floats:
        """Covariance of the coefficients, shape (q, q); NaN where a refit has none."""
        change = np.where(self.known, self.beta - estimate, np.nan) * self.groups.scales
        return change.T @ change

    def errors(self, estimate: Floats, independent: Floats) -> Errors:
        """Return what limits rest on; ``independent``: the covariance were rows independent."""
        return floored(self.covariance(estimate), self.groups.df, independent)

    def of_sums(self, picks: Floats, estimate: Floats, independent: Floats) -> Errors:
        """Return what limits of combinations of coefficients rest on: the fewest df of their terms."""
        used, each = picks != 0, self.covariance(estimate)
        covariance = picks @ np.nan_to_num(each) @ picks.T
        lost = used[:, np.isnan(np.diag(each))].any(axis=1)
        covariance[lost] = covariance[:, lost] = np.nan
        df = np.min(np.where(used, self.groups.df, np.inf), axis=1, initial=np.inf)
        return floored(covariance, np.where(used.any(axis=1), df, np.nan), picks @ independent @ picks.T)

    def said(self, terms: Sequence[str], what: str, strata: str, how: str = "") -> list[str]:
        """Sentences on where limits come from, and which terms have none.

        ``what`` is the name of a cluster, ``strata`` what each of its strata takes a degree of
        freedom for (empty: one in all), ``how`` each refit was made.
        """
        groups = self.groups
        clusters, blocks, columns = groups.counted
        count = f"{clusters} {what}s less {f'{blocks} {strata}' if strata else 1}"
        if columns:
            count += f" less {columns} columns constant within a {what}"
        sentences = [f"limits by leaving out one {what} at a time ({groups.count} {what}s{how})"]
        if not groups.within.all():
            sentences.append(f"limits of terms constant within a {what} by t on {count}")
        if groups.within.any():
            sentences.append(
                f"limits of terms that vary within a {what} by t on the {what}s in which they do, less 1"
            )
        for term, df, lost in zip(terms, groups.df, (~self.known).sum(axis=0), strict=True):
            if np.isnan(df):
                sentences.append(f"no limits for {term_words(term)}: no degree of freedom is left")
            if lost:
                sentences.append(
                    f"no limits for {term_words(term)}: it has no finite estimate without one {what} "
                    f"({lost} such {what}s)"
                )
        return sentences

    def wald(self, terms: Sequence[int], estimate: Floats, independent: Floats) -> WaldTest:
        """F test that the coefficients at these places are zero: Hotelling's, on the fewest df."""
        places = np.ix_(list(terms), list(terms))
        df = float(np.min(self.groups.df[list(terms)]))
        return hotelling(estimate[list(terms)], self.covariance(estimate)[places], df, independent[places])


def delete_each(sets: RiskSets, estimate: Maximum, full_refits: float = _FULL_REFITS) -> Deletions:
    """Fit again without each cluster.

    Parameters
    ----------
    sets
        Rows with cluster codes 0 to G - 1.
    estimate
        The fit to all rows.
    full_refits
        Clusters times rows up to which each refit is carried to its end.
    """
    layout = groups(sets)
    beta = np.tile(estimate.beta, (layout.count, 1))
    finite = np.ones(beta.shape, dtype=bool)
    flat: dict[int, Floats] = {}
    full = layout.count * len(sets.columns) <= full_refits
    if not beta.shape[1]:
        return Deletions(layout, beta, finite, flat, full)
    if full:
        whole = list(range(layout.count))
    else:
        steps, whole = _one_step_each(sets, layout, estimate)
        beta += steps
    for cluster in counted_off(whole, "refit"):
        refit = maximise(sets.without(cluster), beta[cluster])
        # Where one term runs away the others have long come to rest.
        beta[cluster] = refit.beta
        finite[cluster] = refit.known & (refit.settled or bool(refit.divergent.any()))
        if refit.flat.shape[1]:
            flat[cluster] = refit.flat
    return Deletions(layout, beta, finite, flat, full)


def _one_step_each(sets: RiskSets, found: Groups, estimate: Maximum) -> tuple[Floats, list[int]]:
    """One Newton step without each cluster, shape (G, q), and the clusters for which it is not enough."""
    steps = np.zeros((found.count, len(estimate.beta)))
    long: list[int] = []
    unit = np.sqrt(np.maximum(np.diag(estimate.at.information), 1e-300))
    if apart(sets, found):
        all_gradient, all_information, _ = by_stratum(sets, estimate.beta)
        for several, strata, left_in in rounds(sets):
            gradients, informations, _ = by_stratum(left_in, estimate.beta)
            gradient = estimate.at.gradient - all_gradient[strata] + gradients[strata]
            each = estimate.at.information - all_information[strata] + informations[strata]
            left, whole = np.einsum("gqq->gq", each), np.diag(estimate.at.information)
            inverse = np.linalg.pinv(each / np.outer(unit, unit), hermitian=True)
            own = np.einsum("gpq,gq->gp", inverse, gradient / unit) / unit
            told = (left >= _LEAST_LEFT * whole).all(axis=1)[:, None]
            far = ~told[:, 0] | (np.sum(gradient * own, axis=1) > _LONG_STEP) & _moves(sets, own)
            steps[several] = np.where(told, own, 0.0)
            long += several[far].tolist()
        return steps, sorted(long)
    for rows, clusters in blocks(sets, found):
        all_rows = evaluate(rows, estimate.beta)
        for cluster in clusters:
            rest = evaluate(rows.without(cluster), estimate.beta)
            information = estimate.at.information - all_rows.information + rest.information
            gradient = estimate.at.gradient - all_rows.gradient + rest.gradient
            # Little is left of a term that stands on one cluster: the step is long or not to be had.
            if np.any(np.diag(information) < _LEAST_LEFT * np.diag(estimate.at.information)):
                long.append(cluster)
                continue
            scaled = information / np.outer(unit, unit)
            steps[cluster] = np.linalg.lstsq(scaled, gradient / unit, rcond=None)[0] / unit
            if gradient @ steps[cluster] > _LONG_STEP and _moves(sets, steps[cluster]):
                long.append(cluster)
    return steps, long


def _moves(sets: RiskSets, steps: Floats) -> NDArray[np.bool_]:
    """Whether steps, shape (..., q), move the log hazard of some plants by much."""
    return np.asarray((np.abs(steps) * np.ptp(sets.columns, axis=0)).max(axis=-1) > _SHORT)


def apart(sets: RiskSets, found: Groups) -> bool:
    """Whether every cluster lies within one stratum."""
    return int(found.block.max()) == int(sets.strata.max())


def rounds(sets: RiskSets) -> Iterator[tuple[Codes, Codes, RiskSets]]:
    """Leave out one cluster of every stratum at a time, where each lies within one: few rounds for many.

    Yields
    ------
    clusters, strata, rest
        The clusters left out, the stratum of each, and the rows without them.
    """
    stratum = np.empty(int(sets.cluster.max()) + 1, dtype=np.intp)
    stratum[sets.cluster] = sets.strata
    order = np.argsort(stratum, kind="stable")
    first = np.searchsorted(stratum[order], np.arange(int(stratum.max()) + 1))
    rank = np.empty(len(stratum), dtype=np.intp)
    rank[order] = np.arange(len(order)) - first[stratum[order]]
    for number in range(int(rank.max()) + 1):
        kept = rank[sets.cluster] != number
        clusters = np.flatnonzero(rank == number).astype(np.intp)
        rest = replace(sets, at_risk=sets.at_risk * kept, died=sets.died * kept)
        yield clusters, stratum[clusters], rest


def blocks(sets: RiskSets, found: Groups) -> Iterator[tuple[RiskSets, list[int]]]:
    """Rows and clusters of each block."""
    of_row = found.block[sets.cluster]
    order = np.argsort(of_row, kind="stable")
    bounds = np.searchsorted(of_row[order], np.arange(int(found.block.max()) + 2))
    for block, (low, high) in enumerate(pairwise(bounds)):
        yield sets.pick(order[low:high]), [int(code) for code in np.flatnonzero(found.block == block)]
