"""Differences between methods in survival per 100 planted.

A pair is standardised over the places that hold both methods, so that the
difference is told from plots that stood side by side. A pair that never met at
a site is a comparison of sites: it needs a model without site levels whose
limits go by site, and it is named so.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.arguments import base_level
from survivor.arrays import Floats
from survivor.effects.cells import Cells, check_by, check_day, levels_of, study_cells, under_levels
from survivor.effects.confounding import BETWEEN, WITHIN, Layout, layout, linked_through, stands_at
from survivor.entry import per_100_of, said_of_entry
from survivor.errors import EffectError
from survivor.intervals import entries, group_codes, row_codes, sum_by
from survivor.limits import check_level, holding_together, with_level
from survivor.models.one_ratio import said_of_one_ratio
from survivor.models.result import Fit, holm
from survivor.shown import Shown
from survivor.vocabulary import CONFIDENCE, PLOT_KEY, REFUSED

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Pairs = Literal["against", "all"]

_NUMBERS = ("estimate", "std_error", "df", "lower", "upper", "p_value")
LEAST_PLOTS = 3  # of each method, under which plots of one cannot be distinguished
ALL_PLOTS = "all plots"  # a frame of one's own without sites: nothing is compared within any
_TOO_FEW_SITES = "was used at one site only, so the method cannot be distinguished from the site"


@dataclass(frozen=True, repr=False)
class Contrasts(Shown):
    """Differences between levels with limits.

    Attributes
    ----------
    by
        Column of levels.
    at_day
        Days since planting.
    table
        ``<by>, against, basis, estimate, std_error, df, lower, upper`` (first less
        second, per 100 planted), ``lower_simultaneous, upper_simultaneous, p_value, p_adjusted,
        unit, at_day, n_seedlings, n_plots, n_sites, fewest_plots, penalised, reason``.
        ``basis`` is ``within sites``, ``between sites only`` or ``refused``; ``all plots`` in
        a frame without sites. Limits are t limits of the one comparison, not adjusted.
        Simultaneous ones hold together for all comparisons not refused
        (:func:`simultaneous`): they allow for one being picked because it is clear.
        ``p_adjusted`` is Holm's over the same comparisons. ``fewest_plots`` is the plots of
        the arm with fewer. ``penalised`` tells whether the model behind the comparison is
        penalised.
    limits_note
        Words that go with the limits.
    noticed
        Plain sentences on the comparisons.
    fit
        The model within sites, asked by ``checks``; None where there is nothing to ask.
    level
        Confidence level of the limits; where it is not 0.95, the table names it in a column ``level``.
    comparisons
        How many comparisons the simultaneous limits hold for together.
    """

    by: str
    at_day: float
    table: pd.DataFrame
    limits_note: str
    noticed: tuple[str, ...]
    fit: Fit | None = field(default=None, repr=False)
    level: float = CONFIDENCE
    comparisons: int = 1

    @property
    def checks(self) -> tuple[str, ...]:
        """Plain sentences: what was noticed, and whether one ratio of hazards all season holds.

        The latter takes a fit more, once a model, which is why it is made only when asked for.
        """
        return (*self.noticed, *said_of_one_ratio(self.fit, self.by))

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw each difference with its limits."""
        from survivor.figures.comparison import draw_contrasts

        return draw_contrasts(self.table.rename(columns={self.by: "method"}), ax)


@dataclass(frozen=True)
class Pair:
    """Two levels, on what basis they are compared, why, and at which places."""

    level: Any
    against: Any
    basis: str
    reason: str
    places: pd.DataFrame  # places that the comparison rests on; empty where refused


