"""The season's models: which terms, which strata, and the fits themselves."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from survivor.curves.rounds import at_milestone
from survivor.effects.confounding import layout
from survivor.effects.counted import at_the_edge, said_of_edges
from survivor.effects.standardise import survival
from survivor.errors import SurvivorError
from survivor.intervals import entries
from survivor.models.by_period import fit_by_period
from survivor.models.fit import fit
from survivor.models.result import Fit
from survivor.models.varying import fit_varying
from survivor.models.working import INDEPENDENCE, PLOT_CORRELATION, Working
from survivor.settings import Settings
from survivor.vocabulary import FIRST_PLANTING, PLOT_KEY

_CLEAR = 0.05  # p of the F test of period by method under which ratios differ between periods
_MOST_MIXED = 3000  # plots; beyond, the mixed model takes minutes and tells little more
# 90th over 10th percentile of plants watched a plot above which plots are weighted. Below it standard errors
# would shrink by less than 7 in 100 (35 plants a plot, correlation 0.08; tests/calibration/notes.md), and
# that each seedling counts as one is the plainer target.
_UNEQUAL = 4.0


@dataclass(frozen=True)
class SeasonFits:
    """The models of a season.

    ``headline`` is the grouped model with a level for each stratum; ``whole`` speaks of
    every plot, also of methods that ``headline`` leaves out; ``between`` has no
    strata and goes by site, for methods that share no site; ``others`` by name.
    ``cannot`` and ``notes`` are sentences. ``answer`` is what is reported of methods:
    ``headline``, or the same with ratios by period where these differ. ``edges``: methods
    with which nobody, or everybody, is alive at the milestone; no model holds them.
    ``not_proportional``: ratios differ between periods and ``answer`` has none.
    """

    headline: Fit | None
    whole: Fit | None
    between: Fit | None
    others: dict[str, Fit]
    cannot: tuple[str, ...]
    notes: tuple[str, ...]
    answer: Fit | None = None
    edges: Mapping[Any, str] = field(default_factory=dict)
    not_proportional: bool = False


def first_plants(intervals: pd.DataFrame) -> pd.DataFrame:
    """Intervals of the plants first put in: infill is never counted in their survival."""
    if "cohort" not in intervals.columns:
        return intervals
    first = intervals[intervals["cohort"] == FIRST_PLANTING]
    first.attrs = dict(intervals.attrs)
    return of_methods(first, first["method"].unique())


def of_methods(intervals: pd.DataFrame, methods: Iterable[Any]) -> pd.DataFrame:
    """Intervals of these methods only."""
    kept = intervals[intervals["method"].isin(list(methods))].copy()
    kept.attrs = dict(intervals.attrs)
    if isinstance(kept["method"].dtype, pd.CategoricalDtype):
        kept["method"] = kept["method"].cat.remove_unused_categories()
    return kept


def season_formula(intervals: pd.DataFrame) -> tuple[str, tuple[str, ...]]:
    """Write the formula of the headline model: method, and species where there are several.

    The weed-free radius stays out: it is part of the method as it was done.
    """
    terms, notes = [], []
    if intervals["method"].nunique() > 1:
        terms.append("method")
    species = intervals["species"].astype(str) if "species" in intervals.columns else pd.Series(dtype=str)
    if species.nunique() > 1:
        if (species == "").any():
            notes.append("Species is not recorded for every plant, so it is left out of the models.")
        else:
            terms.append("species")
    return " + ".join(terms) or "1", tuple(notes)


def fit_season(intervals: pd.DataFrame, settings: Settings, at: float) -> SeasonFits:
    """Fit the season's models to the first plants.

    Parameters
    ----------
    intervals
        Risk intervals of the first plants.
    settings
        The study file: strata, milestone window.
    at
        Day of the logistic model.
    """
    strata = strata_of(intervals, settings)
    working, weighted = working_of(intervals)
    edges = _edges(intervals, at, float(settings.headline_milestone.window_days))
    rest = intervals
    if edges:
        rest = of_methods(intervals, [name for name in intervals["method"].unique() if name not in edges])
    if rest.empty:
        whole = _whole(intervals, strata, working)
        return SeasonFits(None, whole, None, {}, (), (*weighted, *said_of_edges(edges, at)), None, edges)
    joined, apart = _joined(rest, strata)
    formula, notes = season_formula(joined)
    said = [*notes, *weighted, *apart, *said_of_edges(edges, at)]
    cannot: list[str] = []
    headline = None
    try:
        headline = fit(joined, formula, strata=strata, working=working)
    except SurvivorError as fault:
        cannot.append(f"No model of survival by method: {fault.what}.")
    if headline is not None:
        said += [_sentence(check) for check in headline.checks]
        said.append(_variance(headline))
    answer, ratios, unfitted = _by_period(headline)
    said += ratios
    between = _between(rest, season_formula(rest)[0], working)
    others: dict[str, Fit] = {}
    if headline is not None:
        others, missed = _others(joined, formula, strata, at, settings, working)
        said += missed
    # A model without methods needs no penalty: where they do, it tells the whole better.
    plain = headline is not None and joined is intervals and headline.variance != "penalised"
    whole = answer if plain else _whole(intervals, strata, working)
    notes = tuple(dict.fromkeys(said))
    return SeasonFits(headline, whole, between, others, tuple(cannot), notes, answer, edges, unfitted)


def _edges(intervals: pd.DataFrame, at: float, window: float) -> dict[Any, str]:
    """Methods with which nobody, or everybody, is alive; none where there is one method only, or all are so.

    Where all died, or none did, the models tell how long they lived, and nothing of the day is compared.
    """
    if intervals["method"].nunique() < 2:
        return {}
    found = at_the_edge(intervals, at, window)
    return found if len(set(found.values())) > 1 or len(found) < intervals["method"].nunique() else {}


def _by_period(headline: Fit | None) -> tuple[Fit | None, list[str], bool]:
    """Give the model with ratios by period where the F test rejects one ratio for the whole season.

    Returns
    -------
    answer, said, unfitted
        The model to report, sentences, and whether ratios differ but cannot be had.
    """
    if headline is None or headline.variance != "CR2" or "method" not in headline.variables:
        return headline, [], False
    try:
        test = fit_by_period(headline, "method").proportional
    except SurvivorError:
        return headline, [], False  # nothing speaks against one ratio, since nothing could
    if not test.p_value < _CLEAR:
        return headline, [], False
    differ = (
        f"The ratio of the chances of dying between preparations is not the same all season (F "
        f"{test.statistic:.1f} on {test.df1:.0f} and {test.df2:.0f} degrees of freedom, p "
        f"{'under 0.001' if test.p_value < 0.001 else format(test.p_value, '.3f')})"
    )
    try:
        varying = fit_varying(headline, "method")
        told = survival(varying, at=float(headline.data["stop_day"].max())).table
    except SurvivorError as fault:
        return headline, [f"{differ}, but a model with a ratio for each period failed: {fault.what}."], True
    if not np.isfinite(told["std_error"].to_numpy(dtype=float)).all():
        return headline, [f"{differ}, but a model with a ratio for each period has no limits."], True
    said = f"{differ}, so survival and differences come from the model with a ratio for each period."
    return varying, [said], False


def working_of(intervals: pd.DataFrame) -> tuple[Working, list[str]]:
    """Choose how much seedlings of large and small plots count, and say so where it is not alike.

    It goes by how many plants are watched, never by who died. See ``survivor.fit``, ``working``.
    """
    watched = entries(intervals).groupby(list(PLOT_KEY), observed=True, dropna=False)["at_risk"].sum()
    low, high = np.percentile(watched.to_numpy(dtype=float), [10, 90])
    if not high > _UNEQUAL * low:
        return INDEPENDENCE, []
    said = (
        f"Plots differ much in how many plants are watched (10th percentile {low:.0f}, 90th {high:.0f}), so "
        "a seedling of a large plot counts for less in the models as far as seedlings of one plot are alike; "
        "if survival goes with the size of plots, survival and differences speak less of the seedlings "
        "planted and more of the plots."
    )
    return PLOT_CORRELATION, [said]


def strata_of(intervals: pd.DataFrame, settings: Settings) -> list[str] | None:
    """Name the study's strata that have more than one level, or None."""
    kept = [name for name in settings.design.strata if intervals[name].astype(str).nunique() > 1]
    return kept or None


