"""Permutation tests of preparations that were dealt to plots at random within blocks.

If two preparations do the same, it was chance alone that decided which of their
plots is called by which name: with the other preparations left where they are,
every way of sharing out the two names within the blocks was as likely as the one
that came about. The grouped model is fitted again under these, and p is the share
of layouts whose t (the difference on the log hazard over its CR2 standard error)
is at least as far from zero as that of the records. This holds exactly, whatever
the number of plots, and whatever the other preparations do.

It holds for any statistic, so a cheaper one may stand for t: the score. The model is fitted once
with the two preparations as one, which no layout changes; each plot then has one number, its
deaths less those expected (the score of its log hazard), and a layout's statistic is the sum of
these over the plots of the first name, less what random allocation gives on average. Blocks add up, so
hundreds of thousands of layouts take a second.

Sources: Fisher (1935), The Design of Experiments, section 21; Phipson and Smyth
(2010), Statistical Applications in Genetics and Molecular Biology 9, 39, for
(b + 1)/(m + 1) with layouts drawn at random.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, product
from math import comb, inf
from typing import Any, Final, Literal

import numpy as np
import pandas as pd

from survivor.arguments import base_level, count, draws_of, is_one_of, seed_of, several
from survivor.arrays import Codes, Floats
from survivor.errors import ModelError
from survivor.intervals import group_codes, refuse_blank_places, sum_by
from survivor.models.by_period import Levels, levels_in
from survivor.models.design import columns_named
from survivor.models.fitted import Arranged
from survivor.models.grouped import arranged
from survivor.models.likelihood import Rows, Solution, covariance_by, solve
from survivor.models.result import Fit, check_fit, holm
from survivor.parallel import side_by_side
from survivor.progress import tell
from survivor.shown import Shown

EVERY: Final = "every layout"
DRAWN: Final = "layouts drawn at random"
MOST_EXACT: Final = 100_000  # layouts up to which every score is taken

Statistic = Literal["t", "score"]

# Squared length of the last step of a refit, in units of standard errors: a step of Newton's,
# which leaves an error of about its square.
_CLOSE = 1e-6
_FAR = 6.0  # log hazards this far apart may be on their way to infinity
_SAME = 1e-4  # a t this much nearer to zero is as far from it, to what a refit settles
_EQUAL = 1e-9  # the same of scores, which differ by rounding alone
_TOLD_EVERY = 100  # layouts
_AT_ONCE = 4_000_000  # plots times draws that are dealt at a time


@dataclass(frozen=True, repr=False)
class PermutationTest(Shown):
    """Permutation p of each level against one.

    Attributes
    ----------
    by
        Column whose levels were dealt to plots.
    blocks
        Columns within which they were dealt.
    table
        ``<by>, against, statistic`` (of the records: the CR2 t of the difference on the log hazard, or
        the score: about the deaths beyond those expected were the two alike), ``p_value, p_adjusted``
        (Holm), ``smallest_p`` (the least p that this layout, or the number of draws, could give),
        ``layouts`` (ways of sharing out the two names), ``tried, how`` (``every layout`` or ``layouts
        drawn at random``), ``n_plots, n_blocks`` (with both levels), ``reason`` where there is no p.
    seed
        Of the layouts drawn.
    checks
        Plain sentences.
    """

    by: str
    blocks: tuple[str, ...]
    table: pd.DataFrame
    seed: int
    checks: tuple[str, ...]


def permutation_test(
    fit: Fit,
    by: str = "method",
    *,
    blocks: str | Sequence[str] | None = None,
    against: Any = None,
    statistic: Statistic = "t",
    draws: int = 499,
    enough: int | None = None,
    seed: int = 1,
) -> PermutationTest:
    """Test each level of ``by`` against one by sharing out their plots anew.

    Parameters
    ----------
    fit
        A grouped fit with CR2 limits by plot, whose formula holds ``by`` outside of
        interactions. Its pieces are kept.
    by
        Column of levels that were given to whole plots at random.
    blocks
        Column(s) within which plots were allocated at random; None: the strata of the fit.
    against
        Level to compare with; None: the first.
    statistic
        ``t``, for which the model is fitted again under every layout, or ``score``, for which it is
        fitted once a comparison.
    draws
        Layouts drawn where there are more than twice as many, and for scores more than 100,000;
        else every one is tried.
    enough
        Of layouts drawn for t, stop once so many give as large a difference: p is then their share of
        those tried, as valid and quick where nothing differs (Besag and Clifford 1991,
        Biometrika 78: 301-304). None: go on to the last draw.
    seed
        Of the draws.

    Returns
    -------
    PermutationTest

    Raises
    ------
    ModelError
        When the fit is not a grouped one with CR2 limits, ``by`` varies within plots or
        enters the formula in an interaction, or a plot lies in two blocks.

    Examples
    --------
    >>> found = survivor.permutation_test(survivor.fit(intervals, "method"), draws=99)
    >>> found.table[["method", "p_value"]].round(2)
      method  p_value
    0  auger     0.12
    1    rip     0.02
    """
    check_fit(fit)
    if not is_one_of(statistic, ("t", "score")):
        raise ModelError(
            f"statistic={statistic!r} is not known", where="statistic", mend='use "t" or "score"'
        )
    if fit.variance != "CR2":
        raise ModelError(
            f"limits of this fit are by {fit.variance}, not CR2", where="fit", mend='fit with cluster="plot"'
        )
    fitted = arranged(fit)
    dealt = _dealt(fit, fitted, by)
    levels = list(dealt.levels.names)
    base = base_level(levels, against, by, ModelError)
    draws = draws_of(draws, ModelError)
    seed = seed_of(seed, ModelError)
    if enough is not None:
        enough = count(enough, "enough", ModelError, "give a number of layouts, for example enough=20")
    named, block = _blocks(fit, fitted, blocks)
    # Draws of its own for each comparison: where one stops tells nothing of another.
    seeds = np.random.SeedSequence(seed).spawn(len(levels))
    lines = []
    checks: list[str] = []
    if fit.working == "plot correlation" and fitted.data.weight is not None:
        checks.append(
            "plots keep the weights that were estimated under the layout as it was, so that the p-values are "
            "close, not exact"
        )

    def one(level: Any) -> tuple[dict[str, Any], list[str]]:
        rng = np.random.default_rng(seeds[levels.index(level)])
        pair = levels.index(level), levels.index(base)
        if statistic == "score":
            return _by_score(dealt, block, pair, draws, rng), []
        return _by_t(dealt, block, pair, draws, enough, rng)

    others = [level for level in levels if level != base]
    for level, (line, said) in zip(others, side_by_side(one, others), strict=True):
        lines.append({by: level, "against": base, **line})
        checks += [f"{level}: {text}" for text in said]
    table = pd.DataFrame(lines)
    table[by] = pd.Series([line[by] for line in lines], dtype=fit.data[by].dtype)
    table["against"] = pd.Series([base] * len(lines), dtype=fit.data[by].dtype)
    table.insert(4, "p_adjusted", holm(table["p_value"].to_numpy(dtype=float)))
    return PermutationTest(by, named, table, seed, tuple(checks))


@dataclass(frozen=True)
class _Dealt:
    """A fit whose levels can be dealt to plots anew; ``level`` is that of each plot, shape (G,)."""

    fitted: Arranged
    levels: Levels
    level: Codes

    def t(self, level: Codes, contrast: Floats, start: Solution) -> float:
        """CR2 t of a contrast of the columns under a layout; infinite, signed, where the estimate is."""
        fitted = self.fitted
        columns = self.levels.columns[level[fitted.codes], self.levels.kind]
        data: Rows = replace(fitted.data, columns=columns)
        try:
            solution = solve(data, start.parameters, converged=_CLOSE)
            if _far(solution, data):
                solution = solve(data, solution.parameters)
        except ModelError:  # as a divergent layout: counted as extreme, which never makes p smaller
            return inf
        if solution.divergent is not None:
            return inf
        weights = np.zeros((1, len(solution.parameters)))
        weights[0, len(solution.parameters) - len(contrast) :] = contrast
        covariance = covariance_by(fitted.codes, fitted.clusters, data, solution, "CR2")
        variance = float(covariance.covariance_of(weights)[0, 0])
        return float(weights[0] @ solution.parameters / np.sqrt(variance)) if variance > 0 else inf

    def scores(self, first: int, second: int) -> Floats:
        """Score of each plot's log hazard were two levels one, shape (G,): about deaths less expected."""
        fitted, levels = self.fitted, self.levels
        of_row = np.where(self.level == first, second, self.level)[fitted.codes], levels.kind
        columns = levels.columns[of_row]
        # The columns of the two as one: one less, since what told them apart is zero in every row.
        values, vectors = np.linalg.eigh(columns.T @ columns)
        told = vectors[:, values > _EQUAL * max(values[-1], 1.0)]
        data: Rows = replace(fitted.data, columns=(levels.columns @ told)[of_row], names=())
        solution = solve(data)
        if solution.divergent is not None:
            raise ModelError("the model has no finite estimate were the two one")
        return sum_by(fitted.codes, solution.score * solution.hazard, fitted.clusters)


