"""Terms without a finite estimate, found before anything is fitted.

A model of deaths has no finite estimate along a direction in which no row's
likelihood falls and some row's rises: for ever lower hazards where nobody died, for
ever higher ones where everybody did (Albert and Anderson 1984, Biometrika 71, 1-10).
Rows alike in columns, stratum and piece of the baseline are one cell here; a cell
with deaths must not sink and a cell with survivors must not rise, so a cell with
both stays where it is. Two steps find such directions exactly:

1. Cells with both deaths and survivors hold every direction that they span. Where
   they span all terms nothing can run away; this is so in nearly every study, and a
   factor all of whose levels saw deaths and survivors at some stratum that joins
   them passes here.
2. Otherwise a linear programme (Konis 2007, Linear programming algorithms for
   detecting separated data in binary logistic regression models, thesis, Oxford)
   moves as many cells as can be moved at once. The cells that stay are the overlap,
   in which estimates exist.

An interval over several pieces counts as a cell in each: what is found is always
right, and all is found but for directions that play the pieces of one interval
off against each other while somebody died in it.

Terms that have gone far: whether an estimate runs to infinity or is only steep.

On the way to infinity the information on a term dies away, so its standard error outgrows the
estimate itself; an estimate that is steep and finite has most of its information where it stands.
How far a term has gone is what it moves the log hazard (or odds) by over its range, so that the
unit of a column does not matter; the range is taken within strata, since levels take up what lies
between them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy import sparse
from scipy.optimize import linprog

from survivor.arrays import Codes, Flags, Floats
from survivor.errors import ModelError
from survivor.intervals import less_means, row_codes, sum_by
from survivor.words import term_words

_RANK = 1e-9  # singular values below this share of the largest are none
_STILL = 1e-6  # a direction smaller than this has no part in a separation


@dataclass(frozen=True)
class Separation:
    """A direction without a finite estimate.

    Attributes
    ----------
    direction
        Where the columns' coefficients run, shape (q,): 0 for those that stay.
    overlap
        Rows that no such direction moves, shape (n,): estimates exist among them.
    """

    direction: Floats
    overlap: Flags


@dataclass(frozen=True)
class _Cells:
    """Distinct (stratum, columns, piece): dummies of pieces after the first, then columns."""

    matrix: Floats
    stratum: Codes
    died: Flags
    lived: Flags


def separation(
    columns: Floats, inside: Flags, stratum: Codes, died: Floats, lived: Floats
) -> Separation | None:
    """Find whether some coefficient has no finite estimate.

    Parameters
    ----------
    columns
        Covariates, shape (n, q), none a combination of strata and other columns.
    inside
        Which pieces of the baseline a row reaches into, shape (n, K); one column of
        truth for a model of one moment.
    stratum
        Codes 0 to S - 1.
    died, lived
        Counts, shape (n,): deaths in the row, and seedlings that lived through it.

    Returns
    -------
    Separation or None
        None where every coefficient has a finite estimate. Pieces alone may still
        run to zero, or up where all died; they are not looked at here.
    """
    terms = columns.shape[1]
    if not terms:
        return None
    spread = np.ptp(columns, axis=0)
    scaled = columns / np.where(spread > 0, spread, 1.0)
    cells, of_row, row_of = _cells(scaled, inside, stratum, died > 0, lived > 0)
    both = cells.died & cells.lived
    if _held(cells.matrix[both], cells.stratum[both], terms):
        return None
    direction, moved = _programme(cells, terms)
    if np.abs(direction).max() <= _STILL:
        return None
    overlap = sum_by(row_of, moved[of_row], len(columns)) == 0
    return Separation(direction, overlap)


def _cells(
    columns: Floats, inside: Flags, stratum: Codes, died: Flags, lived: Flags
) -> tuple[_Cells, Codes, Codes]:
    """Distinct cells; the cell and the row of every pair of a row and a piece that it reaches into."""
    row_of, piece = np.nonzero(inside)
    kind = row_codes([stratum, *columns.T], in_order=False)[0]
    of_row, first = row_codes([kind[row_of], piece], in_order=False)
    count = len(first)
    pieces = (piece[first, None] == np.arange(1, inside.shape[1])).astype(float)
    cells = _Cells(
        np.column_stack([pieces, columns[row_of[first]]]),
        stratum[row_of][first],
        sum_by(of_row, died[row_of], count) > 0,
        sum_by(of_row, lived[row_of], count) > 0,
    )
    return cells, of_row, row_of


def _held(matrix: Floats, stratum: Codes, terms: int) -> bool:
    """Whether these cells leave no term free: nothing that they do not feel touches one."""
    if not len(matrix):
        return False
    _, values, vectors = np.linalg.svd(np.linalg.qr(less_means(matrix, stratum), mode="r"))
    felt = int((values > _RANK * max(values[0], 1.0)).sum())
    return bool(np.abs(vectors[felt:, -terms:]).max(initial=0.0) < _STILL)


def _programme(cells: _Cells, terms: int) -> tuple[Floats, Flags]:
    """Direction of the terms, and which cells it moves: as many as any direction does."""
    count, strata = len(cells.stratum), int(cells.stratum.max()) + 1
    levels = sparse.csr_array((np.ones(count), (np.arange(count), cells.stratum)), shape=(count, strata))
    predictor = sparse.hstack([levels, sparse.csr_array(cells.matrix)]).tocsr()
    one_sided = np.flatnonzero(cells.died != cells.lived)
    both = np.flatnonzero(cells.died & cells.lived)
    sign = np.where(cells.died[one_sided], 1.0, -1.0)
    free, pure = predictor.shape[1], len(one_sided)
    # Variables: the direction, and how far each one-sided cell is moved, at most 1.
    solved = linprog(
        np.concatenate([np.zeros(free), -np.ones(pure)]),
        A_ub=sparse.hstack([-sign[:, None] * predictor[one_sided], sparse.eye_array(pure)]),
        b_ub=np.zeros(pure),
        A_eq=sparse.hstack([predictor[both], sparse.csr_array((len(both), pure))]) if len(both) else None,
        b_eq=np.zeros(len(both)) if len(both) else None,
        bounds=[(None, None)] * free + [(0.0, 1.0)] * pure,
        method="highs",
    )
    if not solved.success:
        raise ModelError(
            f"whether the terms have finite estimates could not be told: {solved.message}",
            where="formula",
            mend="use fewer terms",
        )
    moved = np.zeros(count, dtype=bool)
    moved[one_sided] = solved.x[free:] > 0.5
    direction = solved.x[free - terms : free]
    direction = np.where(
        np.abs(direction) > _STILL * max(np.abs(solved.x[:free]).max(), 1e-300), direction, 0.0
    )
    return direction, moved


def said_of_levels(frame: pd.DataFrame, variables: Sequence[str]) -> str:
    """Name the levels at which nobody, or everybody, died; empty where there is none.

    Parameters
    ----------
    frame
        Rows with ``at_risk`` and ``died``.
    variables
        Columns that the formula reads; numbers are passed over.
    """
    sentences = []
    counts = {"nobody": frame["died"], "everybody": frame["at_risk"] - frame["died"]}
    for name in variables:
        if pd.api.types.is_numeric_dtype(frame[name]):
            continue
        for word, count in counts.items():
            total = count.groupby(frame[name].astype(str), sort=False).sum()
            sentences += [f"{word} died with {name} {label}" for label in total.index[total == 0]]
    return " and ".join(sentences)


# From here on a term is looked at. A factor without deaths at one level converges only beyond 40.
FAR = 30.0
_BEYOND = 500.0  # and from here on a ratio is beyond all that could be told from infinity


def range_within(columns: Floats, stratum: Codes) -> Floats:
    """Range of each column within the stratum in which it is largest, shape (q,).

    Parameters
    ----------
    columns
        Shape (n, q).
    stratum
        Codes from 0, shape (n,).
    """
    if not columns.size:
        return np.zeros(columns.shape[1])
    order = np.argsort(stratum, kind="stable")
    starts = np.flatnonzero(np.diff(stratum[order], prepend=-1))
    sorted_columns = columns[order]
    high, low = (each.reduceat(sorted_columns, starts, axis=0) for each in (np.maximum, np.minimum))
    return np.asarray((high - low).max(axis=0))


def errors_of(information: Floats) -> Floats:
    """Give standard errors by an information matrix, shape (q,); very large where it is not positive."""
    scale = np.sqrt(np.maximum(np.diag(information), 1e-300))
    values, vectors = np.linalg.eigh(information / np.outer(scale, scale))
    return np.asarray(np.sqrt((vectors**2 / np.maximum(values, 1e-100)).sum(axis=1)) / scale)


def errors_from(covariance: Floats) -> Floats:
    """Give standard errors by a covariance, shape (q,); infinite where it is none."""
    variance = np.diag(covariance)
    return np.sqrt(np.where(variance > 0, variance, np.inf))


def diverges(beta: Floats, spread: Floats, error: Floats) -> Flags:
    """Which terms have gone far with a standard error larger than the estimate, or farther than any can.

    Parameters
    ----------
    beta, spread, error
        Estimate, range of the column and standard error of each term, shape (q,).
    """
    size = np.abs(beta)
    reach = size * spread
    return ((reach > FAR) & ~(error < size)) | (reach > _BEYOND)


def refuse_no_deaths(died: pd.Series[Any] | Floats, where: str) -> None:
    """Raise where nobody died."""
    if not died.sum() > 0:
        raise ModelError("nobody died, so there is no hazard to compare", where=where, mend="see the curves")


def no_finite_estimate(
    terms: Sequence[str], where: str, who: str = "nobody, or everybody, died"
) -> ModelError:
    """Error that terms run to infinity, since at one of their levels ``who``."""
    return ModelError(
        f"{', '.join(map(term_words, terms))} has no finite estimate: at one of its levels {who}",
        where=where,
        mend="join that level with another, leave the term out, or read its survival from the curves",
    )