def _joined(intervals: pd.DataFrame, strata: list[str] | None) -> tuple[pd.DataFrame, list[str]]:
    """Keep the methods that some site joins to the usual practice, and name the others.

    A method that shares no site with the rest cannot be told from its sites by a
    model with site levels; it is compared between sites only.
    """
    if strata is None or intervals["method"].nunique() < 2:
        return intervals, []
    parts = layout(intervals, "method", strata).parts()
    first = parts[0]
    apart = [str(method) for part in parts[1:] for method in part]
    if not apart:
        return intervals, []
    it = "it" if len(apart) == 1 else "them"
    said = (
        f"No site joins {', '.join(apart)} to {', '.join(map(str, first))}: the model within sites leaves "
        f"{it} out, and what is said of {it} compares sites as much as preparations."
    )
    return of_methods(intervals, first), [said]


def _whole(intervals: pd.DataFrame, strata: list[str] | None, working: Working) -> Fit | None:
    """Fit a model of every plot without its method: the survival of the planting as it was done."""
    formula = season_formula(intervals.assign(method=""))[0]
    try:
        return fit(intervals, formula, strata=strata, working=working)
    except SurvivorError:
        return None


def _between(intervals: pd.DataFrame, formula: str, working: Working) -> Fit | None:
    if intervals["site"].nunique() < 2 or "method" not in formula:
        return None
    try:
        return fit(intervals, formula, strata=None, cluster="site", working=working)
    except SurvivorError:
        # The comparison between sites is then refused by name in the contrasts.
        return None


