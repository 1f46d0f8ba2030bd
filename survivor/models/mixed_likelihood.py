"""Marginal log-likelihood of a model with nested normal effects, and its derivatives.

Parameters are the strata levels, the common parameters (log ratios of the later
baseline pieces to the first, then coefficients) and the standard deviation of each
level of effects. Where every outermost group lies in one stratum the strata levels
are a border of the information: a stratum level meets itself and the common
parameters only, so that cost grows with rows and not with the square of the strata.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from survivor.arrays import Codes, Floats
from survivor.intervals import log_ways, row_codes, sum_by
from survivor.models.clusters import Bread, bread_of
from survivor.models.likelihood import Rows, piece_means
from survivor.models.quadrature import Counts, Integral, Nodes, Peak, Tree, integrate
from survivor.models.separation import range_within

_BLOCK_ROWS = 30_000  # rows worked on at once: few enough to stay in a processor's cache
_REACH = 60.0
_DIFFERENCE = 1e-4  # step of the differences of the gradient, on the scale of the log hazard


@dataclass(frozen=True)
class MixedRows(Rows):
    """Rows of a mixed model: ``groups`` codes of the nested groups, outermost first, shape (n, L).

    An inner code belongs to one outer code.
    """

    groups: Codes = field(kw_only=True)

    def joined(self) -> MixedRows:
        """Join rows alike in all that the likelihood reads: it does not change.

        Rows that lie within pieces without a hazard say nothing and are left out.
        """
        tells = np.flatnonzero(self.lengths.any(axis=1))
        rows = self.pick(tells, self.stratum[tells])
        key, first = row_codes(
            [*rows.groups.T, rows.stratum, *rows.columns.T, *rows.lengths.T], in_order=False
        )
        at_risk, died = sum_by(key, rows.at_risk), sum_by(key, rows.died)
        return replace(rows.pick(first, rows.stratum[first]), at_risk=at_risk, died=died)


@dataclass(frozen=True)
class Parameters:
    """Strata levels (S,), or (0,) where they stand among the common ones; common (c,); sd (L,)."""

    level: Floats
    common: Floats
    sd: Floats

    def moved(self, level: Floats, common: Floats, sd: Floats) -> Parameters:
        """Add a step."""
        return Parameters(self.level + level, self.common + common, self.sd + sd)


@dataclass(frozen=True)
class Evaluation:
    """Log-likelihood without constant, its gradient in parts, and the peaks of each block."""

    value: float
    level: Floats
    common: Floats
    sd: Floats
    peaks: tuple[Peak, ...]


@dataclass(frozen=True)
class Information:
    """Information with a border: levels (S,), level by common (S, q), common (q, q)."""

    level: Floats
    across: Floats
    common: Floats

    def inverse(self) -> Bread | None:
        """Invert; None where it is not positive."""
        if not (self.level > 0).all():
            return None
        schur = self.common - self.across.T @ (self.across / self.level[:, None])
        if len(schur) and np.linalg.eigvalsh(schur)[0] <= 0:
            return None
        return bread_of(self.level, self.across, self.common)


@dataclass(frozen=True)
class _Block:
    """Rows of whole outermost groups; rows of an innermost group alike in stratum and columns are a cell.

    ``columns`` and ``stratum`` of each cell, ``cells`` where each starts among the rows.
    """

    counts: Counts
    columns: Floats
    lengths: Floats
    stratum: Codes
    cells: Codes
    tree: Tree

    @cached_property
    def sizes(self) -> Codes:
        """Rows of each cell."""
        return np.diff(self.cells, append=self.tree.rows)

    @cached_property
    def groups(self) -> Codes:
        """Where each innermost group starts among the cells."""
        return np.searchsorted(self.cells, self.tree.row_starts[-1]).astype(np.intp)

    @cached_property
    def roots(self) -> Codes:
        """Stratum of each outermost group."""
        return self.stratum[np.searchsorted(self.cells, self.tree.row_starts[0])]

    def sums(self, rows: Floats) -> Floats:
        """Sum rows by cell."""
        return np.add.reduceat(rows, self.cells, axis=0)


@dataclass(frozen=True)
class Likelihood:
    """Rows in order, in blocks of whole outermost groups.

    ``border`` is the number of strata levels kept as a border (S), or 0 where strata
    cross the groups and their levels are columns of their own, before the others.
    """

    blocks: tuple[_Block, ...]
    border: int
    pieces: int
    scale: Floats  # reach of each common parameter on the log hazard
    middle: Floats  # means of the columns in each piece, (K, q)
    constant: float
    levels: int
    names: tuple[str, ...]  # of the columns
    strata: int

    def parameters(self, level: Floats, alpha: Floats, beta: Floats, sd: Floats) -> Parameters:
        """Put levels, pieces and coefficients where this likelihood has them."""
        if self.border:
            return Parameters(level, np.concatenate([alpha, beta]), sd)
        return Parameters(np.empty(0), np.concatenate([alpha, level, beta]), sd)

    def evaluate(
        self, at: Parameters, nodes: Sequence[Nodes], start: Sequence[Peak] | None = None
    ) -> Evaluation:
        """Value and gradient; ``start`` gives modes to start from."""
        value = 0.0
        level, common, sd = np.zeros(len(at.level)), np.zeros(len(at.common)), np.zeros(len(at.sd))
        peaks: list[Peak] = []
        for place, block in enumerate(self.blocks):
            predictor, total = self._predictor(block, at)
            modes = None if start is None else start[place].modes
            found: Integral = integrate(block.counts, predictor, at.sd, block.tree, nodes, modes)
            value += float(found.value.sum())
            of_cell, later = block.sums(found.rows), self._later(at)
            if self.border:
                level += sum_by(block.stratum, of_cell, self.border)
            common[: self.pieces - 1] += ((found.rows / total) @ block.lengths[:, 1:]) * later
            common[self.pieces - 1 :] += of_cell @ block.columns
            sd += found.sd.sum(axis=0)
            if found.peak is not None:
                peaks.append(found.peak)
        return Evaluation(value, level, common, sd, tuple(peaks))

    def _later(self, at: Parameters) -> Floats:
        """Ratios of the later pieces to the first, kept from overflow on a long trial step."""
        return np.exp(np.clip(at.common[: self.pieces - 1], -_REACH, _REACH))

    def _predictor(self, block: _Block, at: Parameters) -> tuple[Floats, Floats]:
        """Predictor without effects, and the length of each row weighted by the baseline."""
        total = block.lengths @ np.concatenate([[1.0], self._later(at)])
        of_cell = block.columns @ at.common[self.pieces - 1 :]
        if self.border:
            of_cell = of_cell + at.level[block.stratum]
        return np.log(total) + np.repeat(of_cell, block.sizes), total

    def scoring(self, at: Parameters, peaks: Sequence[Peak]) -> tuple[Bread, Floats]:
        """Approximate information at the modes: of levels and common parameters, and of variances.

        Rows are taken as normal with the curvature that they have at the modes, which
        gives the marginal information of the means, and the expected one of the
        variances (pairs of groups within a root left out).
        """
        size = len(at.common)
        level, across = np.zeros(self.border), np.zeros((self.border, size))
        common = np.zeros((size, size))
        variances = np.zeros((self.levels, self.levels))
        weight = self._later(at)
        for block, peak in zip(self.blocks, peaks, strict=True):
            _, total = self._predictor(block, at)
            roots, cross, own = _marginal(peak, block, block.lengths[:, 1:] * weight / total[:, None])
            common += own
            variances += _of_variances(peak)
            if self.border:
                level += sum_by(block.roots, roots, self.border)
                np.add.at(across, block.roots, cross)
        return bread_of(level, across, common), variances

    def information(
        self, at: Parameters, nodes: Sequence[Nodes], free: NDArray[np.bool_], peaks: Sequence[Peak]
    ) -> Information:
        """Find the observed information: minus central differences of the gradient.

        Strata meet only through the common parameters, so all levels are moved at once.
        Parameters are the levels, the common ones and the free standard deviations.
        """
        size, sds = len(at.common), np.flatnonzero(free)
        none = np.zeros(len(at.level)), np.zeros(size), np.zeros(len(at.sd))

        def slope(level: Floats, common: Floats, sd: Floats, step: float) -> tuple[Floats, Floats]:
            high, low = (
                self.evaluate(at.moved(sign * level, sign * common, sign * sd), nodes, peaks)
                for sign in (1.0, -1.0)
            )
            inner = np.concatenate([high.common - low.common, (high.sd - low.sd)[sds]])
            return -(high.level - low.level) / (2 * step), -inner / (2 * step)

        across = np.empty((self.border, size + len(sds)))
        common = np.empty((size + len(sds), size + len(sds)))
        for column in range(size):
            step = _DIFFERENCE / self.scale[column]
            move = none[1].copy()
            move[column] = step
            across[:, column], common[:, column] = slope(none[0], move, none[2], step)
        for place, column in enumerate(int(level) for level in sds):
            move = none[2].copy()
            move[column] = _DIFFERENCE
            across[:, size + place], common[:, size + place] = slope(none[0], none[1], move, _DIFFERENCE)
        level = np.empty(0)
        if self.border:
            level = slope(np.full(self.border, _DIFFERENCE), none[1], none[2], _DIFFERENCE)[0]
        return Information(level, across, (common + common.T) / 2)


def _marginal(peak: Peak, block: _Block, pieces: Floats) -> tuple[Floats, Floats, Floats]:
    """Information of a level shared by each root, of it with what follows, and of pieces and columns."""
    curved, tree = peak.curvature, peak.curvature.tree
    weight = -peak.slopes[1]
    weighted = weight[:, None] * pieces
    by_piece, by_column = block.sums(weighted), block.sums(weight)[:, None] * block.columns
    both = by_piece.T @ block.columns
    common = np.block([[pieces.T @ weighted, both], [both.T, block.columns.T @ by_column]])
    inside = np.hstack([by_piece, by_column])
    for level in range(tree.depth - 1, -1, -1):
        innermost = level == tree.depth - 1
        summed = np.add.reduceat(inside, block.groups if innermost else tree.starts[level], axis=0)
        inside = summed / curved.own[level][:, None]
        common -= curved.sd[level] ** 2 * (summed.T @ inside)
    return curved.followed[0], inside, common


def _of_variances(peak: Peak) -> Floats:
    curved, tree = peak.curvature, peak.curvature.tree
    found = np.zeros((tree.depth, tree.depth))
    outside: Floats = np.zeros(len(tree.starts[0]))  # variance of the shift from outer effects
    for level in range(tree.depth):
        precision = curved.followed[level]
        found[level, level] = np.sum((precision - precision**2 * outside) ** 2)
        reach = precision
        for outer in range(level - 1, -1, -1):
            reach = reach / _down(tree, outer, level, curved.own[outer])
            found[outer, level] = found[level, outer] = np.sum(reach**2)
        own = curved.own[level]
        outside = curved.sd[level] ** 2 / own + outside / own**2
        if level < tree.depth - 1:
            outside = tree.children(level, outside)
    return found / 2


def _down(tree: Tree, outer: int, level: int, values: Floats) -> Floats:
    for between in range(outer, level):
        values = tree.children(between, values)
    return values


def likelihood(rows: MixedRows) -> Likelihood:
    """Put rows in the order of their groups, and in blocks."""
    kind = row_codes([rows.stratum, *rows.columns.T], in_order=False)[0]
    order = np.lexsort((kind, *rows.groups.T[::-1]))
    groups, stratum = rows.groups[order], rows.stratum[order]
    *starts, cells = _starts(np.column_stack([groups, kind[order]]))
    roots = starts[0]
    bordered = bool(np.array_equal(np.repeat(stratum[roots], np.diff(roots, append=len(order))), stratum))
    columns = rows.columns[order]
    if not bordered:
        columns = np.hstack([(stratum[:, None] == np.arange(rows.strata)).astype(float), columns])
    reach = range_within(columns, stratum)
    reach = np.where(reach > 0, reach, 1.0)
    pieces = rows.lengths.shape[1]
    at_risk, died, lengths = rows.at_risk[order], rows.died[order], rows.lengths[order]
    blocks = []
    for low, high in _cuts(roots, len(order)):
        part = slice(low, high)
        *inside, own = (level[(level >= low) & (level < high)] - low for level in (*starts, cells))
        nested = [np.searchsorted(child, parent).astype(np.intp) for parent, child in pairwise(inside)]
        blocks.append(
            _Block(
                Counts(at_risk[part], died[part], rows.link),
                columns[own + low],
                lengths[part],
                stratum[own + low],
                own,
                Tree((*nested, inside[-1]), high - low),
            )
        )
    constant = log_ways(at_risk, died)
    scale = np.concatenate([np.ones(pieces - 1), reach])
    middle, border = piece_means(columns, lengths, at_risk), rows.strata if bordered else 0
    levels = groups.shape[1]
    return Likelihood(tuple(blocks), border, pieces, scale, middle, constant, levels, rows.names, rows.strata)


def _starts(groups: Codes) -> list[Codes]:
    """Rows at which a new group starts, for each level."""
    new = np.zeros(len(groups), dtype=bool)
    new[0] = True
    found = []
    for codes in groups.T:
        new = new | np.concatenate([[True], np.diff(codes) != 0])
        found.append(np.flatnonzero(new).astype(np.intp))
    return found


def _cuts(roots: Codes, rows: int) -> list[tuple[int, int]]:
    """Ranges of rows of about equal size that hold whole outermost groups."""
    wanted = np.arange(_BLOCK_ROWS, rows, _BLOCK_ROWS)
    inner = np.unique(roots[np.searchsorted(roots, wanted, side="right") - 1])
    edges = [0, *(int(cut) for cut in inner if cut > 0), rows]
    return list(pairwise(edges))
