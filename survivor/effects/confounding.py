"""Was it the preparation or the better paddock: where methods were used together.

Methods and sites form a graph: a method is joined to every site that holds it.
Two methods at one site can be compared there; two in different parts of the
graph can be told apart only by differences between sites.

How alike the ground was under the methods: balance of traits, and where they overlap.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from survivor.effects.cells import levels_of
from survivor.errors import EffectError
from survivor.intervals import entries, group_codes, row_codes
from survivor.models.result import Fit
from survivor.vocabulary import PLOT_KEY, REFUSED

MEAN = "mean"
SHARE = "per 100 plots"
DAYS = "days after the first planting"


def balance(plots: pd.DataFrame, by: str, levels: list[Any], traits: list[str]) -> pd.DataFrame:
    """Compare the traits of plots between methods.

    Parameters
    ----------
    plots
        One row a plot.
    by, levels
        Column of methods, and its levels; the first is compared with.
    traits
        Columns: numbers and dates by their mean, words by the share of each.

    Returns
    -------
    DataFrame
        ``trait, level, <by>, n_plots, value, unit, standardised_difference``; the
        difference of means in pooled standard deviations.

    Notes
    -----
    Austin (2009), Statistics in Medicine 28, 3083-3107.
    """
    columns = ["trait", "level", by, "n_plots", "value", "unit", "standardised_difference"]
    lines: list[tuple[Any, ...]] = []
    for trait in traits:
        for level, value, unit in _values(plots[trait]):
            groups = [value[(plots[by] == method).to_numpy()].dropna() for method in levels]
            lines += [
                (trait, level, method, len(group), float(group.mean()), unit, _standardised(group, groups[0]))
                for method, group in zip(levels, groups, strict=True)
            ]
    return pd.DataFrame(lines, columns=columns)


def _values(column: pd.Series[Any]) -> list[tuple[str, pd.Series[float], str]]:
    """Return what is averaged of a trait: its numbers where it has an order, else the share of each word."""
    scaled = _measured(column)
    if scaled is not None:
        return [("", scaled, DAYS if pd.api.types.is_datetime64_any_dtype(column) else MEAN)]
    words = sorted(column.dropna().unique().tolist(), key=str)
    return [(str(word), 100.0 * (column == word), SHARE) for word in words]


def overlap(plots: pd.DataFrame, by: str, levels: list[Any], traits: list[str]) -> pd.DataFrame:
    """Tell how many plots of each method lie where plots of the first method lie too.

    Where they do not, a comparison rests on what the model takes the trait to do.

    Parameters
    ----------
    plots, by, levels, traits
        As for :func:`balance`; ``site`` may be among the traits.

    Returns
    -------
    DataFrame
        ``trait, <by>, against, n_plots, inside, inside_against``: plots per 100 within the
        range of the other method's plots (numbers, dates) or at a level that holds the
        other too (words); blank where a method has no plot with the trait known.
    """
    lines = []
    for trait in traits:
        for method in levels[1:]:
            own, other = (plots.loc[plots[by] == level, trait].dropna() for level in (method, levels[0]))
            lines.append((trait, method, levels[0], len(own), _inside(own, other), _inside(other, own)))
    return pd.DataFrame(lines, columns=["trait", by, "against", "n_plots", "inside", "inside_against"])


def no_overlap(first: pd.DataFrame, second: pd.DataFrame, traits: Sequence[str]) -> list[str]:
    """Name the traits on which no plot of one set lies where the other set does.

    Parameters
    ----------
    first, second
        Plots of the two sets.
    traits
        Columns; one that is not known of every plot is passed over.
    """
    known = [name for name in traits if not any(_blank(plots[name]).any() for plots in (first, second))]
    return [
        name
        for name in known
        if max(_inside(first[name], second[name]), _inside(second[name], first[name])) == 0
    ]


def _blank(column: pd.Series[Any]) -> pd.Series[bool]:
    return column.isna() | (column.astype(str) == "")


def _inside(own: pd.Series[Any], other: pd.Series[Any]) -> float:
    """Per 100 of one set of plots that lie where the other set does."""
    if own.empty or other.empty:
        return float("nan")
    if _measured(own) is None:
        found = own.isin(other.unique().tolist())
    else:
        found = (own >= other.min()) & (own <= other.max())
    return 100.0 * float(found.mean())


def _measured(column: pd.Series[Any]) -> pd.Series[float] | None:
    """Numbers of a trait that has an order, dates as days after the first; None for words."""
    if pd.api.types.is_datetime64_any_dtype(column):
        days: pd.Series[float] = (column - column.min()).dt.days.astype(float)
        return days
    if pd.api.types.is_numeric_dtype(column) and not pd.api.types.is_bool_dtype(column):
        numbers: pd.Series[float] = column.astype(float)
        return numbers
    return None


def _standardised(group: pd.Series[float], first: pd.Series[float]) -> float:
    """Difference of means in pooled standard deviations (Austin 2009, Stat. Med. 28, 3083-3107)."""
    difference = float(group.mean() - first.mean())
    pooled = float(np.sqrt((group.var(ddof=0) + first.var(ddof=0)) / 2))
    if pooled > 0:
        return difference / pooled
    return 0.0 if difference == 0 else float(np.sign(difference) * np.inf)


WITHIN = "within sites"
BETWEEN = "between sites only"

_NOT_TRAITS = (
    "tag",
    "cohort",
    "start_day",
    "stop_day",
    "start_date",
    "stop_date",
    "at_risk",
    "died",
    "cause",
)


@dataclass(frozen=True)
class Layout:
    """Which levels of a column were used at which places.

    Attributes
    ----------
    levels
        Levels of the column, the usual practice first.
    places
        One row a place (site, or site and block).
    holds
        Whether a place holds a level, shape (places, levels).
    """

    levels: tuple[Any, ...]
    places: pd.DataFrame
    holds: NDArray[np.bool_]

    def shared(self, first: Any, second: Any) -> NDArray[np.bool_]:
        """Places that hold both levels, shape (places,)."""
        both: NDArray[np.bool_] = self.holds[:, self._of(first)] & self.holds[:, self._of(second)]
        return both

    def either(self, first: Any, second: Any) -> NDArray[np.bool_]:
        """Places that hold one of the levels, shape (places,)."""
        one: NDArray[np.bool_] = self.holds[:, self._of(first)] | self.holds[:, self._of(second)]
        return one

    def count(self, level: Any) -> int:
        """Return the number of places that hold a level."""
        return int(self.holds[:, self._of(level)].sum())

    def basis(self, first: Any, second: Any) -> str:
        """Whether two levels can be compared within sites, between them, or not at all."""
        if self.shared(first, second).any():
            return WITHIN
        return REFUSED if min(self.count(first), self.count(second)) < 2 else BETWEEN

    def parts(self) -> list[tuple[Any, ...]]:
        """Levels grouped by the part of the graph that they lie in."""
        places, levels = self.holds.shape
        row, column = np.nonzero(self.holds)
        size = places + levels
        graph = coo_array((np.ones(len(row)), (row, places + column)), shape=(size, size))
        labels = connected_components(graph, directed=False)[1][places:]
        return [
            tuple(level for level, own in zip(self.levels, labels, strict=True) if own == part)
            for part in dict.fromkeys(labels.tolist())
        ]

    def _of(self, level: Any) -> int:
        return self.levels.index(level)


def layout(data: pd.DataFrame, by: str, places: Sequence[str]) -> Layout:
    """Read from the records which levels of ``by`` were used at which places.

    Without ``places`` all plots stand at one place.
    """
    levels = levels_of(data, by)
    if places:
        codes, frame = group_codes(data, places)
    else:
        codes, frame = np.zeros(len(data), dtype=np.intp), pd.DataFrame({"site": ["all plots"]})
    holds = np.zeros((len(frame), len(levels)), dtype=bool)
    level = pd.Index(levels).get_indexer(np.asarray(data[by]))
    holds[codes[level >= 0], level[level >= 0]] = True
    return Layout(tuple(levels), frame, holds)


def stands_at(frame: pd.DataFrame, places: pd.DataFrame) -> NDArray[np.bool_]:
    """Rows of a table that stand at one of the places; all rows where places have no column of the table."""
    names = [name for name in places.columns if name in frame.columns]
    if not names:
        return np.full(len(frame), len(places) > 0)
    wanted = set(zip(*(places[name].astype(str) for name in names), strict=True))
    # Names are read once a place.
    code, first = row_codes([frame[name] for name in names], in_order=False)
    rows = zip(*(frame[name].iloc[first].astype(str) for name in names), strict=True)
    return np.fromiter((row in wanted for row in rows), dtype=bool, count=len(first))[code]


@dataclass(frozen=True)
class Confounding:
    """How far the methods can be told apart from the sites.

    Attributes
    ----------
    table
        One row a site, one column a method: number of plots.
    balance
        ``trait, level, method, n_plots, value, unit, standardised_difference``:
        the mean of a numeric trait, or plots per 100 with a level of a worded one;
        the difference to the first method in pooled standard deviations.
    overlap
        ``trait, method, against, n_plots, inside, inside_against``: plots per 100 of the
        method that lie where the other method's plots do too (in the range of a number or
        date; at a site or level that holds both), and of the other's.
    pairs
        ``method, against, basis, sites_shared, linked_through``.
    connected
        Whether every method can be reached from every other through shared sites.
    parts
        Methods grouped by the part of the method and site graph that they lie in.
    between_only
        Comparisons that rest on differences between sites alone.
    checks
        Plain sentences.
    """

    table: pd.DataFrame
    balance: pd.DataFrame
    overlap: pd.DataFrame
    pairs: pd.DataFrame
    connected: bool
    parts: tuple[tuple[Any, ...], ...]
    between_only: tuple[str, ...]
    checks: tuple[str, ...]

    def _repr_html_(self) -> str:
        return str(self.table.to_html())


def confounding(
    data: pd.DataFrame | Fit, by: str = "method", traits: Sequence[str] | None = None
) -> Confounding:
    """Lay out methods against sites and against the traits of plots.

    Parameters
    ----------
    data
        Risk intervals, or a fit (its table is used).
    by
        Column of methods.
    traits
        Columns to compare between methods; None: every column that is constant
        within plots and is not one of the interval columns.

    Returns
    -------
    Confounding

    Raises
    ------
    EffectError
        When the table has no ``by`` or no ``plot`` column.
    """
    frame = data if isinstance(data, pd.DataFrame) else data.data
    for name in (by, "plot"):
        if name not in frame.columns:
            raise EffectError(
                f"there is no column {name}",
                where="risk intervals",
                mend="layouts are told in plots of methods: give both columns",
            )
    rows = entries(frame)
    keys = [name for name in PLOT_KEY if name in frame.columns]
    sites = ["site"] if "site" in frame.columns else []
    plots = rows.drop_duplicates([*keys, by])
    levels = levels_of(frame, by)
    site = plots["site"].astype(str) if sites else pd.Series("all plots", index=plots.index, name="site")
    table = pd.crosstab(site, plots[by].astype(str)).reindex(
        columns=[str(level) for level in levels], fill_value=0
    )
    table.columns.name = by
    grid = layout(frame, by, sites)
    pairs = _pairs(grid, by)
    parts = tuple(grid.parts())
    names = _traits(rows, keys, by) if traits is None else list(traits)
    between = pairs[pairs["basis"] != WITHIN]
    between_only = tuple(f"{row[by]} against {row['against']}" for row in between.to_dict("records"))
    checks = []
    if between_only:
        checks.append(f"No site holds both, so only sites are compared: {'; '.join(between_only)}.")
    if len(parts) > 1:
        groups = " | ".join(", ".join(map(str, part)) for part in parts)
        checks.append(f"Methods fall into {len(parts)} parts with no site in common: {groups}.")
    told = balance(plots, by, levels, names)
    common = overlap(plots, by, levels, [*sites, *names])
    return Confounding(table, told, common, pairs, len(parts) == 1, parts, between_only, tuple(checks))


def _pairs(grid: Layout, by: str) -> pd.DataFrame:
    rows = []
    for against, level in combinations(grid.levels, 2):
        shared = int(grid.shared(level, against).sum())
        rows.append(
            {
                by: level,
                "against": against,
                "basis": grid.basis(level, against),
                "sites_shared": shared,
                "linked_through": "" if shared else ", ".join(map(str, linked_through(grid, level, against))),
            }
        )
    return pd.DataFrame(rows, columns=[by, "against", "basis", "sites_shared", "linked_through"])


def linked_through(grid: Layout, first: Any, second: Any) -> list[Any]:
    """Levels that share a site with each of two levels that share none."""
    return [
        level
        for level in grid.levels
        if level not in (first, second)
        and grid.shared(level, first).any()
        and grid.shared(level, second).any()
    ]


def _traits(rows: pd.DataFrame, keys: list[str], by: str) -> list[str]:
    candidates = [name for name in rows.columns if name not in (*_NOT_TRAITS, *PLOT_KEY, by)]
    spread = rows.groupby(keys, observed=True, dropna=False)[candidates].nunique(dropna=False)
    return [name for name in candidates if (spread[name] <= 1).all() and rows[name].nunique(dropna=False) > 1]
