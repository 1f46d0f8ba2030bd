"""Which random effects a mixed model has: read from a short text, checked against a table.

Degrees of freedom of the terms of a mixed model, by the units that they are compared between.

A term that is constant within the groups of a level of effects is compared between
those groups: its degrees of freedom are the groups less the rank of everything that
is constant within them (strata levels, outer groups, columns). A term takes the
outermost such level, so that a method under a random method-by-site effect is
judged by sites; a term that varies within every group takes the innermost level.

Source: Pinheiro and Bates (2000), Mixed-Effects Models in S and S-PLUS, section 2.4.2.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.arrays import Codes, Floats
from survivor.errors import IntervalsError, ModelError
from survivor.intervals import cluster_columns, group_codes, less_means


@dataclass(frozen=True)
class Effects:
    """Nested levels of effects, outermost first: their names and the columns that tell their groups."""

    names: tuple[str, ...]
    columns: tuple[tuple[str, ...], ...]

    def codes(self, frame: pd.DataFrame) -> Codes:
        """Group of each row at each level, shape (n, L)."""
        return np.column_stack([group_codes(frame, columns)[0] for columns in self.columns]).astype(np.intp)


def read_effects(frame: pd.DataFrame, random: str | None, cluster: str | Sequence[str] | None) -> Effects:
    """Read levels of effects.

    Parameters
    ----------
    frame
        Risk intervals.
    random
        Levels from the outermost in, parted by ``/``; the columns of a level joined
        by ``:``. For example ``"plot"``, ``"site/plot"``, ``"site:method/plot"``.
        ``plot`` means site, block and plot where present. None: the cluster.
    cluster
        Column(s) of the only level where ``random`` is None.

    Raises
    ------
    ModelError
        When a column is absent, or nothing is named.
    """
    if random is None:
        if cluster is None:
            raise ModelError(
                "a mixed model needs groups that share an effect",
                where="cluster",
                mend='give cluster="plot" or, for nested effects, random="site/plot"',
            )
        given = [cluster] if isinstance(cluster, str) else list(cluster)
        levels = [(":".join(given), given)]
    else:
        texts = [text.strip() for text in random.split("/")]
        levels = [(text, [name.strip() for name in text.split(":")]) for text in texts]
    columns = []
    for _, names in levels:
        found: list[str] = []
        for name in names:
            try:
                found += cluster_columns(frame, name)
            except IntervalsError as problem:
                raise ModelError(
                    f"the table has no column {name!r} to tell the groups of a random effect",
                    where=f"random={random!r}" if random is not None else f"cluster={cluster!r}",
                    mend="name columns of the table",
                ) from problem
        columns.append(tuple(dict.fromkeys(found)))
    return Effects(tuple(name for name, _ in levels), tuple(columns))


def check_effects(effects: Effects, codes: Codes, stratum: Codes, strata: Sequence[str]) -> None:
    """Raise unless the levels are nested and each can be told from the others and the strata.

    Parameters
    ----------
    effects
        The levels.
    codes
        Group of each row at each level, shape (n, L).
    stratum
        Stratum of each row, shape (n,).
    strata
        Columns of the strata.
    """
    count = [len(np.unique(codes[:, level])) for level in range(codes.shape[1])]
    for level, name in enumerate(effects.names):
        if count[level] < 2:
            raise ModelError(
                f"there is only one {name}, so no variation between them can be told",
                where="random effect",
                mend="leave that effect out",
            )
        # Strata levels stand for the effect already where every stratum lies in one group.
        if strata and not _splits(codes[:, level], stratum):
            raise ModelError(
                f"a level for each {' and '.join(strata)} leaves nothing for a random effect of {name}",
                where="strata",
                mend=f"give strata=None, or leave {name} out of the random effects",
            )
        if not level:
            continue
        outer = effects.names[level - 1]
        if _splits(codes[:, level - 1], codes[:, level]):
            raise ModelError(
                f"some {name} lies in more than one {outer}; only nested effects are offered",
                where="random effect",
                mend=f"name the level so that it lies within the outer one, for example {outer}:{name}",
            )
        if count[level] == count[level - 1]:
            raise ModelError(
                f"every {outer} holds one {name}, so their effects cannot be distinguished",
                where="random effect",
                mend=f"leave {outer} or {name} out",
            )


def _splits(parts: Codes, whole: Codes) -> bool:
    """Whether some group of ``whole`` holds rows of more than one group of ``parts``."""
    pairs = np.unique(whole.astype(np.int64) * (int(parts.max()) + 1) + parts)
    return len(pairs) > len(np.unique(whole))


_SAME = 1e-9  # columns that differ by less than this share of their range are equal
_RANK = 1e-8


@dataclass(frozen=True)
class Degrees:
    """Degrees of freedom.

    Attributes
    ----------
    terms
        Of each column, shape (q,); NaN where none are left.
    level
        Level of effects that each column is compared between, shape (q,).
    stratum
        Of the strata levels: of the outermost level of effects that lies within strata.
    inner
        Of the innermost level.
    counted
        Groups and rank of each level, outermost first.
    fixed
        Rank of what is constant within innermost groups, outer groups left out.
    """

    terms: Floats
    level: Codes
    stratum: float
    inner: float
    counted: tuple[tuple[int, int], ...]
    fixed: int

    def of_parts(self, shares: Floats) -> Floats:
        """Degrees of freedom of sums, by what their variance comes from.

        ``shares`` (m, 2 + q) are the parts of the variance of each sum that come from
        the level of survival, from standard deviations, and from each term. A
        sum lies between the degrees of freedom of its parts: their harmonic mean,
        weighted by the parts.
        """
        each = np.concatenate([[self.stratum, self.inner], self.terms])
        weight = np.abs(shares) / np.maximum(np.abs(shares).sum(axis=1, keepdims=True), 1e-300)
        unknown = np.isnan(each)
        found: Floats = 1 / np.maximum(weight @ np.where(unknown, 0.0, 1 / each), 1e-300)
        return np.where((weight[:, unknown] > _RANK).any(axis=1), np.nan, found)


def degrees(columns: Floats, stratum: Codes, groups: Codes) -> Degrees:
    """Count degrees of freedom.

    Parameters
    ----------
    columns
        The formula's columns, shape (n, q).
    stratum
        Stratum of each row, shape (n,).
    groups
        Codes of the nested groups, outermost first, shape (n, L).
    """
    spread = np.ptp(columns, axis=0)
    columns = (columns - columns.min(axis=0)) / np.where(spread > 0, spread, 1.0)
    levels = groups.shape[1]
    term_level = np.full(columns.shape[1], levels - 1, dtype=np.intp)
    stratum_level, fixed = levels - 1, 0
    counted: list[tuple[int, int]] = []
    for level in range(levels - 1, -1, -1):
        codes, first = _codes(groups[:, level])
        constant = _constant(columns, codes, first)
        term_level[constant] = level
        outer = [groups[first, level - 1]] if level else []
        within: list[Codes] = []
        if _constant(stratum[:, None].astype(float), codes, first)[0]:
            stratum_level, within = level, [stratum[first]]
        counted.insert(0, (len(first), _rank(columns[first][:, constant], outer + within)))
        if level == levels - 1:
            fixed = _rank(columns[first][:, constant], within)
    left = np.array([float(number - rank) if number > rank else np.nan for number, rank in counted])
    return Degrees(
        left[term_level], term_level, float(left[stratum_level]), float(left[-1]), tuple(counted), fixed
    )


def _codes(labels: Codes) -> tuple[Codes, Codes]:
    _, first, inverse = np.unique(labels, return_index=True, return_inverse=True)
    return inverse.astype(np.intp), first.astype(np.intp)


def _constant(columns: Floats, codes: Codes, first: Codes) -> NDArray[np.bool_]:
    """Which columns do not vary within groups."""
    return np.asarray(np.all(np.abs(columns - columns[first][codes]) <= _SAME, axis=0))


def _rank(columns: Floats, partitions: list[Codes]) -> int:
    """Rank of the columns with the indicators of some partitions of the groups, or with a constant."""
    partitions = partitions or [np.zeros(len(columns), dtype=np.intp)]
    finest = _finest(partitions)
    if finest is None:
        dense = [(codes[:, None] == np.unique(codes)).astype(float) for codes in partitions]
        return int(np.linalg.matrix_rank(np.hstack([*dense, columns])))
    codes, first = _codes(finest)
    if not columns.shape[1]:
        return len(first)
    scale = np.maximum(np.linalg.norm(columns, axis=0), 1.0)
    return len(first) + int(np.linalg.matrix_rank(less_means(columns, codes) / scale, tol=_RANK))


def _finest(partitions: list[Codes]) -> Codes | None:
    """Find the partition that all others only join parts of; None where there is none."""
    for one in partitions:
        codes, first = _codes(one)
        if all(_constant(other[:, None].astype(float), codes, first)[0] for other in partitions):
            return one
    return None
