"""The weed-free radius: how survival goes with it, and preparations with it held equal."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pandas as pd

from survivor.analysis.comparing import answerable
from survivor.analysis.models import SeasonFits, of_methods
from survivor.analysis.parts import Reason, Unmade, reason
from survivor.analysis.season import Season
from survivor.effects.contrasts import Contrasts, contrasts
from survivor.effects.dose import Dose, dose
from survivor.effects.slopes import Slopes, radius_by_method
from survivor.errors import SurvivorError
from survivor.models.by_period import fit_again
from survivor.models.fit import fit
from survivor.models.result import Fit
from survivor.words import listed

RADIUS = "weed_free_radius_m"


@dataclass(frozen=True)
class Radius:
    """What a wider weed-free patch goes with.

    Attributes
    ----------
    response
        Survival by radius.
    held_equal
        Preparations against the usual practice with the radius held equal.
    by_method
        Slope of the radius under each preparation, and whether they differ.
    """

    response: Dose | None = None
    held_equal: Contrasts | None = None
    by_method: Slopes | None = None


def radius_of(season: Season, models: SeasonFits, unmade: Unmade) -> Radius:
    """Tell how survival goes with the radius, where a model of survival by method does.

    What was measured after planting is part of what a preparation did: it is described and never
    adjusted for.
    """
    head = models.headline
    if models.within is None or head is None:
        why = models.too_few_left or "without a model of survival by method its response cannot be determined"
        unmade.keep(reason("radius", why))
        return Radius()
    intervals, design = season.intervals, season.settings.design
    if RADIUS not in intervals.columns or intervals[RADIUS].isna().all():
        unmade.keep(reason("radius", "no plot has a radius in the records"))
        return Radius()
    # Every cell of method and site has its own level, so methods that no site joins count too.
    source, note = _where_it_varies(models.whole or head)
    made = unmade.attempt(
        "radius",
        lambda: dose(
            source,
            RADIUS,
            season.milestone_day,
            gain=design.radius_gain,
            population=season.population,
            radius_measured=design.radius_measured,
            soil_depth_m=season.settings.soil.root_depth_m,
            per=season.basis.per_100,
        ),
    )
    response = made if made is None or not note else replace(made, checks=(*made.checks, note))
    if design.radius_measured != "at planting":
        why = "The study file does not say that the radius was measured at planting"
        unmade.keep(Reason("radius_by_method", why))
        return Radius(response)
    return Radius(
        response,
        unmade.attempt("radius_held_equal", lambda: _held_equal(season, models, head)),
        unmade.attempt("radius_by_method", lambda: radius_by_method(source, RADIUS, season.milestone_day)),
    )


def _where_it_varies(source: Fit) -> tuple[Fit, str]:
    """Leave out preparations with one radius in all their plots: they say nothing of a wider patch.

    Such are those without any weed control, of radius 0, which would else draw the response on to 0.
    """
    rows = source.data
    radii = rows.groupby(rows["method"].astype(str), sort=False)[RADIUS].nunique()
    same = [str(name) for name, number in radii.items() if number == 1]
    varying = [name for name in rows["method"].unique() if radii[str(name)] > 1]
    if not same or len(varying) < 2:
        return source, ""
    try:
        fitted = fit_again(of_methods(rows, varying), source)
    except SurvivorError:  # then nothing is left out, and the response is of all methods
        return source, ""
    return fitted, f"Left out of the response, with one radius in all plots: {listed(same)}."


def _held_equal(season: Season, models: SeasonFits, head: Fit) -> Contrasts:
    measured = season.intervals[season.intervals[RADIUS].notna()].copy()
    joined = of_methods(measured, head.data["method"].unique())
    held = fit(joined, f"{head.formula} + {RADIUS}", strata=list(head.strata) or None, working=head.working)
    day = min(season.milestone_day, float(joined["stop_day"].max()))
    between = _between_held(models, measured)
    # What the comparison itself cannot bear it cannot bear with the radius held equal.
    return answerable(contrasts(held, at=day, population=season.population, between_fit=between), season)


def _between_held(models: SeasonFits, measured: pd.DataFrame) -> Fit | None:
    """Fit the model between sites with the radius in it, for methods that share no site."""
    between = models.between
    if between is None:
        return None
    try:
        return fit(
            measured, f"{between.formula} + {RADIUS}", strata=None, cluster="site", working=between.working
        )
    except SurvivorError:
        return None  # such pairs are then refused by name