def contrasts(
    fit: Fit,
    by: str = "method",
    at: float = 365,
    against: Any = None,
    pairs: Pairs = "against",
    population: pd.DataFrame | None = None,
    between_fit: Fit | None = None,
    plain_fit: Fit | None = None,
    level: float = CONFIDENCE,
) -> Contrasts:
    """Differences in survival per 100 planted between levels of ``by``.

    Parameters
    ----------
    fit
        A fitted model that holds ``by``.
    by
        Column of methods.
    at
        Days since planting.
    against
        Level to compare with; None: the first (the usual practice). Used by
        ``pairs="against"``.
    pairs
        ``against``: each level against one. ``all``: every pair.
    population
        Plants of the whole planting as weights; None: the plants of the records.
    between_fit
        The same model with ``strata=None`` and ``cluster="site"``, for pairs that
        share no site. Without it such pairs are refused with the reason. It may hold
        levels that ``fit`` leaves out because no site joins them to the rest.
    plain_fit
        The same model without the levels at which nobody, or everybody, died, where
        these make ``fit`` penalised: pairs within sites whose levels it both holds are
        told by it, so that only pairs with such a level rest on the penalty.
    level
        Confidence level of the limits.

    Returns
    -------
    Contrasts

    Raises
    ------
    EffectError
        When the model does not hold ``by`` or takes it as amounts, ``against`` is not a
        level, or ``between_fit`` cannot carry comparisons of sites.

    Examples
    --------
    >>> survivor.contrasts(fit, at=365).table[["method", "against", "estimate", "p_adjusted"]].round(2)
      method against  estimate  p_adjusted
    0  auger   usual     11.36        0.13
    1    rip   usual     25.23        0.01
    """
    check_by(fit, by)
    _refuse_amounts(fit, by)
    check_day(fit, at)
    check_level(level)
    if between_fit is not None:
        _check_between(between_fit, by)
    if plain_fit is not None:
        check_by(plain_fit, by)
    # The model of sites may hold methods that share no site with the rest.
    data = fit.data if between_fit is None else between_fit.data
    asked = _asked(levels_of(data, by), against, pairs, by)
    columns = place_columns(fit)
    grid = layout(data, by, columns)
    decided = [decide(fit, grid, by, pair, columns, between_fit) for pair in asked]
    plain = set() if plain_fit is None else set(levels_of(plain_fit.data, by))

    def model_of(pair: Pair) -> Fit | None:
        if pair.basis == BETWEEN:
            return between_fit or fit
        if pair.basis == WITHIN:
            return plain_fit if plain_fit and {pair.level, pair.against} <= plain else fit
        return None

    models = [model_of(pair) for pair in decided]
    numbers = np.full((len(decided), len(_NUMBERS)), np.nan)
    checks: list[str] = []
    for model in (fit, plain_fit, between_fit):
        places = [place for place, own in enumerate(models) if own is model and own is not None]
        if model is not None and places:
            pairs_here = [decided[place] for place in places]
            numbers[places], remarks = _differences(model, by, at, pairs_here, population, level)
            checks += [remark for remark in remarks if remark not in checks]
    penalised = np.array([own is not None and own.variance == "penalised" for own in models], dtype=bool)
    table = _table(data, by, at, decided, numbers, penalised)
    note = (
        f"{100 * level:g} % limits of each comparison on its own, not adjusted for their number; "
        "p adjusted by Holm"
    )
    made = Contrasts(by, float(at), with_level(table, level), note, tuple(checks), fit, float(level))
    return simultaneous(made, with_limits(made))


def with_limits(found: Contrasts) -> int:
    """Count the comparisons that have limits."""
    return int(found.table["lower"].notna().sum())


def simultaneous(found: Contrasts, comparisons: int) -> Contrasts:
    """Give each difference limits that hold for so many comparisons together.

    See `survivor.limits.holding_together`.
    """
    table = holding_together(found.table, comparisons, found.level)
    return replace(found, table=table, comparisons=max(comparisons, 1))


def _refuse_amounts(fit: Fit, by: str) -> None:
    """Raise where numbers are in the model as amounts: all pairs would be read off one line through them."""
    numbers = pd.api.types.is_numeric_dtype(fit.data[by]) and by not in fit.strata
    if not numbers or fit.data[by].nunique() < 3 or re.search(rf"\bC\(\s*{re.escape(by)}\b", fit.formula):
        return
    raise EffectError(
        f"{by} is a column of numbers, and the model takes them as amounts: every pair of its values would "
        "be compared on one line through all of them",
        where=f"by={by!r}",
        mend=f"where the numbers stand for names, write C({by}) in the formula; the response to an amount "
        f"is survivor.dose(fit, {by!r})",
    )


