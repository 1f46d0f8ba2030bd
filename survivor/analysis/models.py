"""The season's models: which terms, which strata, and the fits themselves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from survivor.errors import SurvivorError
from survivor.models.fit import fit
from survivor.models.result import Fit
from survivor.settings import Settings
from survivor.vocabulary import FIRST_PLANTING


@dataclass(frozen=True)
class SeasonFits:
    """The models of a season.

    ``headline`` is the grouped model with a level for each stratum; ``between`` the
    same without strata and by site, for methods that share no site; ``others`` by
    name. ``cannot`` and ``notes`` are sentences.
    """

    headline: Fit | None
    between: Fit | None
    others: dict[str, Fit]
    cannot: tuple[str, ...]
    notes: tuple[str, ...]


def first_plants(intervals: pd.DataFrame) -> pd.DataFrame:
    """Intervals of the plants first put in: infill is never counted in their survival."""
    if "cohort" not in intervals.columns:
        return intervals
    kept = intervals[intervals["cohort"] == FIRST_PLANTING].copy()
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
    formula, notes = season_formula(intervals)
    said = list(notes)
    cannot: list[str] = []
    strata = _strata(intervals, settings)
    headline = None
    try:
        headline = fit(intervals, formula, strata=strata)
    except SurvivorError as fault:
        cannot.append(f"No model of survival by method: {fault.what}.")
    if headline is not None:
        said += [_sentence(check) for check in headline.checks]
        said.append(_variance(headline))
    between, others = None, {}
    if headline is not None:
        between = _between(intervals, formula)
        others, missed = _others(intervals, formula, strata, at, settings)
        said += missed
    return SeasonFits(headline, between, others, tuple(cannot), tuple(dict.fromkeys(said)))


def _strata(intervals: pd.DataFrame, settings: Settings) -> list[str] | None:
    kept = [name for name in settings.design.strata if intervals[name].astype(str).nunique() > 1]
    return kept or None


def _between(intervals: pd.DataFrame, formula: str) -> Fit | None:
    if intervals["site"].nunique() < 2 or "method" not in formula:
        return None
    try:
        return fit(intervals, formula, strata=None, cluster="site")
    except SurvivorError:
        # The comparison between sites is then refused by name in the contrasts.
        return None


def _others(
    intervals: pd.DataFrame, formula: str, strata: list[str] | None, at: float, settings: Settings
) -> tuple[dict[str, Fit], list[str]]:
    """Models fitted beside the headline, to see whether they agree."""
    found: dict[str, Fit] = {}
    missed = []
    if formula == "1":
        return found, missed
    window = float(settings.headline_milestone.window_days)
    try:
        found["cox"] = fit(intervals, formula, model="cox", strata=strata)
    except SurvivorError as fault:
        missed.append(f"The cox model was not fitted: {fault.what}.")
    try:
        found["logistic"] = fit(intervals, formula, model="logistic", strata=strata, at=at, window=window)
    except SurvivorError as fault:
        missed.append(f"The logistic model was not fitted: {fault.what}.")
    return found, missed


def _variance(fitted: Fit) -> str:
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