def _others(
    intervals: pd.DataFrame,
    formula: str,
    strata: list[str] | None,
    at: float,
    settings: Settings,
    working: Working,
) -> tuple[dict[str, Fit], list[str]]:
    """Models fitted beside the headline, to see whether they agree."""
    found: dict[str, Fit] = {}
    missed: list[str] = []
    if formula == "1":
        return found, missed
    window = float(settings.headline_milestone.window_days)
    try:
        # It puts deaths on the day of the visit, so a visit just after the milestone must count for it.
        found["cox"] = fit(at_milestone(intervals, at, window)[0], formula, model="cox", strata=strata)
    except SurvivorError as fault:
        missed.append(f"The cox model was not fitted: {fault.what}.")
    try:
        found["logistic"] = fit(
            intervals, formula, model="logistic", strata=strata, at=at, window=window, working=working
        )
    except SurvivorError as fault:
        missed.append(f"The logistic model was not fitted: {fault.what}.")
    plots = len(intervals.drop_duplicates(list(PLOT_KEY)))
    if plots > _MOST_MIXED:
        missed.append(f"The mixed model was not fitted: with {plots:,} plots it would take long.")
        return found, missed
    try:
        found["mixed"] = fit(intervals, formula, model="mixed", strata=strata, restricted=True)
    except SurvivorError as fault:
        missed.append(f"The mixed model was not fitted: {fault.what}.")
    return found, missed


def _variance(fitted: Fit) -> str:
    if fitted.variance == "penalised":
        return (
            "Seedlings in a plot are not independent: limits are widened by how much the plots of the other "
            f"preparations differ ({fitted.n_clusters} plots in all)."
        )
    df = fitted.table["df"]
    spread = (
        ""
        if df.empty or not np.isfinite(df).any()
        else f", {df.min():.0f} to {df.max():.0f} degrees of freedom"
    )
    return (
        f"Seedlings in a plot are not independent: limits are by plot ({fitted.n_clusters} plots, "
        f"{fitted.variance}{spread}), not by seedling."
    )


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")