def _far(found: Solution, data: Rows) -> bool:
    return bool(max(np.ptp(data.columns @ found.beta), np.ptp(np.append(found.alpha, 0.0))) > _FAR)


def _dealt(fit: Fit, fitted: Arranged, by: str) -> _Dealt:
    levels = levels_in(fit, fitted, by)
    codes, clusters = fitted.codes, fitted.clusters
    level = np.empty(clusters, dtype=np.intp)
    level[codes] = levels.own
    if not np.array_equal(level[codes], levels.own):
        raise ModelError(
            f"{by} differs within a cluster ({', '.join(fit.cluster)}), so it was not given to whole ones",
            where=f"by={by!r}",
            mend='fit with cluster="plot", and test only what whole plots were given',
        )
    return _Dealt(fitted, levels, level)


def _blocks(fit: Fit, fitted: Arranged, blocks: str | Sequence[str] | None) -> tuple[tuple[str, ...], Codes]:
    """Columns of the blocks, and the block of each plot."""
    asked = list(fit.strata) if blocks is None else blocks
    if not isinstance(asked, str):
        asked = several(asked, "blocks", ModelError, "name a column of blocks, or several")
    if not asked:
        return (), np.zeros(fitted.clusters, dtype=np.intp)
    names = columns_named(fit.data, asked, "blocks")
    refuse_blank_places(fit.data, ModelError, names)
    codes = group_codes(fit.data, names)[0]
    of_plot = np.full(len(fitted.design.cluster_levels), -1, dtype=np.intp)
    of_plot[fitted.cluster_codes] = codes
    if not np.array_equal(of_plot[fitted.cluster_codes], codes):
        raise ModelError(
            f"a plot lies in two blocks ({', '.join(names)})",
            where="blocks",
            mend="name blocks of whole plots",
        )
    block = np.empty(fitted.clusters, dtype=np.intp)
    block[fitted.codes] = codes[fitted.rows]
    return tuple(names), block


