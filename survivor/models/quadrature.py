"""Integrals over nested normal effects: Laplace and adaptive Gauss-Hermite, with gradients.

A row's predictor is shifted by one effect of each level that it lies in, for example
its site's and its plot's, each ``sd * v`` with v standard normal. Levels are nested
and given from the outermost in; the likelihood of an outermost group, a root, is

    L = integral prod_rows exp(f(eta + sum_l sd_l v_l)) prod phi(v) dv.

A group's effect is integrated with Q nodes placed at the mode of its effect, taken
jointly with the effects inside it, and spread by the curvature there:

    log L = -1/2 log kappa + log sum_q w_q exp(h(v + z_q / sqrt(kappa)) + z_q^2 / 2),

with (z_q, w_q) the Gauss-Hermite rule of the standard normal, ``h`` the log of the
integrand (for an outer level: with the inner integrals done in the same way, at
nodes of their own for each outer node) and ``kappa`` the curvature of ``h`` in this
effect after those inside it have followed. One node on every level is Laplace's
approximation of the joint integral. The gradient is that of this sum itself: it goes
through mode and curvature, so the maximum found is the maximum of what is computed.

All groups are worked on at once; nothing loops over groups.

Sources: Pinheiro and Bates (1995), Journal of Computational and Graphical Statistics
4, 12-35; Pinheiro and Chao (2006), the same journal 15, 58-81 (nested levels; here the
inner nodes are placed anew at each outer node).

Log-likelihood of one row of counts in its linear predictor, with three derivatives.

``hazard``: the predictor is the log cumulative hazard of the row, and ``died`` of
``at_risk`` have died with probability 1 - exp(-H). ``logit``: the predictor is the
log odds, and ``died`` stands for whatever is counted. The binomial constant is left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

import numpy as np
from scipy.special import expit

from survivor.arrays import Codes, Floats
from survivor.errors import ModelError

Link = Literal["hazard", "logit"]

_LARGEST = 700.0  # exp() of more overflows
_REACH = 60.0  # predictors beyond this are as good as infinite


@dataclass(frozen=True)
class Counts:
    """Counts of rows, shape (n,), and what their predictor is."""

    at_risk: Floats
    died: Floats
    link: Link

    def value(self, predictor: Floats) -> tuple[Floats, Floats]:
        """Log-likelihood of each row and its first derivative."""
        if self.link == "logit":
            value = self.died * predictor - self.at_risk * np.logaddexp(0.0, predictor)
            return value, self.died - self.at_risk * expit(predictor)
        hazard = np.exp(np.clip(predictor, -_REACH, _REACH))
        bounded = np.minimum(hazard, _LARGEST)
        grown = np.expm1(bounded)  # log(1 - exp(-H)) = log(exp(H) - 1) - H
        alive = (self.at_risk - self.died) * hazard
        value = self.died * (np.log(grown) - bounded) - alive
        return value, self.died * (hazard / grown) - alive

    def slopes(self, predictor: Floats) -> tuple[Floats, Floats, Floats]:
        """First three derivatives of each row; the second is never positive."""
        if self.link == "logit":
            share = expit(predictor)
            spread = self.at_risk * share * (1 - share)
            return self.died - self.at_risk * share, -spread, -spread * (1 - 2 * share)
        hazard = np.exp(np.clip(predictor, -_REACH, _REACH))
        first = hazard / np.expm1(np.minimum(hazard, _LARGEST))
        rest = 1 - hazard - first
        second = first * rest
        third = second * rest - first * (hazard + second)
        alive = (self.at_risk - self.died) * hazard
        return self.died * first - alive, self.died * second - alive, self.died * third - alive


Nodes = tuple[Floats, Floats]

_STEPS = 100
_SETTLED = 1e-6  # the next Newton step is then of the order of its square
_LONGEST = 2.0  # longest step of a predictor: the log-likelihood is concave, not quadratic


def hermite(points: int) -> Nodes:
    """Nodes and log weights of the Gauss-Hermite rule of the standard normal."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(points)
    return nodes, np.log(weights / weights.sum())