def _asked(levels: list[Any], against: Any, pairs: Pairs, by: str) -> list[tuple[Any, Any]]:
    if len(levels) < 2:
        raise EffectError(
            f"there is one level of {by} only, so there is nothing to compare",
            where=f"by={by!r}",
            mend="compare columns that have at least two levels in the records",
        )
    if isinstance(pairs, str) and pairs == "all":
        return [(level, first) for first, level in combinations(levels, 2)]
    if not isinstance(pairs, str) or pairs != "against":
        raise EffectError(f"pairs={pairs!r} is not known", where="pairs", mend='use "against" or "all"')
    base = base_level(levels, against, by, EffectError)
    return [(level, base) for level in levels if level != base]


def place_columns(fit: Fit) -> list[str]:
    """Columns of the places within which the model compares: blocks, else sites."""
    strata = [name for name in fit.strata if name in ("site", "block")]
    if strata:
        return strata
    return ["site"] if "site" in fit.data.columns else []


def _holds_places(fit: Fit) -> bool:
    return "site" not in fit.data.columns or "site" in fit.strata or "site" in fit.variables


def _check_between(fit: Fit, by: str) -> None:
    check_by(fit, by)
    if fit.strata or "site" in fit.variables or tuple(fit.cluster) != ("site",):
        raise EffectError(
            "a model that compares sites must have no site levels and limits that go by site",
            where="between_fit",
            mend='fit it with strata=None and cluster="site"',
        )


def decide(
    fit: Fit, grid: Layout, by: str, pair: tuple[Any, Any], columns: list[str], between_fit: Fit | None
) -> Pair:
    """Say on what basis a pair can be compared, and at which places."""
    level, against = pair
    shared = grid.shared(level, against)
    held = levels_of(fit.data, by)
    if shared.any() and not {level, against} <= set(held):
        reason = f"no site joins these to {held[0]}, with which the model within sites begins"
        return Pair(level, against, REFUSED, reason, grid.places[:0])
    if shared.any():
        reason = (
            "" if _holds_places(fit) else "the model has no site levels: differences between sites are in it"
        )
        return Pair(level, against, WITHIN, reason, grid.places[shared])
    nowhere = grid.places[:0]
    data = fit.data if between_fit is None else between_fit.data
    sites = grid if columns == ["site"] else layout(data, by, ["site"])
    if sites.shared(level, against).any():
        reason = 'a site holds both but no block does: fit with strata="site"'
        return Pair(level, against, REFUSED, reason, nowhere)
    reason = "no site holds both"
    alone = [name for name in pair if sites.count(name) < 2]
    if alone:
        reason += "".join(f"; {name} {_TOO_FEW_SITES}" for name in alone)
        return Pair(level, against, REFUSED, reason, nowhere)
    through = linked_through(sites, level, against)
    if through:
        reason += f"; within sites they are linked only through {', '.join(map(str, through))}"
    if between_fit is None and (_holds_places(fit) or tuple(fit.cluster) != ("site",)):
        reason += '; comparing sites needs a model with strata=None and cluster="site"'
        return Pair(level, against, REFUSED, reason, nowhere)
    reason += ": differences between sites are part of it"
    return Pair(level, against, BETWEEN, reason, sites.places[sites.either(level, against)])


def _differences(
    fit: Fit,
    by: str,
    at: float,
    pairs: Sequence[Pair],
    population: pd.DataFrame | None,
    level: float = CONFIDENCE,
) -> tuple[Floats, list[str]]:
    """``_NUMBERS`` of each difference in shares, shape (pairs, 6)."""
    cells = study_cells(fit, [by], population)
    levels = levels_of(fit.data, by)
    flat = weights_of(cells, levels, pairs)
    stacked = under_levels(cells.frame, by, levels, fit.data[by])
    # Cells that no pair rests on are not asked for: a model may have no answer there.
    used = (flat != 0).any(axis=0)
    found = fit.average_survival(stacked[used].reset_index(drop=True), flat[:, used], at)
    columns = (found.estimate, found.std_error, found.df, *found.limits_of_differences(level))
    names = [f"{pair.level} against {pair.against}" for pair in pairs]
    said = [*cells.checks, *said_of_entry(fit.data, fit.n_seedlings), *found.said(names)]
    return np.column_stack(columns), said


