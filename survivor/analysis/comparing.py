"""Each preparation against the usual practice, and all pairs: differences per 100."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.analysis.models import SeasonFits, of_methods
from survivor.analysis.parts import Reason, Unmade, attempt
from survivor.analysis.season import Season
from survivor.effects.cells import levels_of
from survivor.effects.confounding import BETWEEN, no_overlap
from survivor.effects.contrasts import LEAST_PLOTS, Contrasts, Pairs, contrasts, simultaneous, with_limits
from survivor.effects.counted import with_counted_contrasts
from survivor.errors import SurvivorError
from survivor.intervals import entries
from survivor.models.fit import fit
from survivor.models.result import Fit, holm
from survivor.vocabulary import PLOT_KEY, RANDOM, REFUSED
from survivor.words import counted

# Traits of a place, whatever is done to it.
GROUND: Final = ("ground", "texture", "landform", "slope", "past_land_use")
_NUMBERS: Final = ["estimate", "std_error", "df", "lower", "upper", "p_value"]


@dataclass(frozen=True)
class Comparisons:
    """Differences between preparations, per 100, standardised over the study's sites and species.

    Attributes
    ----------
    against
        Each preparation against the usual practice, or the one with most plots.
    all_pairs
        Each against each other. Simultaneous limits of both tables allow for all these pairs.
    notes
        How they were made, in sentences.
    """

    against: Contrasts | None = None
    all_pairs: Contrasts | None = None
    notes: tuple[str, ...] = ()


def comparisons_of(season: Season, models: SeasonFits, unmade: Unmade) -> Comparisons:
    """Compare preparations within sites where a model does, else between sites, or by counts."""
    plain, notes = without_separated(models)
    against = unmade.keep(_compared(season, models, plain, "comparing", "against"))
    every = unmade.keep(_compared(season, models, plain, "all_pairs", "all"))
    # One is picked from all pairs, so both tables allow for as many.
    shown = [None if found is None else answerable(found, season) for found in (against, every)]
    pairs = max((with_limits(found) for found in shown if found is not None), default=0)
    first, rest = (None if found is None else simultaneous(found, pairs) for found in shown)
    return Comparisons(first, rest, notes)


def answerable(found: Contrasts, season: Season) -> Contrasts:
    """Refuse what the records cannot bear: no limits, no p, and the reason in their place.

    That is a comparison with fewer than three units of the kind that was allocated (plots; sites
    where only sites are compared) on one side, and, where preparations were not allocated at
    random, one whose two sides stood on no common ground.
    """
    plots = season.intervals.drop_duplicates([*PLOT_KEY, "method"])
    random = season.settings.design.allocation == RANDOM
    table = found.table.copy()
    for place, line in zip(table.index, table.to_dict("records"), strict=True):
        why = "" if line["basis"] == REFUSED else _unable(line, plots, random)
        if why:
            table.loc[place, _NUMBERS] = np.nan
            table.loc[place, ["basis", "reason"]] = REFUSED, why
    table["p_adjusted"] = holm(table["p_value"].to_numpy(dtype=float))
    made = replace(found, table=table)
    return simultaneous(made, with_limits(made))


def _unable(line: dict[Any, Any], plots: pd.DataFrame, random: bool) -> str:
    """Why two preparations cannot be compared from these plots; empty where they can."""
    names = (line["method"], line["against"])
    unit, sides = "plot", [plots[plots["method"] == name] for name in names]
    if line["basis"] == BETWEEN:
        unit, few = "site", [own["site"].nunique() for own in sides]
    else:
        both = set(sides[0]["site"]) & set(sides[1]["site"])
        sides = [own[own["site"].isin(both)] for own in sides]
        few = [max(len(own), int(line["fewest_plots"])) for own in sides]
    if min(few) < LEAST_PLOTS:
        had = f"{names[int(np.argmin(few))]} has {counted(min(few), unit)}"
        if unit == "site":
            return f"no site holds both, and {had} of the {LEAST_PLOTS} needed"
        return f"{had} at the sites that hold both, and at least {LEAST_PLOTS} are needed"
    if random:
        return ""
    apart = no_overlap(sides[0], sides[1], [name for name in GROUND if name in plots.columns])
    return f"the two stood on no common ground ({', '.join(apart)})" if apart else ""


def _compared(
    season: Season, models: SeasonFits, plain: Fit | None, part: str, pairs: Pairs
) -> Contrasts | Reason:
    intervals, day, edges = season.intervals, season.milestone_day, models.edges
    within, between = models.within, models.between
    usual = levels_of(intervals, "method")[0]

    def made() -> Contrasts:
        if within is None and not edges:
            assert between is not None
            return contrasts(between, at=day, pairs=pairs, population=season.population, between_fit=between)
        modelled = None
        if within is not None and not (pairs == "against" and usual in edges):
            modelled = contrasts(
                within,
                at=day,
                pairs=pairs,
                population=season.population,
                between_fit=between,
                plain_fit=plain,
            )
        if not edges:
            assert modelled is not None
            return modelled
        return with_counted_contrasts(modelled, intervals, day, season.window, edges, pairs)

    if within is None and not edges and (between is None or intervals["method"].nunique() == 1):
        return Reason(part, models.why_not_within(intervals))
    return attempt(part, made)


def without_separated(models: SeasonFits) -> tuple[Fit | None, tuple[str, ...]]:
    """Fit the headline model again without methods with which nobody, or everybody, died.

    Only what compares such a method then rests on the penalty. None where the headline
    model is not penalised, or where the penalty has another cause.
    """
    head = models.headline
    if head is None or head.variance != "penalised" or "method" not in head.variables:
        return None, ()
    counts = head.data.groupby("method", observed=True)["died"].sum()
    planted = entries(head.data).groupby("method", observed=True)["at_risk"].sum()
    apart = [name for name in counts.index if counts[name] in (0, planted[name])]
    kept = [name for name in counts.index if name not in apart]
    if not apart or len(kept) < 2:
        return None, ()
    try:
        plain = fit(
            of_methods(head.data, kept), head.formula, strata=list(head.strata) or None, working=head.working
        )
    except SurvivorError:  # the penalised fit of all methods is then compared, and says that it is penalised
        return None, ()
    if plain.variance == "penalised":
        return None, ()
    names = "; ".join(map(str, apart))
    return plain, (
        f"Nobody, or everybody, died with {names}: what compares "
        f"{'it' if len(apart) == 1 else 'them'} rests on a penalised model. The other comparisons are from "
        f"the same model without {names}, and no penalty is in them.",
    )