@dataclass(frozen=True)
class Tree:
    """Nested groups of rows; groups, and their rows, stand in order.

    Attributes
    ----------
    starts
        For each level from the outermost: where each group starts among the groups
        of the next level, for the innermost level among the rows.
    rows
        Number of rows.
    """

    starts: tuple[Codes, ...]
    rows: int
    row_starts: tuple[Codes, ...] = field(init=False, repr=False)
    row_counts: tuple[Codes, ...] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        """Work out where the rows of each group start."""
        row_starts: list[Codes] = []
        for starts in reversed(self.starts):
            row_starts.insert(0, row_starts[0][starts] if row_starts else starts)
        object.__setattr__(self, "row_starts", tuple(row_starts))
        counts = tuple(np.diff(starts, append=self.rows) for starts in row_starts)
        object.__setattr__(self, "row_counts", counts)

    @property
    def depth(self) -> int:
        """Number of levels."""
        return len(self.starts)

    @cached_property
    def inner(self) -> Tree:
        """The levels inside the outermost."""
        return Tree(self.starts[1:], self.rows)

    def gather(self, level: int, of_children: Floats) -> Floats:
        """Sum over the groups (or rows) next inside each group of a level."""
        return np.add.reduceat(of_children, self.starts[level], axis=0)

    def from_rows(self, level: int, values: Floats) -> Floats:
        """Sum rows by the groups of a level."""
        return np.add.reduceat(values, self.row_starts[level], axis=0)

    def to_rows(self, level: int, values: Floats) -> Floats:
        """Each row's value of its group."""
        return np.repeat(values, self.row_counts[level], axis=0)

    def to_roots(self, level: int, values: Floats) -> Floats:
        """Sum groups of a level by outermost group."""
        for outer in range(level - 1, -1, -1):
            values = self.gather(outer, values)
        return values

    def children(self, level: int, values: Floats) -> Floats:
        """Each group's value given to the groups next inside it."""
        total = self.rows if level == self.depth - 1 else len(self.starts[level + 1])
        return np.repeat(values, np.diff(self.starts[level], append=total), axis=0)


@dataclass(frozen=True)
class Curvature:
    """Minus the second derivative in all effects, taken apart from the inside out.

    ``weight[l]`` is the curvature of each group in a shift of its predictor once the
    effects inside it have followed, ``own[l]`` that of its own effect, 1 + sd^2 weight.
    """

    tree: Tree
    sd: Floats
    weight: tuple[Floats, ...]
    own: tuple[Floats, ...]

    @property
    def followed(self) -> tuple[Floats, ...]:
        """Curvature of each group in a shift from outside, its own effect following too."""
        return tuple(weight / own for weight, own in zip(self.weight, self.own, strict=True))

    def solve(self, right: Sequence[Floats]) -> tuple[list[Floats], Floats]:
        """Solve curvature times effects = ``right``; also the shift of each row that they make."""
        tree, sd = self.tree, self.sd
        carried: list[Floats] = [np.empty(0)] * tree.depth
        message = np.zeros(0)
        for level in range(tree.depth - 1, -1, -1):
            inside = np.zeros(len(right[level])) if level == tree.depth - 1 else tree.gather(level, message)
            carried[level] = inside
            message = (sd[level] * self.weight[level] * right[level] + inside) / self.own[level]
        shift = np.zeros(len(right[0]))
        effects: list[Floats] = []
        for level in range(tree.depth):
            pull = sd[level] * (carried[level] + self.weight[level] * shift)
            effect = (right[level] - pull) / self.own[level]
            effects.append(effect)
            shift = tree.children(level, shift + sd[level] * effect)
        return effects, shift


def curvature(tree: Tree, sd: Floats, row_weight: Floats) -> Curvature:
    """Take the curvature apart; ``row_weight`` is minus the second derivative of each row."""
    weight: list[Floats] = []
    own: list[Floats] = []
    inside = row_weight
    for level in range(tree.depth - 1, -1, -1):
        summed = tree.gather(level, inside)
        weight.insert(0, summed)
        own.insert(0, 1 + sd[level] ** 2 * summed)
        inside = weight[0] / own[0]
    return Curvature(tree, sd, tuple(weight), tuple(own))


@dataclass(frozen=True)
class Peak:
    """Joint mode of the effects: ``modes[l]``, with the rows' derivatives and the curvature there."""

    modes: tuple[Floats, ...]
    slopes: tuple[Floats, Floats, Floats]
    curvature: Curvature


def peak(counts: Counts, predictor: Floats, sd: Floats, tree: Tree, start: Sequence[Floats] | None) -> Peak:
    """Find the joint mode by Newton steps, from ``start`` where given.

    Raises
    ------
    ModelError
        When a mode is not found, which concave log-likelihoods of finite rows do not give.
    """
    modes = [np.zeros(len(starts)) for starts in tree.starts] if start is None else list(start)
    for _ in range(_STEPS):
        slopes = counts.slopes(_shifted(predictor, modes, sd, tree))
        curved = curvature(tree, sd, -slopes[1])
        summed = _sums(tree, slopes[0])
        steps, shift = curved.solve([s * total - v for s, total, v in zip(sd, summed, modes, strict=True)])
        # Bounded as a whole for each root, so that the direction stays one of ascent.
        furthest = np.maximum.reduceat(np.abs(shift), tree.row_starts[0])
        size = _LONGEST / np.maximum(furthest, _LONGEST)
        longest = 0.0
        for level, step in enumerate(steps):
            longest = max(longest, float(np.abs(step).max(initial=0.0)))
            modes[level] = modes[level] + _by_group(tree, level, size) * step
        if longest < _SETTLED:
            break
    else:
        raise ModelError(
            "the modes of the random effects were not found",
            where="mixed model",
            mend="look for impossible counts, or leave out a term or an effect",
        )
    slopes = counts.slopes(_shifted(predictor, modes, sd, tree))
    return Peak(tuple(modes), slopes, curvature(tree, sd, -slopes[1]))


