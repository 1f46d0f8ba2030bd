"""Permutation tests of preparations that were dealt to plots by lot within blocks.

If two preparations do the same, it was the lot alone that decided which of their
plots is called by which name: with the other preparations left where they are,
every way of sharing out the two names within the blocks was as likely as the one
that came about. The grouped model is fitted again under these, and p is the share
of layouts whose t (the difference on the log hazard over its CR2 standard error)
is at least as far from nought as that of the records. This holds exactly, whatever
the number of plots, and whatever the other preparations do.

Sources: Fisher (1935), The Design of Experiments, section 21; Phipson and Smyth
(2010), Statistical Applications in Genetics and Molecular Biology 9, 39, for
(b + 1)/(m + 1) with layouts drawn at random.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, product
from math import comb, inf
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.abreast import side_by_side
from survivor.errors import IntervalsError, ModelError
from survivor.intervals import cluster_columns, group_codes
from survivor.models.clusters import Codes, Floats
from survivor.models.grouped import Arranged, arranged, covariance_by
from survivor.models.levels import Levels, levels_in
from survivor.models.likelihood import Rows, Solution, solve
from survivor.models.multiplicity import holm
from survivor.models.result import Fit

EVERY: Final = "every layout"
DRAWN: Final = "layouts drawn at random"

# Squared length of the last step of a refit, in units of standard errors: a step of Newton's,
# which leaves an error of about its square.
_CLOSE = 1e-6
_FAR = 6.0  # log hazards this far apart may be on their way to infinity
_SAME = 1e-4  # a t this much nearer to nought is as far from it, to what a refit settles


@dataclass(frozen=True, repr=False)
class PermutationTest:
    """Permutation p of each level against one.

    Attributes
    ----------
    by
        Column whose levels were dealt to plots.
    blocks
        Columns within which they were dealt.
    table
        ``<by>, against, statistic`` (the records' CR2 t, difference on the log hazard),
        ``p_value, p_adjusted`` (Holm), ``smallest_p`` (the least p that this layout, or
        the number of draws, could give), ``layouts`` (ways of sharing out the two names),
        ``tried, how`` (``every layout`` or ``layouts drawn at random``), ``n_plots,
        n_blocks`` (with both levels), ``reason`` where there is no p.
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

    def __repr__(self) -> str:
        return self.table.to_string(index=False)

    def _repr_html_(self) -> str:
        return str(self.table.to_html(index=False))


def permutation_test(
    fit: Fit,
    by: str = "method",
    *,
    blocks: str | Sequence[str] | None = None,
    against: Any = None,
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
        Column of levels that were given to whole plots by lot.
    blocks
        Column(s) within which the lot was drawn; None: the strata of the fit.
    against
        Level to compare with; None: the first.
    draws
        Layouts drawn where there are more than twice as many; else every one is tried.
    enough
        Of drawn layouts, stop once so many give as large a difference: p is then their share of
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
    """
    if fit.variance != "CR2":
        raise ModelError(
            f"limits of this fit are by {fit.variance}, not CR2", where="fit", mend='fit with cluster="plot"'
        )
    fitted = arranged(fit)
    dealt = _dealt(fit, fitted, by)
    levels = list(dealt.levels.names)
    base = levels[0] if against is None else against
    if base not in levels:
        raise ModelError(
            f"{against!r} is not a level of {by}",
            where="against",
            mend=f"levels in the records: {', '.join(map(str, levels))}",
        )
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
        return _one(dealt, block, levels.index(level), levels.index(base), draws, enough, rng)

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
        left_out = self.fitted.left_out
        rows = np.arange(len(left_out.codes))
        data: Rows = replace(left_out.data, columns=self.levels.columns[level[left_out.codes], rows])
        try:
            found = solve(data, start=start, converged=_CLOSE)
            if _far(found, data):
                found = solve(data, start=found)
        except ModelError:
            return inf
        if found.runaway is not None:
            return inf
        weights = np.zeros((1, len(found.parameters)))
        weights[0, len(found.parameters) - len(contrast) :] = contrast
        covariance = covariance_by(left_out.codes, left_out.clusters, data, found, "CR2")
        variance = float(covariance.covariance_of(weights)[0, 0])
        return float(weights[0] @ found.parameters / np.sqrt(variance)) if variance > 0 else inf


def _far(found: Solution, data: Rows) -> bool:
    return bool(max(np.ptp(data.columns @ found.beta), np.ptp(np.append(found.alpha, 0.0))) > _FAR)


def _dealt(fit: Fit, fitted: Arranged, by: str) -> _Dealt:
    levels = levels_in(fit, fitted, by)
    codes, clusters = fitted.left_out.codes, fitted.left_out.clusters
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
    if not asked:
        return (), np.zeros(fitted.left_out.clusters, dtype=np.intp)
    try:
        names = cluster_columns(fit.data, asked)
    except IntervalsError as problem:
        raise ModelError(
            problem.what.replace("to tell clusters apart", "to use as blocks"),
            where=f"blocks={blocks!r}",
            mend="name columns of the table, or blocks=None",
        ) from problem
    codes = group_codes(fit.data, names)[0]
    of_plot = np.full(len(fitted.design.cluster_levels), -1, dtype=np.intp)
    of_plot[fitted.cluster_codes] = codes
    if not np.array_equal(of_plot[fitted.cluster_codes], codes):
        raise ModelError(
            f"a plot lies in two blocks ({', '.join(names)})",
            where="blocks",
            mend="name blocks of whole plots",
        )
    block = np.empty(fitted.left_out.clusters, dtype=np.intp)
    block[fitted.left_out.codes] = codes[fitted.rows]
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
        found = 1
        for plots, first in zip(self.plots, self.firsts, strict=True):
            found *= comb(len(plots), first)
        return found

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
        """Draw the plots of the first level in each block by lot."""
        return [rng.permutation(plots)[:first] for plots, first in zip(self.plots, self.firsts, strict=True)]


def _shares(level: Codes, block: Codes, first: int, second: int) -> _Shares:
    plots, firsts = [], []
    for one in np.unique(block):
        here = np.flatnonzero((block == one) & np.isin(level, (first, second)))
        count = int((level[here] == first).sum())
        if 0 < count < len(here):
            plots.append(here.astype(np.intp))
            firsts.append(count)
    return _Shares(tuple(plots), tuple(firsts))


def _one(
    dealt: _Dealt,
    block: Codes,
    first: int,
    second: int,
    draws: int,
    enough: int | None,
    rng: np.random.Generator,
) -> tuple[dict[str, Any], list[str]]:
    """Test one level against another; the line of the table, and what to say."""
    shares = _shares(dealt.level, block, first, second)
    count = shares.layouts
    contrast = dealt.levels.effects[first] - dealt.levels.effects[second]
    observed = dealt.t(dealt.level, contrast, dealt.fitted.solution)
    # Were the two alike: nearer to what other layouts give.
    beta = dealt.fitted.solution.beta
    start = replace(dealt.fitted.solution, beta=beta - contrast * (contrast @ beta) / (contrast @ contrast))
    exact = count <= 2 * draws
    line: dict[str, Any] = {
        "statistic": observed,
        "p_value": np.nan,
        "smallest_p": np.nan,
        "layouts": float(count),
        "tried": 0,
        "how": EVERY if exact else DRAWN,
        "n_plots": sum(map(len, shares.plots)),
        "n_blocks": len(shares.plots),
        "reason": "",
    }
    if not shares.plots:
        return line | {"reason": "no block holds both, so no other layout was possible"}, []
    if not np.isfinite(observed):
        return line | {"reason": "one plot alone decides the difference, so it has no t"}, []
    layouts = shares.every() if exact else (shares.drawn(rng) for _ in range(draws))
    pair = np.concatenate(shares.plots)
    tried = extreme = lost = 0
    for chosen in layouts:
        level = dealt.level.copy()
        level[pair] = second
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
    said = []
    if lost:
        said.append(
            f"{lost} of {tried} layouts have no finite difference and are counted as the furthest from nought"
        )
    smallest = least if exact else max(least, 1 / (draws + 1))
    return line | {"p_value": p_value, "smallest_p": smallest, "tried": tried}, said
