"""Preparations with which nobody, or everybody, is alive: told by their counts and not by a model.

A model of proportional hazards bends such a preparation towards the others: it gives
living plants where there are none, or a survival so near to nought that a cost made from
it is without meaning. The counts say what there is to say. Their limits at 0 and 100 %
are Wilson's on the effective number of seedlings (``survivor.curves.edges``), and those
of a difference are put together from the limits of each side (Zou and Donner 2008,
Statistics in Medicine 27, 1693-1702: the square-and-add limits of which Newcombe's method
10 is one case), at the sites that hold both.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any, Final

import numpy as np
import pandas as pd
from scipy import stats

from survivor.curves import curve
from survivor.curves.edges import edge_numbers
from survivor.curves.rounds import at_milestone
from survivor.curves.samples import collect
from survivor.effects.cells import levels_of
from survivor.effects.confounding import REFUSED, WITHIN
from survivor.effects.contrasts import LEAST_PLOTS, Contrasts, Pairs
from survivor.effects.limits import Floats, at_edge, wilson
from survivor.effects.standardise import Standardised
from survivor.errors import CurveError
from survivor.intervals import tally
from survivor.models.multiplicity import holm
from survivor.vocabulary import CONFIDENCE, PER_100

NOBODY: Final = "nobody"
EVERYBODY: Final = "everybody"
_NOTE: Final = "95 % limits of each comparison on its own, not adjusted for their number; p adjusted by Holm"


@dataclass(frozen=True)
class Counted:
    """Survival of one level as counted: shares (0 to 1), limits and degrees of freedom; NaN where untold."""

    share: float
    lower: float
    upper: float
    df: float


def counted(frame: pd.DataFrame, at: float, window: float, by: str = "method") -> dict[Any, Counted]:
    """Count survival of every level at a day, by each plot's visit nearest to it.

    Parameters
    ----------
    frame
        Risk intervals.
    at, window
        Days since planting, and how many days a visit may lie from it.
    by
        Column of levels.
    """
    moved, _ = at_milestone(frame, at, window)
    strata = "site" if "site" in moved.columns and moved["site"].nunique() > 1 else None
    try:
        read = curve(moved, by=by, strata=strata).read(at)
    except CurveError:
        return {}
    samples = collect(moved, by, "plot", strata)[1]
    # Where all died early no two plots are watched at the day, and the curve has no limits there.
    numbers = edge_numbers(moved, by, at, "plot", strata)
    gone = at_edge(read["survival"].to_numpy(dtype=float)) & read["lower"].isna().to_numpy()
    worth = np.array([numbers.get(str(name), np.nan) for name in read[by]])
    ends = wilson(read["survival"].to_numpy(dtype=float), np.where(gone, worth, np.nan))
    for name, end in zip(("lower", "upper"), ends, strict=True):
        read[name] = np.where(gone, end, read[name])
    return {
        line[by]: Counted(
            float(line["survival"]),
            float(line["lower"]),
            float(line["upper"]),
            float(sample.df) if sample.df > 0 else np.nan,
        )
        for line, sample in zip(read.to_dict("records"), samples, strict=True)
    }


def at_the_edge(frame: pd.DataFrame, at: float, window: float, by: str = "method") -> dict[Any, str]:
    """Levels with which nobody, or everybody, is alive at a day: ``nobody`` or ``everybody`` by level."""
    found = {}
    for level, told in counted(frame, at, window, by).items():
        if np.isfinite(told.share) and bool(at_edge(np.array([told.share]))[0]):
            found[level] = NOBODY if told.share < 0.5 else EVERYBODY
    return found


def with_counted_survival(
    rest: Standardised | None,
    frame: pd.DataFrame,
    at: float,
    window: float,
    edges: Mapping[Any, str],
    by: str = "method",
) -> Standardised:
    """Put the levels that the model does not hold into survival by level, as counted.

    Parameters
    ----------
    rest
        Survival of the other levels by the model; None where there is no model: then every
        level is told as counted.
    frame, at, window, by
        As for :func:`counted`.
    edges
        As :func:`at_the_edge` gives them.

    Returns
    -------
    Standardised
        Levels in their own order; covariance of counted ones is not told (0).
    """
    levels = levels_of(frame, by)
    known = [] if rest is None else rest.table[by].tolist()
    told = counted(frame, at, window, by)
    wanted = [name for name in levels if name not in known and (name in edges or rest is None)]
    lines = [_line(frame, by, name, told.get(name), at) for name in wanted]
    table = pd.DataFrame(lines) if rest is None else pd.concat([rest.table, pd.DataFrame(lines)])
    names = [*known, *wanted]
    order = sorted(range(len(names)), key=lambda place: levels.index(names[place]))
    covariance = np.zeros((len(names), len(names)))
    if rest is not None:
        covariance[: len(known), : len(known)] = rest.covariance
    table = table.iloc[order].reset_index(drop=True)
    table[by] = pd.Series([names[place] for place in order], dtype=frame[by].dtype)
    unseen = rest.extrapolated if rest is not None else pd.DataFrame(columns=[by, "plants", "share_per_100"])
    checks = (*(rest.checks if rest is not None else ()), *said_of_edges(edges, at))
    return Standardised(by, float(at), table, covariance[np.ix_(order, order)], unseen, checks)


def said_of_edges(edges: Mapping[Any, str], at: float) -> tuple[str, ...]:
    """Sentences on the levels told by their counts."""
    said = []
    for what, words in ((NOBODY, "Nobody"), (EVERYBODY, "Everybody")):
        names = [str(name) for name, found in edges.items() if found == what]
        if names:
            it = "it is" if len(names) == 1 else "they are"
            said.append(
                f"{words} was alive at day {at:g} with {'; '.join(names)}: {it} told by the seedlings "
                "counted, with limits by plot, and left out of the model."
            )
    return tuple(said)


def _line(frame: pd.DataFrame, by: str, level: Any, told: Counted | None, at: float) -> dict[str, Any]:
    rows = frame[frame[by] == level]
    counts = tally(rows)
    told = told or Counted(np.nan, np.nan, np.nan, np.nan)
    return {
        by: level,
        "estimate": 100 * told.share,
        "std_error": 0.0,
        "df": told.df,
        "lower": 100 * told.lower,
        "upper": 100 * told.upper,
        "unit": PER_100,
        "at_day": float(at),
        "n_seedlings": counts["seedlings"],
        "n_plots": counts["plots"],
        "n_sites": counts["sites"],
        "died_any_day": counts["died"],
    }


def with_counted_contrasts(
    rest: Contrasts | None,
    frame: pd.DataFrame,
    at: float,
    window: float,
    edges: Mapping[Any, str],
    pairs: Pairs = "against",
    by: str = "method",
) -> Contrasts:
    """Put comparisons with a level that is told as counted beside those of the model.

    Parameters
    ----------
    rest
        Comparisons of the other levels, of the same ``pairs``; None where there are none.
    frame, at, window, edges, by
        As for :func:`with_counted_survival`.
    pairs
        As for ``survivor.contrasts``.

    Returns
    -------
    Contrasts
        p adjusted anew for all comparisons told.
    """
    levels = levels_of(frame, by)
    known: dict[tuple[Any, Any], dict[str, Any]] = {}
    if rest is not None:
        known = {
            (line[by], line["against"]): {str(name): value for name, value in line.items()}
            for line in rest.table.to_dict("records")
        }
    lines = []
    for level, against in _pairs(levels, pairs):
        line = known.get((level, against))
        if line is None:
            line = _difference(frame, at, window, level, against, edges, by)
        lines.append(line)
    table = pd.DataFrame(lines)
    for name in (by, "against"):
        table[name] = pd.Series([line[name] for line in lines], dtype=frame[by].dtype)
    table["p_adjusted"] = holm(table["p_value"].to_numpy(dtype=float))
    checks = (*(rest.checks if rest is not None else ()), *said_of_edges(edges, at))
    return Contrasts(by, float(at), table, rest.limits_note if rest is not None else _NOTE, checks)


def _pairs(levels: Sequence[Any], pairs: Pairs) -> list[tuple[Any, Any]]:
    if pairs == "all":
        return [(level, first) for first, level in combinations(levels, 2)]
    return [(level, levels[0]) for level in levels[1:]]


def _difference(
    frame: pd.DataFrame,
    at: float,
    window: float,
    level: Any,
    against: Any,
    edges: Mapping[Any, str],
    by: str,
) -> dict[str, Any]:
    """One comparison by counts at the sites that hold both; refused where none does or limits lack."""
    stood = {name: set(frame.loc[frame[by] == name, "site"]) for name in (level, against)}
    shared = stood[level] & stood[against]
    rows = frame[frame[by].isin([level, against]) & frame["site"].isin(list(shared))].copy()
    rows.attrs = dict(frame.attrs)
    plots = [tally(rows[rows[by] == name])["plots"] for name in (level, against)]
    counts = tally(rows) if len(rows) else {"seedlings": 0, "plots": 0, "sites": 0}
    line: dict[str, Any] = {
        by: level,
        "against": against,
        "basis": REFUSED,
        **dict.fromkeys(("estimate", "std_error", "df", "lower", "upper", "p_value"), np.nan),
        "p_adjusted": np.nan,
        "unit": PER_100,
        "at_day": float(at),
        "n_seedlings": counts["seedlings"],
        "n_plots": counts["plots"],
        "n_sites": counts["sites"],
        "fewest_plots": min(plots),
        "penalised": False,
    }
    if not shared:
        return {**line, "reason": "no site holds both"}
    if not {level, against} & set(edges):
        return {**line, "reason": "no model of survival by method could be fitted to both"}
    if isinstance(rows[by].dtype, pd.CategoricalDtype):
        rows[by] = rows[by].cat.remove_unused_categories()
    told = counted(rows, at, window, by)
    sides = told.get(level), told.get(against)
    if sides[0] is None or sides[1] is None or not np.isfinite(_numbers(sides[0], sides[1])).all():
        fewest = min(plots)
        had = "one plot each" if max(plots) == 1 else f"{fewest} plot{'s' * (fewest != 1)} of one of them"
        few = f"{had}; at least {LEAST_PLOTS} are needed" if fewest < LEAST_PLOTS else "their visits differ"
        return {**line, "reason": f"no limits can be given: {few}"}
    estimate, lower, upper, df = difference_of(sides[0], sides[1])
    # The standard error that the nearer limit implies, so that p and limits say the same.
    near = estimate - lower if estimate > 0 else upper - estimate
    error = near / float(stats.t.ppf(0.5 + CONFIDENCE / 2, df))
    who = "; ".join(f"{edges[name]} was alive with {name}" for name in (level, against) if name in edges)
    return {
        **line,
        "basis": WITHIN,
        "estimate": 100 * estimate,
        "std_error": 100 * error,
        "df": df,
        "lower": 100 * lower,
        "upper": 100 * upper,
        "p_value": float(2 * stats.t.sf(abs(estimate) / error, df)),
        "reason": f"by the seedlings counted at the sites that hold both: {who}",
    }


def _numbers(first: Counted, second: Counted) -> Floats:
    return np.array([*vars(first).values(), *vars(second).values()], dtype=float)


def difference_of(first: Counted, second: Counted) -> tuple[float, float, float, float]:
    """Difference of two counted shares, its limits put together from theirs, and degrees of freedom.

    Returns
    -------
    estimate, lower, upper, df
        Shares; ``df`` is that of the side with fewer.
    """
    estimate = first.share - second.share
    down = np.hypot(first.share - first.lower, second.upper - second.share)
    up = np.hypot(first.upper - first.share, second.share - second.lower)
    return estimate, float(estimate - down), float(estimate + up), min(first.df, second.df)
