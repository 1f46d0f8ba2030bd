"""Which works can be told apart, by the rank of their matrix within strata, and what to say of the others.

A work can be told from the rest if and only if its unit vector lies in the row space of the matrix of
plots by works, its means within strata swept out: then every least-squares (or likelihood) solution
gives it the same coefficient (Searle 1971, Linear Models, section 5.4, from memory). What cannot is
never estimated: it is named.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from survivor.arrays import Codes, Flags, Floats
from survivor.intervals import less_means
from survivor.words import listed

_TOLERANCE: Final = 1e-9


@dataclass(frozen=True)
class Unit:
    """Works that are estimated as one: usually a single one; several where they always went together."""

    works: tuple[str, ...]

    @property
    def name(self) -> str:
        """What the unit is called."""
        return listed(list(self.works))


@dataclass(frozen=True)
class Apart:
    """What can be told apart.

    Attributes
    ----------
    units
        Works, or works that always went together, whose effect the plots can tell.
    others
        Units whose effect they cannot tell, but which stand in the model beside the others.
    said
        Sentences without a full stop on every work that has no effect of its own, by its names.
    """

    units: tuple[Unit, ...]
    others: tuple[Unit, ...]
    said: tuple[str, ...]


def told_apart(matrix: Floats, stratum: Codes, works: Sequence[str], place: str = "site") -> Apart:
    """Tell which works can be told apart.

    Parameters
    ----------
    matrix
        Whether each plot got each work, 0 or 1, shape (plots, works).
    stratum
        Stratum of each plot, shape (plots,).
    works
        Their names.
    place
        What a stratum is called: site or block.
    """
    within = less_means(np.asarray(matrix, dtype=float), stratum)
    varies = np.abs(within).max(axis=0, initial=0.0) > _TOLERANCE
    said = [_constant(matrix[:, n], works[int(n)], place) for n in np.flatnonzero(~varies)]
    units = _together(within, np.flatnonzero(varies), works)
    said += [
        f"{unit.name} always went together within a {place}: only their sum can be seen"
        for unit, _ in units
        if len(unit.works) > 1
    ]
    columns = within[:, [first for _, first in units]]
    null = _null_space(columns)
    alone = np.linalg.norm(null, axis=1) < _TOLERANCE**0.5
    kept = tuple(unit for (unit, _), clear in zip(units, alone, strict=True) if clear)
    lost = tuple(unit for (unit, _), clear in zip(units, alone, strict=True) if not clear)
    for group in _linked(null, alone):
        said.append(_inseparable([units[n][0] for n in group], columns[:, group], place))
    return Apart(kept, lost, tuple(said))


def _constant(column: Floats, work: str, place: str) -> str:
    if column.min() == column.max():
        got = "every plot" if column[0] else "no plot"
        return f"{got} got {work}, so nothing tells what it adds"
    return f"{work} went with the {place}: at no {place} did some plots get it and others not"


def _together(within: Floats, places: Codes, works: Sequence[str]) -> list[tuple[Unit, int]]:
    """Join works that are alike within every stratum; with the column of the first of each."""
    groups: list[list[int]] = []
    for place in places:
        alike = (g for g in groups if np.allclose(within[:, g[0]], within[:, place], atol=_TOLERANCE))
        own = next(alike, None)
        if own is None:
            groups.append([int(place)])
        else:
            own.append(int(place))
    return [(Unit(tuple(works[n] for n in group)), group[0]) for group in groups]


def _null_space(columns: Floats) -> Floats:
    """Orthonormal combinations of columns that are zero in every plot, shape (columns, k)."""
    if not columns.shape[1]:
        return np.zeros((0, 0))
    gram = columns.T @ columns
    values, vectors = np.linalg.eigh(gram)
    found: Floats = vectors[:, values < _TOLERANCE * max(float(values.max()), 1.0)]
    return found


def _linked(null: Floats, alone: Flags) -> list[list[int]]:
    """Group the columns that take part in one another's combinations."""
    linked = np.abs(null @ null.T) > _TOLERANCE**0.5
    groups: list[list[int]] = []
    left = {int(n) for n in np.flatnonzero(~alone)}
    while left:
        group, edge = set[int](), {min(left)}
        while edge:
            group |= edge
            edge = {int(m) for n in edge for m in np.flatnonzero(linked[n])} - group
        groups.append(sorted(group))
        left -= group
    return groups


def _inseparable(units: Sequence[Unit], columns: Floats, place: str) -> str:
    names = [unit.name for unit in units]
    if len(units) == 2 and np.allclose(columns[:, 0], -columns[:, 1], atol=_TOLERANCE**0.5):
        return (
            f"at each {place} every plot had either {names[0]} or {names[1]}, so only the difference between "
            "them could be estimated"
        )
    return (
        f"{listed(names)} cannot be distinguished: within each {place} the plots of one follow from those of "
        "the others"
    )