@dataclass(frozen=True)
class _Shares:
    """Where two levels can be shared out anew: plots of either in each block that holds both.

    ``mirrored`` where every block holds as many of one as of the other: a layout and
    its mirror image then have the same t but for its sign.
    """

    plots: tuple[Codes, ...]
    firsts: tuple[int, ...]

    @property
    def layouts(self) -> int:
        """Number of layouts."""
        number = 1
        for plots, first in zip(self.plots, self.firsts, strict=True):
            number *= comb(len(plots), first)
        return number

    @property
    def mirrored(self) -> bool:
        """Whether exchanging the two names gives another layout of the same lot."""
        return all(len(p) == 2 * first for p, first in zip(self.plots, self.firsts, strict=True))

    def every(self) -> Iterator[list[Codes]]:
        """Go through the layouts: plots of the first level in each block; of mirror images only one."""
        ways = [
            [plots[list(chosen)] for chosen in combinations(range(len(plots)), first)]
            for plots, first in zip(self.plots, self.firsts, strict=True)
        ]
        if self.mirrored:  # the first plot of the first block keeps the first name
            ways[0] = ways[0][: len(ways[0]) // 2]
        return (list(way) for way in product(*ways))

    def drawn(self, rng: np.random.Generator) -> list[Codes]:
        """Draw the plots of the first level in each block at random."""
        return [rng.permutation(plots)[:first] for plots, first in zip(self.plots, self.firsts, strict=True)]


def _shares(level: Codes, block: Codes, pair: tuple[int, int]) -> _Shares:
    first, second = pair
    plots, firsts = [], []
    for one in np.unique(block):
        here = np.flatnonzero((block == one) & np.isin(level, (first, second)))
        count = int((level[here] == first).sum())
        if 0 < count < len(here):
            plots.append(here.astype(np.intp))
            firsts.append(count)
    return _Shares(tuple(plots), tuple(firsts))


def _untested(shares: _Shares, exact: bool) -> dict[str, Any]:
    """Line of the table before any layout is tried."""
    return {
        "statistic": np.nan,
        "p_value": np.nan,
        "smallest_p": np.nan,
        "layouts": float(shares.layouts),
        "tried": 0,
        "how": EVERY if exact else DRAWN,
        "n_plots": sum(map(len, shares.plots)),
        "n_blocks": len(shares.plots),
        "reason": "" if shares.plots else "no block holds both, so no other layout was possible",
    }


def _by_score(
    dealt: _Dealt, block: Codes, pair: tuple[int, int], draws: int, rng: np.random.Generator
) -> dict[str, Any]:
    """Test one level against another by the scores of their plots; the line of the table."""
    first, second = pair
    shares = _shares(dealt.level, block, pair)
    count = shares.layouts
    exact = count <= max(MOST_EXACT, 2 * draws)
    line = _untested(shares, exact)
    if not shares.plots:
        return line
    try:
        scores = dealt.scores(first, second)
    except ModelError as fault:
        return line | {"reason": fault.what}
    # Less what random allocation gives on average, so that a sum lies about zero.
    usual = [scores[plots].mean() for plots in shares.plots]
    centred = [scores[plots] - mean for plots, mean in zip(shares.plots, usual, strict=True)]
    own = [part[dealt.level[plots] == first] for part, plots in zip(centred, shares.plots, strict=True)]
    observed = float(sum(part.sum() for part in own))
    if exact:
        sums = np.zeros(1)
        for part, number in zip(centred, shares.firsts, strict=True):
            ways = np.array([part[list(chosen)].sum() for chosen in combinations(range(len(part)), number)])
            sums = (sums[:, None] + ways).ravel()
    else:
        sums = _drawn_sums(centred, shares.firsts, draws, rng)
    extreme = int((np.abs(sums) >= abs(observed) * (1 - _EQUAL)).sum())
    least = (2 if shares.mirrored else 1) / count
    return line | {
        "statistic": observed,
        "p_value": extreme / count if exact else (extreme + 1) / (draws + 1),
        "smallest_p": least if exact else max(least, 1 / (draws + 1)),
        "tried": len(sums),
    }


def _drawn_sums(
    parts: Sequence[Floats], firsts: Sequence[int], draws: int, rng: np.random.Generator
) -> Floats:
    """Sum the scores of the plots that get the first name under layouts drawn at random, shape (draws,)."""
    sums = np.zeros(draws)
    for part, first in zip(parts, firsts, strict=True):
        step = max(_AT_ONCE // len(part), 1)
        for begin in range(0, draws, step):
            here = sums[begin : begin + step]
            here += rng.permuted(np.tile(part, (len(here), 1)), axis=1)[:, :first].sum(axis=1)
    return sums


def _by_t(
    dealt: _Dealt,
    block: Codes,
    pair: tuple[int, int],
    draws: int,
    enough: int | None,
    rng: np.random.Generator,
) -> tuple[dict[str, Any], list[str]]:
    """Test one level against another by the t of their difference; the line of the table, and what to say."""
    first, second = pair
    shares = _shares(dealt.level, block, pair)
    count = shares.layouts
    contrast = dealt.levels.effects[first] - dealt.levels.effects[second]
    observed = dealt.t(dealt.level, contrast, dealt.fitted.solution)
    # Were the two alike: nearer to what re-randomised allocations give.
    beta = dealt.fitted.solution.beta
    start = replace(dealt.fitted.solution, beta=beta - contrast * (contrast @ beta) / (contrast @ contrast))
    exact = count <= 2 * draws
    line = _untested(shares, exact) | {"statistic": observed}
    if not shares.plots:
        return line, []
    if not np.isfinite(observed):
        return line | {"reason": "one plot alone decides the difference, so it has no t"}, []
    layouts = shares.every() if exact else (shares.drawn(rng) for _ in range(draws))
    both = np.concatenate(shares.plots)
    tried = extreme = lost = 0
    for chosen in layouts:
        if tried % _TOLD_EVERY == 0:
            tell(f"layout {tried:,} of {count if exact else draws:,}")
        level = dealt.level.copy()
        level[both] = second
        level[np.concatenate(chosen)] = first
        value = abs(dealt.t(level, contrast, start))
        tried += 1
        extreme += value >= abs(observed) * (1 - _SAME)
        lost += np.isinf(value)
        if not exact and enough is not None and extreme >= enough:
            break
    least = (2 if shares.mirrored else 1) / count
    stopped = enough is not None and extreme >= enough
    p_value = extreme / tried if exact or stopped else (extreme + 1) / (tried + 1)
    sentences = []
    if lost:
        sentences.append(
            f"{lost} of {tried} layouts have no finite difference and are counted as the furthest from 0"
        )
    smallest = least if exact else max(least, 1 / (draws + 1))
    return line | {"p_value": p_value, "smallest_p": smallest, "tried": tried}, sentences
