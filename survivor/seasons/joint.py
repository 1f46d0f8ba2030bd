"""One model of the records of all seasons, with a level for every season, site and block."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from survivor.analysis.models import season_formula
from survivor.errors import SurvivorError
from survivor.models.fit import fit
from survivor.models.result import Fit
from survivor.seasons.season import Season, join_seasons, joint_strata, side_by_side
from survivor.seasons.units import LOG_HAZARD
from survivor.vocabulary import PER_100

COLUMNS = [
    "method",
    "against",
    "scale",
    "estimate",
    "std_error",
    "df",
    "lower",
    "upper",
    "p_value",
    "n_seedlings",
    "n_plots",
    "n_sites",
]


def joint_fit(joined: pd.DataFrame, seasons: Sequence[Season]) -> Fit:
    """Fit the grouped model to the records of all seasons, strata by season, site and block.

    Raises
    ------
    ModelError
        When it cannot be fitted.
    """
    strata = joint_strata(joined, seasons)
    rows = side_by_side(joined, strata, seasons[0].usual)
    return fit(rows, season_formula(rows)[0], strata=strata)


def joint_estimates(seasons: Sequence[Season], at: float) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Compare preparations in one model of all records.

    Returns
    -------
    table, said
        See ``SeasonsTogether.joint``; sentences, and the reason where there is no table.
    """
    from survivor.effects.contrasts import contrasts

    joined = join_seasons(seasons)
    try:
        fitted = joint_fit(joined, seasons)
        per_100 = contrasts(fitted, at=at).table
    except SurvivorError as fault:
        return pd.DataFrame(columns=COLUMNS), (f"No one model of all records: {fault.what}.",)
    counts = per_100[["method", "against", "n_seedlings", "n_plots", "n_sites"]]
    counts = counts.astype({"method": str, "against": str})
    terms = fitted.table.set_index("term").reindex([f"method[T.{name}]" for name in counts["method"]])
    numbers = ["estimate", "std_error", "df", "lower", "upper", "p_value"]
    log = pd.concat([counts, terms[numbers].reset_index(drop=True)], axis=1).assign(scale=LOG_HAZARD)
    difference = pd.concat([counts, per_100[numbers]], axis=1).assign(scale=PER_100)
    table = pd.concat([log, difference], ignore_index=True)[COLUMNS]
    strata = ", ".join(fitted.strata)
    said = (
        f"One model of all records ({fitted.n_seedlings:,} seedlings in {fitted.n_plots} plots; levels for "
        f"{strata or 'none'}) takes a preparation's ratio as the same in every season: its limits, by "
        "plot, speak of "
        "these seasons only."
    )
    return table, (said,)
