"""The season's models: which terms, which strata, and the fits themselves."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.analysis.parts import Reason, attempt
from survivor.curves.rounds import at_milestone
from survivor.effects.cells import of_levels
from survivor.effects.compare import joined_by_places, ratios_of, working_of
from survivor.effects.counted import at_the_edge, said_of_edges
from survivor.errors import SurvivorError
from survivor.models.fit import fit
from survivor.models.result import Fit
from survivor.models.working import Working
from survivor.parallel import side_by_side
from survivor.settings import Settings
from survivor.vocabulary import FIRST_PLANTING, PLOT_KEY
from survivor.words import sentence

BETWEEN_SITES: Final = ("between",)
_MOST_MIXED = 3000  # plots; beyond, the mixed model takes minutes and tells little more


@dataclass(frozen=True)
class SeasonFits:
    """The models of a season.

    ``headline`` is the grouped model with a level for each stratum; ``whole`` speaks of
    every plot, also of methods that ``headline`` leaves out; ``between`` has no
    strata and goes by site, for methods that share no site; ``others`` by name.
    ``notes`` are sentences; ``refused``: why there is no headline model. ``answer`` is what is
    reported of methods: ``headline``, or the same with ratios by period where these differ.
    ``edges``: methods with which nobody, or everybody, is alive at the milestone; no model holds them.
    ``not_proportional``: ratios differ between periods and ``answer`` has none.
    ``again``: ``answer`` and ``whole`` under the other rule for missing plants, once they were asked for.
    """

    headline: Fit | None
    whole: Fit | None
    between: Fit | None
    others: dict[str, Fit]
    refused: Reason | None
    notes: tuple[str, ...]
    answer: Fit | None = None
    edges: Mapping[Any, str] = field(default_factory=dict)
    not_proportional: bool = False
    again: dict[str, Fit | None] = field(default_factory=dict, repr=False, compare=False)

    @property
    def within(self) -> Fit | None:
        """The model that compares preparations within sites; None where there is none."""
        return self.answer if self.answer is not None and "method" in self.answer.variables else None

    @property
    def by_name(self) -> dict[str, Fit]:
        """Every model that was fitted; that of the answer is called ``grouped``."""
        return {**({"grouped": self.answer} if self.answer is not None else {}), **self.others}

    @property
    def too_few_left(self) -> str:
        """Why no model holds two preparations, where all or none live with the others; else empty."""
        if not self.edges or self.within is not None:
            return ""
        fates = " and ".join(dict.fromkeys(self.edges.values()))
        return f"it needs two preparations with some alive and some dead; {fates} was alive with the others"

    def why_not_within(self, intervals: pd.DataFrame) -> str:
        """Why preparations are not compared within sites, where no model does."""
        methods = intervals["method"].astype(str).unique()
        if len(methods) == 1:
            return f"Preparations cannot be compared: every plot had the same one, {methods[0]}"
        return (
            "Preparations cannot be compared within sites: no model of survival by method could be fitted "
            "there"
        )


NO_FITS: Final = SeasonFits(None, None, None, {}, None, ())


def first_plants(intervals: pd.DataFrame) -> pd.DataFrame:
    """Intervals of the plants first put in: infill is never counted in their survival."""
    if "cohort" not in intervals.columns:
        return intervals
    first = intervals[intervals["cohort"] == FIRST_PLANTING]
    return of_methods(first, first["method"].unique())


def of_methods(intervals: pd.DataFrame, methods: Iterable[Any]) -> pd.DataFrame:
    """Intervals of these methods only."""
    return of_levels(intervals, "method", methods)


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


def fit_season(intervals: pd.DataFrame, settings: Settings, at: float, *, others: bool = True) -> SeasonFits:
    """Fit the season's models to the first plants.

    Parameters
    ----------
    intervals
        Risk intervals of the first plants.
    settings
        The study file: strata, milestone window.
    at
        Day of the logistic model.
    others
        Whether models are fitted that show how far the answer rests on its own; the answer is the same.
    """
    models = with_answer(headline_model(intervals, settings, at), intervals, settings)
    names = models_beside(models) if others else BETWEEN_SITES
    beside = side_by_side(lambda name: fit_beside(models, name, intervals, settings, at), names)
    return with_beside(models, dict(zip(names, beside, strict=True)))


def headline_model(intervals: pd.DataFrame, settings: Settings, at: float) -> SeasonFits:
    """Fit the headline model, or say why there is none; parameters of `fit_season`."""
    strata = strata_of(intervals, settings)
    working, weighted = working_of(intervals)
    edges = _edges(intervals, at, float(settings.headline_milestone.window_days))
    rest = _without(intervals, edges)
    if rest.empty:
        return SeasonFits(None, None, None, {}, None, (*weighted, *said_of_edges(edges, at)), edges=edges)
    joined, apart = joined_by_places(rest, strata)
    formula, notes = season_formula(joined)
    said = [*notes, *weighted, *apart, *said_of_edges(edges, at)]
    refused = headline = None
    made = attempt("models", lambda: fit(joined, formula, strata=strata, working=working))
    if isinstance(made, Reason):
        refused = made
    else:
        headline = made
        said += [*map(sentence, headline.noticed), _variance(headline)]
    return SeasonFits(headline, None, None, {}, refused, tuple(dict.fromkeys(said)), edges=edges)


def with_answer(models: SeasonFits, intervals: pd.DataFrame, settings: Settings) -> SeasonFits:
    """Put to the headline model what answers are told by, and the model of the whole planting."""
    headline = models.headline
    answer, ratios, unfitted = _answer(headline)
    # A model without methods needs no penalty: where they do, it tells the whole better.
    every = headline is not None and len(headline.data) == len(intervals)  # and no preparation left out
    if headline is not None and every and headline.variance != "penalised":
        whole = answer
    else:
        whole = _whole(intervals, strata_of(intervals, settings), working_of(intervals)[0])
    notes = tuple(dict.fromkeys([*models.notes, *ratios]))
    return replace(models, whole=whole, answer=answer, notes=notes, not_proportional=unfitted)


def models_beside(models: SeasonFits) -> tuple[str, ...]:
    """Name what is fitted beside the headline model, the longest first."""
    if models.headline is None or models.headline.formula == "1":
        return BETWEEN_SITES
    return ("mixed", "cox", *BETWEEN_SITES, "logistic")


def fit_beside(
    models: SeasonFits, name: str, intervals: pd.DataFrame, settings: Settings, at: float
) -> Fit | str | None:
    """Fit a model beside the headline model; other parameters as of `fit_season`.

    Returns
    -------
    Fit, str or None
        Why one that shows whether models agree was not fitted; None: there is none between sites.
    """
    if name in BETWEEN_SITES:
        return _between(_without(intervals, models.edges), working_of(intervals)[0])
    assert models.headline is not None
    return _other(models.headline, name, at, float(settings.headline_milestone.window_days))


def with_beside(models: SeasonFits, made: Mapping[str, Fit | str | None]) -> SeasonFits:
    """Put the models beside the headline model, by name, to these."""
    between = made["between"]
    assert not isinstance(between, str)
    told = {name: made[name] for name in ("cox", "logistic", "mixed") if name in made}
    others = {name: one for name, one in told.items() if isinstance(one, Fit)}
    missed = [
        f"The {name} model was not fitted: {one}." for name, one in told.items() if isinstance(one, str)
    ]
    notes = tuple(dict.fromkeys([*models.notes, *missed]))
    return replace(models, between=between, others=others, notes=notes)


def _without(intervals: pd.DataFrame, edges: Mapping[Any, str]) -> pd.DataFrame:
    if not edges:
        return intervals
    return of_methods(intervals, [name for name in intervals["method"].unique() if name not in edges])


def _edges(intervals: pd.DataFrame, at: float, window: float) -> dict[Any, str]:
    """Methods with which nobody, or everybody, is alive; none where there is one method only, or all are so.

    Where all died, or none did, the models tell how long they lived, and nothing of the day is compared.
    """
    if intervals["method"].nunique() < 2:
        return {}
    found = at_the_edge(intervals, at, window)
    return found if len(set(found.values())) > 1 or len(found) < intervals["method"].nunique() else {}


def _answer(headline: Fit | None) -> tuple[Fit | None, list[str], bool]:
    """Give the model to report, what is said of it, and whether ratios differ but cannot be had."""
    if headline is None or "method" not in headline.variables:
        return headline, [], False
    chosen = ratios_of(headline, "method")
    if chosen.unfitted:  # said once, among what the models noticed, and not again of every answer
        chosen.fit.ratio_tests["method"] = None
    return chosen.fit, [chosen.said] if chosen.said else [], chosen.unfitted


def strata_of(intervals: pd.DataFrame, settings: Settings) -> list[str] | None:
    """Name the study's strata that have more than one level, or None."""
    kept = [name for name in settings.design.strata if intervals[name].astype(str).nunique() > 1]
    return kept or None