def _shifted(predictor: Floats, modes: Sequence[Floats], sd: Floats, tree: Tree) -> Floats:
    for level, mode in enumerate(modes):
        predictor = predictor + tree.to_rows(level, sd[level] * mode)
    return predictor


def _sums(tree: Tree, rows: Floats) -> list[Floats]:
    sums = [tree.gather(tree.depth - 1, rows)]
    for level in range(tree.depth - 2, -1, -1):
        sums.insert(0, tree.gather(level, sums[0]))
    return sums


def _by_group(tree: Tree, level: int, of_roots: Floats) -> Floats:
    for outer in range(level):
        of_roots = tree.children(outer, of_roots)
    return of_roots


@dataclass(frozen=True)
class Integral:
    """Log integral of each root and its derivatives.

    Attributes
    ----------
    value
        Shape (roots,); without levels each row is a root and nothing is integrated.
    rows
        Derivative of the row's root in the row's predictor, shape (n,).
    sd
        Derivative in the standard deviation of each level, shape (roots, levels).
    peak
        Joint modes of the effects, to start from next time; None without levels.
    """

    value: Floats
    rows: Floats
    sd: Floats
    peak: Peak | None


def integrate(
    counts: Counts,
    predictor: Floats,
    sd: Floats,
    tree: Tree,
    nodes: Sequence[Nodes],
    start: Sequence[Floats] | None = None,
) -> Integral:
    """Integrate rows over their effects.

    Parameters
    ----------
    counts, predictor
        Rows, in the order of the tree, and their predictor without effects.
    sd
        Standard deviation of each level, outermost first; 0 leaves a level out.
    tree
        Groups.
    nodes
        Gauss-Hermite rule of each level; see ``hermite``.
    start
        Modes to start from.
    """
    if not tree.depth:
        value, first = counts.value(predictor)
        return Integral(value, first, np.empty((len(value), 0)), None)
    at = peak(counts, predictor, sd, tree, start)
    mode, own = at.modes[0], at.curvature.own[0]
    spread = 1 / np.sqrt(own)
    inner = tree.inner
    places, parts, heights = [], [], []
    for z, log_weight in zip(*nodes[0], strict=True):
        place = mode + z * spread
        shifted = predictor + tree.to_rows(0, sd[0] * place)
        part = integrate(counts, shifted, sd[1:], inner, nodes[1:], at.modes[1:])
        places.append(place)
        parts.append(part)
        heights.append(tree.gather(0, part.value) - place**2 / 2 + z**2 / 2 + log_weight)
    top = np.max(heights, axis=0)
    shares = np.exp(np.array(heights) - top)
    total = shares.sum(axis=0)
    shares /= total
    rows = np.zeros(len(predictor))
    sd_slope = np.zeros((len(mode), tree.depth))
    on_mode, on_spread = np.zeros(len(mode)), np.zeros(len(mode))
    for z, place, share, part in zip(nodes[0][0], places, shares, parts, strict=True):
        rows += tree.to_rows(0, share) * part.rows
        pull = tree.from_rows(0, part.rows)
        sd_slope[:, 0] += share * place * pull
        sd_slope[:, 1:] += share[:, None] * tree.gather(0, part.sd) if tree.depth > 1 else 0.0
        on_mode += share * (sd[0] * pull - place)
        on_spread += share * z * (sd[0] * pull - place)
    # spread = own^(-1/2), and -1/2 log(own) stands before the sum.
    on_own = -(on_spread * spread + 1) / (2 * own)
    more_rows, more_sd = _through_peak(at, sd, tree, on_mode, on_own)
    return Integral(np.log(total) + top - np.log(own) / 2, rows + more_rows, sd_slope + more_sd, at)


def _through_peak(at: Peak, sd: Floats, tree: Tree, on_mode: Floats, on_own: Floats) -> tuple[Floats, Floats]:
    """Give the derivatives that go through the root's mode and the curvature of its effect."""
    first, second, third = at.slopes
    curved = at.curvature
    sd_slope = np.zeros((len(on_mode), tree.depth))
    sd_slope[:, 0] = on_own * 2 * sd[0] * curved.weight[0]
    # Down the tree: how much the root's weight changes with that of a group inside it.
    passed: Floats = on_own * sd[0] ** 2
    for level in range(1, tree.depth):
        passed = tree.children(level - 1, passed)
        change = -2 * sd[level] * curved.followed[level] ** 2 * passed
        sd_slope[:, level] += tree.to_roots(level, change)
        passed = passed / curved.own[level] ** 2
    on_rows = -tree.to_rows(tree.depth - 1, passed) * third
    right = [s * total for s, total in zip(sd, _sums(tree, on_rows), strict=True)]
    right[0] = right[0] + on_mode
    adjoint, shift = curved.solve(right)
    on_rows = on_rows + shift * second
    pulls, sums = _sums(tree, first), _sums(tree, on_rows)
    for level in range(tree.depth):
        own_part = at.modes[level] * sums[level] + adjoint[level] * pulls[level]
        sd_slope[:, level] += tree.to_roots(level, own_part)
    return on_rows, sd_slope
