"""The answer under other rules for plants that were missing or never found again."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pandas as pd

from survivor.analysis.entry import from_first_visit
from survivor.analysis.models import first_plants, of_methods
from survivor.effects.contrasts import contrasts
from survivor.effects.standardise import survival
from survivor.errors import SurvivorError
from survivor.models.result import Fit
from survivor.models.varying import fit_again
from survivor.records import Records
from survivor.records.tagged import Missing

TOGETHER = "all preparations"
SURVIVAL_COLUMNS = ["rule", "method", "estimate", "lower", "upper"]
CONTRAST_COLUMNS = ["rule", "method", "against", "estimate", "lower", "upper", "p_adjusted"]


def other_rules(
    records: Records, missing_is: Missing, methods: Iterable[Any], found_first: bool = False
) -> dict[str, pd.DataFrame]:
    """Risk intervals of the first plants of these methods by the name of the rule, as reported first.

    Empty for counts, which know neither tags nor missing plants. ``found_first``: of the
    seedlings found at the first visit.
    """
    if not _tagged(records):
        return {}
    methods = list(methods)
    named = {
        "as reported": records.intervals,
        other_missing(missing_is): records.under(missing=_other(missing_is)),
        "plants never found again all dead": records.under(unknown="dead"),
        "plants never found again all alive": records.under(unknown="alive"),
    }
    return {rule: _analysed(intervals, methods, found_first) for rule, intervals in named.items()}


def under_other_missing(
    records: Records, missing_is: Missing, methods: Iterable[Any], found_first: bool = False
) -> pd.DataFrame | None:
    """Give the intervals under the other rule for missing plants, as `other_rules` does; None for counts."""
    if not _tagged(records):
        return None
    return _analysed(records.under(missing=_other(missing_is)), list(methods), found_first)


def _tagged(records: Records) -> bool:
    return bool((records.intervals["tag"].astype(str) != "").any())


def _other(missing_is: Missing) -> Missing:
    return "unknown" if missing_is == "dead" else "dead"


def _analysed(intervals: pd.DataFrame, methods: list[Any], found_first: bool) -> pd.DataFrame:
    found = of_methods(first_plants(intervals), methods)
    return from_first_visit(found) if found_first else found


def other_missing(missing_is: Missing) -> str:
    """Name the rule for missing plants that the study file did not choose."""
    return f"missing counted as {'unknown' if missing_is == 'dead' else 'dead'}"


def answers_under(
    tables: dict[str, pd.DataFrame],
    headline: Fit,
    at: float,
    population: pd.DataFrame | None,
    whole: Fit | None = None,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Survival per method and differences under each rule, by the headline model.

    Parameters
    ----------
    tables
        Risk intervals by rule.
    headline
        The model whose formula and strata are used again.
    at
        Days since planting.
    population
        Plants of the whole planting, or None.
    whole
        The model of the whole planting, for survival of all preparations together under each
        rule; it is told where it is a model of the same methods.

    Returns
    -------
    survival, differences
        Per 100 planted. A rule under which the model cannot be fitted is left out.
    """
    kept: list[pd.DataFrame] = []
    together: list[pd.DataFrame] = []
    held = set(headline.data["method"].astype(str))
    if whole is not None and set(whole.data["method"].astype(str)) != held:
        whole = None
    differences: list[pd.DataFrame] = []
    for rule, intervals in tables.items():
        try:
            fitted = fit_again(intervals, headline)
            day = min(at, float(intervals["stop_day"].max()))
            alive = survival(fitted, at=day, population=population).table
            pairs = contrasts(fitted, at=day, population=population).table
        except SurvivorError:
            continue
        kept.append(alive.assign(rule=rule)[SURVIVAL_COLUMNS])
        differences.append(pairs[pairs["basis"] != "refused"].assign(rule=rule)[CONTRAST_COLUMNS])
        if whole is not None:
            try:
                again = fitted if whole is headline else fit_again(intervals, whole)
                line = survival(again, None, day, population).table
            except SurvivorError:
                continue
            together.append(line.assign(rule=rule, method=TOGETHER)[SURVIVAL_COLUMNS])
    return _stack([*kept, *together], SURVIVAL_COLUMNS), _stack(differences, CONTRAST_COLUMNS)


def _stack(parts: list[pd.DataFrame], columns: list[str]) -> pd.DataFrame:
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=columns)
