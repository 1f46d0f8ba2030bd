"""Preparations with which nobody, or everybody, is alive: told by their counts and not by a model.

A model of proportional hazards bends such a preparation towards the others: it gives
living plants where there are none, or a survival so near to zero that a cost made from
it is without meaning. The counts say what there is to say. Their limits at 0 and 100 %
are Wilson's on the effective number of seedlings (``survivor.curves.limits``), and those
of a difference are put together from the limits of each side (Zou and Donner 2008,
Statistics in Medicine 27, 1693-1702: the square-and-add limits of which Newcombe's method
10 is one case), at the sites that hold both.

Does a model fit the counts: are the seedlings counted alive within its limits.

On a day between two visits the share alive lies between what was counted at the visits
round it. The model's average over the same plots, with its limits, should reach into that
stretch; where it lies wholly outside, its shape is wrong for these records, whatever its
limits say.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Any, Final

import numpy as np
import pandas as pd
from scipy import stats

from survivor.arrays import Floats
from survivor.curves import curve
from survivor.curves.limits import edge_numbers
from survivor.curves.rounds import at_milestone
from survivor.curves.samples import collect
from survivor.effects.cells import PLANTS, levels_of, study_cells
from survivor.effects.confounding import WITHIN
from survivor.effects.contrasts import LEAST_PLOTS, Contrasts, Pairs, simultaneous, with_limits
from survivor.effects.standardise import Standardised
from survivor.errors import CurveError
from survivor.intervals import entries, group_codes, sum_by, tally
from survivor.limits import at_edge, quantile, wilson
from survivor.models.result import Fit, holm
from survivor.vocabulary import PER_100, PLOT_KEY, REFUSED

METHOD: Final = "method"
NOBODY: Final = "nobody"
EVERYBODY: Final = "everybody"
_NOTE: Final = "95 % CI of each comparison on its own, not adjusted for their number; p adjusted by Holm"


@dataclass(frozen=True)
class Counted:
    """Survival of one level as observed: shares (0 to 1), limits and degrees of freedom; NaN where untold."""

    share: float
    lower: float
    upper: float
    df: float


_UNKNOWN: Final = Counted(np.nan, np.nan, np.nan, np.nan)


def counted(frame: pd.DataFrame, at: float, window: float, by: str = METHOD) -> dict[Any, Counted]:
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
    except CurveError:  # the day lies within an interval: a method without a model then stays untold, by name
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


def at_the_edge(frame: pd.DataFrame, at: float, window: float, by: str = METHOD) -> dict[Any, str]:
    """Levels with which nobody, or everybody, is alive at a day: ``nobody`` or ``everybody`` by level."""
    found = {}
    for level, told in counted(frame, at, window, by).items():
        if np.isfinite(told.share) and bool(at_edge(np.array([told.share]))[0]):
            found[level] = NOBODY if told.share < 0.5 else EVERYBODY
    return found


def with_counted_survival(
    rest: Standardised | None, frame: pd.DataFrame, at: float, window: float, edges: Mapping[Any, str]
) -> Standardised:
    """Put the methods that the model does not hold into survival by method, as observed.

    Parameters
    ----------
    rest
        Survival of the other methods by the model; None where there is no model: then every
        method is told as observed.
    frame, at, window
        As for :func:`counted`.
    edges
        As :func:`at_the_edge` gives them.

    Returns
    -------
    Standardised
        Methods in their own order; covariance of counted ones is not told (0).
    """
    levels, shares = levels_of(frame, METHOD), counted(frame, at, window)
    held = [] if rest is None else rest.table[METHOD].tolist()
    added = [name for name in levels if name not in held and (name in edges or rest is None)]
    lines = pd.DataFrame([_line(frame, name, shares.get(name, _UNKNOWN), at) for name in added])
    table = lines if rest is None else pd.concat([rest.table, lines])
    names = [*held, *added]
    order = sorted(range(len(names)), key=lambda place: levels.index(names[place]))
    covariance = np.zeros((len(names), len(names)))
    if rest is not None:
        covariance[: len(held), : len(held)] = rest.covariance
    table = table.iloc[order].reset_index(drop=True)
    table[METHOD] = pd.Series([names[place] for place in order], dtype=frame[METHOD].dtype)
    unseen = pd.DataFrame(columns=[METHOD, PLANTS, "share_per_100"]) if rest is None else rest.extrapolated
    checks = (*(() if rest is None else rest.noticed), *said_of_edges(edges, at))
    return Standardised(METHOD, float(at), table, covariance[np.ix_(order, order)], unseen, checks)


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


def _line(frame: pd.DataFrame, level: Any, share: Counted, at: float) -> dict[str, Any]:
    counts = tally(frame[frame[METHOD] == level])
    return {
        METHOD: level,
        "estimate": 100 * share.share,
        "std_error": 0.0,
        "df": share.df,
        "lower": 100 * share.lower,
        "upper": 100 * share.upper,
        "unit": PER_100,
        "at_day": float(at),
        **{f"n_{unit}": counts[unit] for unit in ("seedlings", "plots", "sites")},
        "died_any_day": counts["died"],
    }


def with_counted_contrasts(
    rest: Contrasts | None,
    frame: pd.DataFrame,
    at: float,
    window: float,
    edges: Mapping[Any, str],
    pairs: Pairs = "against",
) -> Contrasts:
    """Put comparisons with a method that is told as observed beside those of the model.

    Parameters
    ----------
    rest
        Comparisons of the other methods, of the same ``pairs``; None where there are none.
    frame, at, window, edges
        As for :func:`with_counted_survival`.
    pairs
        As for ``survivor.contrasts``.

    Returns
    -------
    Contrasts
        p adjusted anew for all comparisons told.
    """
    levels = levels_of(frame, METHOD)
    asked = [(level, levels[0]) for level in levels[1:]]
    if pairs == "all":
        asked = [(level, first) for first, level in combinations(levels, 2)]
    modelled = {} if rest is None else {(line[METHOD], line["against"]): line for line in _lines(rest.table)}
    lines = []
    for pair in asked:
        lines.append(modelled[pair] if pair in modelled else _difference(frame, at, window, pair, edges))
    table = pd.DataFrame(lines)
    for place, name in enumerate((METHOD, "against")):
        table[name] = pd.Series([pair[place] for pair in asked], dtype=frame[METHOD].dtype)
    table["p_adjusted"] = holm(table["p_value"].to_numpy(dtype=float))
    checks = (*(() if rest is None else rest.noticed), *said_of_edges(edges, at))
    note = _NOTE if rest is None else rest.limits_note
    made = Contrasts(METHOD, float(at), table, note, checks)
    return simultaneous(made, with_limits(made))


def _lines(table: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(name): value for name, value in line.items()} for line in table.to_dict("records")]


def _difference(
    frame: pd.DataFrame, at: float, window: float, pair: tuple[Any, Any], edges: Mapping[Any, str]
) -> dict[str, Any]:
    """One comparison by counts at the sites that hold both; refused where none does or limits lack."""
    stood = [set(frame.loc[frame[METHOD] == name, "site"]) for name in pair]
    shared = stood[0] & stood[1]
    rows = frame[frame[METHOD].isin(pair) & frame["site"].isin(list(shared))].copy()
    plots = [tally(rows[rows[METHOD] == name])["plots"] for name in pair]
    counts = tally(rows) if len(rows) else dict.fromkeys(("seedlings", "plots", "sites"), 0)
    line: dict[str, Any] = {
        METHOD: pair[0],
        "against": pair[1],
        "basis": REFUSED,
        **dict.fromkeys(("estimate", "std_error", "df", "lower", "upper", "p_value", "p_adjusted"), np.nan),
        "unit": PER_100,
        "at_day": float(at),
        **{f"n_{unit}": counts[unit] for unit in ("seedlings", "plots", "sites")},
        "fewest_plots": min(plots),
        "penalised": False,
    }
    if not shared:
        return {**line, "reason": "no site holds both"}
    if not set(pair) & set(edges):
        return {**line, "reason": "no model of survival by method could be fitted to both"}
    if isinstance(rows[METHOD].dtype, pd.CategoricalDtype):
        rows[METHOD] = rows[METHOD].cat.remove_unused_categories()
    shares = counted(rows, at, window)
    first, second = (shares.get(name, _UNKNOWN) for name in pair)
    if not np.isfinite(_numbers(first, second)).all():
        fewest = min(plots)
        had = "one plot each" if max(plots) == 1 else f"{fewest} plot{'s' * (fewest != 1)} of one of them"
        few = f"{had}; at least {LEAST_PLOTS} are needed" if fewest < LEAST_PLOTS else "their visits differ"
        return {**line, "reason": f"no limits can be given: {few}"}
    estimate, lower, upper, df = difference_of(first, second)
    # The standard error that the nearer limit implies, so that p and limits say the same.
    near = estimate - lower if estimate > 0 else upper - estimate
    error = near / float(quantile(df))
    who = "; ".join(f"{edges[name]} was alive with {name}" for name in pair if name in edges)
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


_SLACK = 1e-6
COLUMNS = ["level", "estimate", "lower", "upper", "counted_after", "counted_before", "outside"]


def fitted_counts(fit: Fit, at: float, by: str | None = "method") -> pd.DataFrame:
    """Set the model's survival of each level beside its counts, over the plots of that level.

    Parameters
    ----------
    fit
        A fitted model.
    at
        Days since planting.
    by
        Column of levels; None: all together.

    Returns
    -------
    DataFrame
        ``level, estimate, lower, upper`` (of the model), ``counted_after`` and
        ``counted_before`` (share alive at each plot's next visit and its last one), all per
        100, and ``outside``: whether the limits hold none of the stretch between the two.
    """
    frame = fit.data
    levels: list[Any] = ["all"] if by is None else levels_of(frame, by)
    cells = study_cells(fit, [], None)
    weights = np.array(
        [np.ones(len(cells.plants)) if by is None else np.asarray(cells.frame[by] == name) for name in levels]
    )
    weights = weights * cells.plants
    weights = weights / weights.sum(axis=1, keepdims=True)
    found = fit.average_survival(cells.frame, weights, at)
    estimate = np.asarray(found.estimate, dtype=float)
    limits = found.limits_of_survival(np.full(len(levels), np.nan))
    before, after = (
        np.array([_share(frame if by is None else frame[frame[by] == name], at, late) for name in levels])
        for late in (False, True)
    )
    known = np.isfinite(limits.lower) & np.isfinite(limits.upper) & ~at_edge(estimate)
    outside = known & ((limits.upper < after - _SLACK) | (limits.lower > before + _SLACK))
    numbers = (estimate, limits.lower, limits.upper, after, before)
    table = {name: 100 * values for name, values in zip(COLUMNS[1:-1], numbers, strict=True)}
    return pd.DataFrame({"level": levels, **table, "outside": outside})


def _share(frame: pd.DataFrame, at: float, late: bool) -> float:
    """Share alive by the product over each plot's visits up to a day, or up to the next one after it."""
    frame = frame.reset_index(drop=True)
    keys = [name for name in PLOT_KEY if name in frame.columns]
    code = group_codes(frame, keys)[0] if keys else np.zeros(len(frame), dtype=np.intp)
    plots = int(code.max()) + 1
    first = entries(frame)  # rows of the table on which somebody entered, with how many
    planted = sum_by(code[first.index.to_numpy()], first["at_risk"].to_numpy(dtype=float), plots)
    start, stop = (frame[name].to_numpy(dtype=float) for name in ("start_day", "stop_day"))
    used = start < at if late else stop <= at
    rows, died = (frame[name].to_numpy(dtype=float) for name in ("at_risk", "died"))
    day = np.unique(stop, return_inverse=True)[1]
    visit = code * (int(day.max()) + 1) + day
    size = plots * (int(day.max()) + 1)
    risk = sum_by(visit[used], rows[used], size).reshape(plots, -1)
    dead = sum_by(visit[used], died[used], size).reshape(plots, -1)
    lived = np.where(risk > 0, 1 - dead / np.where(risk > 0, risk, 1.0), 1.0).prod(axis=1)
    return float(np.average(lived, weights=planted))