def weights_of(cells: Cells, levels: list[Any], pairs: Sequence[Pair]) -> Floats:
    """Weights of each pair over all cells under all levels, shape (pairs, levels times cells).

    One row a pair, so that each difference has its own degrees of freedom.
    """
    weights = np.zeros((len(pairs), len(levels), len(cells.plants)))
    for place, pair in enumerate(pairs):
        plants = cells.plants * stands_at(cells.frame, pair.places)
        share = plants / plants.sum() if plants.sum() > 0 else np.full(len(plants), np.nan)
        weights[place, levels.index(pair.level)] = share
        weights[place, levels.index(pair.against)] = -share
    return weights.reshape(len(pairs), -1)


def _table(
    data: pd.DataFrame,
    by: str,
    at: float,
    pairs: Sequence[Pair],
    numbers: Floats,
    penalised: NDArray[np.bool_],
) -> pd.DataFrame:
    estimate, std_error, df, lower, upper, p_value = numbers.T
    known = (std_error > 0) & (df > 0)  # False for blanks
    arms = _arms(data, by)
    counts = np.array([_counts(arms, by, pair) for pair in pairs])
    basis, reason = [], []
    for pair, told, count, found in zip(pairs, known, counts, penalised, strict=True):
        lost = pair.basis != REFUSED and not told
        untold = _no_limits(int(count[3]), int(count[1]), bool(found)) if lost else ""
        named = ALL_PLOTS if pair.basis == WITHIN and "site" not in data.columns else pair.basis
        basis.append(REFUSED if lost else named)
        reason.append(untold or pair.reason)
    shown = np.where(known, 1.0, np.nan)
    p_value = p_value * shown
    like = data[by].dtype
    return pd.DataFrame(
        {
            by: pd.Series([pair.level for pair in pairs], dtype=like),
            "against": pd.Series([pair.against for pair in pairs], dtype=like),
            "basis": basis,
            "estimate": 100 * estimate * shown,
            "std_error": 100 * std_error * shown,
            "df": df * shown,
            "lower": 100 * lower * shown,
            "upper": 100 * upper * shown,
            "p_value": p_value,
            "p_adjusted": holm(p_value),
            "unit": per_100_of(data),
            "at_day": float(at),
            "n_seedlings": counts[:, 0],
            "n_plots": counts[:, 1],
            "n_sites": counts[:, 2],
            "fewest_plots": counts[:, 3],
            "penalised": penalised,
            "reason": reason,
        }
    )


def _no_limits(fewest: int, plots: int, penalised: bool) -> str:
    """Why an estimate has no limits: too few plots where it is so, else what the model came to."""
    if 0 < fewest < LEAST_PLOTS:
        fewer = "one plot of one of them" if fewest == 1 else f"{fewest} plots of one of them"
        had = "one plot each" if fewest == 1 and plots == 2 else fewer
        return f"no limits can be given: {had}; at least {LEAST_PLOTS} are needed"
    if penalised:
        return (
            "no limits can be given: nobody, or nearly nobody, lived or died with one of them, so the model "
            "has no end to what the difference may be; see the seedlings counted"
        )
    return "no limits can be given: at these sites nothing tells how far plots of one method differ"


def _arms(data: pd.DataFrame, by: str) -> pd.DataFrame:
    """Seedlings that entered, one row a level and plot: what comparisons are counted from."""
    started = entries(data)
    codes, arms = group_codes(started, [by, *(name for name in PLOT_KEY if name in data.columns)])
    return arms.assign(at_risk=sum_by(codes, started["at_risk"].to_numpy(), len(arms)))


def _counts(arms: pd.DataFrame, by: str, pair: Pair) -> tuple[int, int, int, int]:
    """Seedlings, plots and sites that a comparison rests on, and plots of the arm with fewer."""
    own, here = np.asarray(arms[by]), stands_at(arms, pair.places)
    first, second = (own == pair.level) & here, (own == pair.against) & here
    rows = arms[first | second]
    told = "plot" in arms.columns
    keys = [rows[name] for name in PLOT_KEY if name in arms.columns]
    return (
        int(rows["at_risk"].sum()),
        len(row_codes(keys)[1]) if told else 0,
        int(rows["site"].nunique(dropna=False)) if "site" in arms.columns else 0,
        int(min(first.sum(), second.sum())) if told else 0,
    )