def _whole(intervals: pd.DataFrame, strata: list[str] | None, working: Working) -> Fit | None:
    """Fit a model of every plot without its method: the survival of the planting as it was done."""
    formula = season_formula(intervals.assign(method=""))[0]
    try:
        return fit(intervals, formula, strata=strata, working=working)
    except SurvivorError:  # the planting is then told as the methods together, each as observed or fitted
        return None


def _between(intervals: pd.DataFrame, working: Working) -> Fit | None:
    formula, _ = season_formula(intervals)
    if intervals["site"].nunique() < 2 or "method" not in formula:
        return None
    try:
        return fit(intervals, formula, strata=None, cluster="site", working=working)
    except SurvivorError:
        # The comparison between sites is then refused by name in the contrasts.
        return None


def _other(headline: Fit, model: str, at: float, window: float) -> Fit | str:
    """Fit a model beside the headline, to see whether they agree."""
    intervals, formula, strata = headline.data, headline.formula, list(headline.strata) or None
    try:
        if model == "cox":
            # It puts deaths on the day of the visit, so one just after the milestone must count for it.
            moved = at_milestone(intervals, at, window)[0]
            return fit(moved, formula, model="cox", strata=strata)
        if model == "mixed":
            plots = len(intervals.drop_duplicates(list(PLOT_KEY)))
            if plots > _MOST_MIXED:
                return f"with {plots:,} plots it would take long"
            return fit(intervals, formula, model="mixed", strata=strata, restricted=True)
        return fit(
            intervals,
            formula,
            model="logistic",
            strata=strata,
            at=at,
            window=window,
            working=headline.working,
        )
    except SurvivorError as fault:
        return fault.what


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


def large_of(season_rows: pd.DataFrame, models: SeasonFits) -> list[object]:
    """Name what of the models is large and need not be copied where it is known: rows and fits."""
    fits = [models.headline, models.whole, models.answer, models.between, *models.others.values()]
    fits += models.again.values()
    own = [(one, one.data, one.engine) for one in fits if one is not None]
    return [season_rows, *(part for parts in own for part in parts)]
