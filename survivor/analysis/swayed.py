"""What an answer turns on that its limits do not hold: fit, days between visits, missing plants, records.

Each is judged by making the answer again another way and seeing whether it says another
thing. What does goes into the grade, and on the first screen where it is the rule for
missing plants, since that rule is the reader's to choose.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from survivor.analysis.milestone import between_visits, rounds_of
from survivor.analysis.models import of_methods
from survivor.analysis.result import Analysis
from survivor.analysis.rules import other_missing, under_other_missing
from survivor.analysis.season import Season
from survivor.costing import payoff
from survivor.curves.rounds import at_milestone
from survivor.effects.fitted_counts import fitted_counts
from survivor.effects.standardise import Standardised, survival
from survivor.errors import SurvivorError
from survivor.evidence import Circumstances, target_verdict
from survivor.evidence.grading import MOST_PLOTS, MOST_RECORDS
from survivor.figures.words import per_100, per_100_limits
from survivor.models.result import Fit
from survivor.models.varying import fit_again
from survivor.records import Records
from survivor.vocabulary import PLOT_KEY


@dataclass(frozen=True)
class Swayed:
    """What the answers of a season turn on.

    Attributes
    ----------
    common
        What holds for every answer.
    misfit
        Methods whose counts lie outside the model's limits.
    payoff
        Circumstances of cost per established plant, and ``payoff_said`` a sentence; empty
        where its answer is the same under the other rule for missing plants.
    """

    common: Circumstances = field(default_factory=Circumstances)
    misfit: frozenset[str] = frozenset()
    payoff: Circumstances = field(default_factory=Circumstances)
    payoff_said: str = ""


def swayed(analysis: Analysis, season: Season) -> Swayed:
    """Judge what holds for all answers, for comparisons and for costs."""
    common = Circumstances(set_aside=many_set_aside(season.records))
    answer = season.fits.answer
    if answer is None or "method" not in answer.variables:
        return Swayed(common, frozenset(), common)
    misfit = misfits(answer, season.at)
    costed = () if analysis.payoff is None else tuple(map(str, analysis.payoff.table["method"]))
    said = _other_payoff(analysis, season, answer)
    known = replace(
        common,
        penalised=answer.variance == "penalised",
        misfit=bool(misfit & set(costed)),
        not_proportional=season.fits.not_proportional,
        missing_rule=bool(said),
    )
    return Swayed(common, misfit, known, said)


def many_set_aside(records: Records) -> bool:
    """Whether records set aside until they are mended are many, of all or of the plots they lie in."""
    fate = records.accounts["fate"]
    told = fate.isin(["used", "set aside"])
    aside = fate == "set aside"
    if not told.any() or not aside.any():
        return False
    if aside.sum() > MOST_RECORDS * told.sum():
        return True
    lost = len(records.plots) - len(records.intervals.drop_duplicates(list(PLOT_KEY)))
    return bool(lost > MOST_PLOTS * max(len(records.plots), 1))


def misfits(fit: Fit, at: float, by: str | None = "method") -> frozenset[str]:
    """Levels whose counts lie outside the model's limits at a day."""
    try:
        table = fitted_counts(fit, at, by)
    except SurvivorError:
        return frozenset()
    return frozenset(map(str, table.loc[table["outside"], "level"]))


def of_whole(
    season: Season, at: float, target: float | None, window: float
) -> tuple[Circumstances, str, str]:
    """Judge survival of the whole planting at a day, and the verdict on a target where there is one.

    Parameters
    ----------
    season
        With the model of the whole planting.
    at, window
        Days since planting, and how many days a visit may lie from it.
    target
        Survival promised, per 100 planted; None: nothing was promised.

    Returns
    -------
    known, told, said
        Circumstances; how survival on the day is known where no visit fell on it; and a
        sentence where the verdict, or without a promise the survival, is another under the other rule
        for missing plants.
    """
    fitted = season.fits.whole
    told = between_visits(season.intervals, at)
    known = Circumstances(set_aside=many_set_aside(season.records))
    if fitted is None:
        return known, "", ""  # as counted: no model tells it
    known = replace(
        known,
        penalised=fitted.variance == "penalised",
        misfit=bool(misfits(fitted, at, None)),
        not_proportional=season.fits.not_proportional,
    )
    if target is None:
        return _without_promise(season, fitted, at, known, told)

    def verdict(fit: Fit) -> tuple[str, Standardised]:
        found = survival(fit, None, min(at, float(fit.data["stop_day"].max())), season.population)
        return target_verdict(*_numbers(found), target).word, found

    word = verdict(fitted)[0]
    known = replace(
        known, between_visits=_turns(word, _other_days(season, fitted, at, window, told), verdict)
    )
    other, found = _other_missing(season, fitted)
    if found is None:
        return known, told, ""
    again, line = verdict(found)
    if again == word:
        return known, told, ""
    sentence = target_verdict(*_numbers(line), target).sentence
    opposite = {word, again} == {"met", "not met"}
    said = f"With {_plants(other)} it is {again}: {sentence.rpartition(': ')[2]}"
    return replace(known, missing_rule=not opposite, bounds_change_sign=opposite), told, said


def _without_promise(
    season: Season, fitted: Fit, at: float, known: Circumstances, told: str
) -> tuple[Circumstances, str, str]:
    """Where nothing was promised: whether the other rule for missing plants leads out of the limits."""
    other, again = _other_missing(season, fitted)
    if again is None:
        return known, told, ""
    first, second = (
        survival(one, None, min(at, float(one.data["stop_day"].max())), season.population)
        for one in (fitted, again)
    )
    _, lower, upper = _numbers(first)
    estimate, low, high = _numbers(second)
    if lower <= estimate <= upper:
        return known, told, ""
    said = (
        f"With {_plants(other)}, {per_100(estimate)} of 100 were alive (95 % limits "
        f"{per_100_limits(low, high)})."
    )
    return replace(known, missing_rule=True), told, said


def _numbers(found: Standardised) -> tuple[float, float, float]:
    """Estimate and limits of the one group told."""
    line = found.table.iloc[0]
    return float(line["estimate"]), float(line["lower"]), float(line["upper"])


def _turns(word: str, fits: list[Fit], verdict: Callable[[Fit], tuple[str, Any]]) -> bool:
    return any(verdict(fit)[0] != word for fit in fits)


def _other_days(season: Season, fitted: Fit, at: float, window: float, told: str) -> list[Fit]:
    """Spread deaths between visits otherwise: a piece for each round, and visits near the day as on it.

    None where a visit fell on the day: then nothing is filled in.
    """
    if not told:
        return []
    frame = fitted.data
    ends = [last for _, last in rounds_of(np.unique(frame["stop_day"].to_numpy(dtype=float)))][:-1]
    found = []
    for rows, options in (
        (frame, {"pieces": ends} if ends else {}),
        (at_milestone(frame, at, window)[0], {}),
    ):
        try:
            found.append(fit_again(rows, fitted, **options))
        except SurvivorError:
            continue
    return found


def _other_missing(season: Season, fitted: Fit) -> tuple[str, Fit | None]:
    """Name the other rule for missing plants, and fit the model under it; None where nothing differs."""
    chosen = season.settings.rules.missing
    name = other_missing(chosen)
    methods = fitted.data["method"].unique()
    table = under_other_missing(season.records, chosen, methods, season.found_first)
    if table is None or _same(table, fitted.data):
        return name, None
    try:
        return name, fit_again(of_methods(table, methods), fitted)
    except SurvivorError:
        return name, None


def _same(first: pd.DataFrame, second: pd.DataFrame) -> bool:
    names = ["start_day", "stop_day", "at_risk", "died"]
    return len(first) == len(second) and bool((first[names].to_numpy() == second[names].to_numpy()).all())


def _other_payoff(analysis: Analysis, season: Season, answer: Fit) -> str:
    """Say which method would cost least under the other rule for missing plants, where it is another."""
    found = analysis.payoff
    if found is None or len(found.table) < 2:
        return ""
    name, fitted = _other_missing(season, answer)
    if fitted is None:
        return ""
    at = min(season.at, float(fitted.data["stop_day"].max()))
    currency = str(found.table["currency"].iloc[0])
    try:
        again = payoff(
            fitted, dict(found.prices), at, population=season.population, currency=currency, seed=found.seed
        )
    except SurvivorError:
        return ""
    first, second = (_lowest(one.table) for one in (found, again))
    if first == second and found.cheapest == again.cheapest:
        return ""
    clearly = "clearly cost least" if again.cheapest is not None else "came out lowest, not clearly"
    return f"With {_plants(name)}, {second} {clearly}."


def _plants(rule: str) -> str:
    return rule.replace("missing", "missing plants", 1)


def _lowest(table: pd.DataFrame) -> str:
    return str(table["method"].iloc[int(table["cost_per_established"].to_numpy().argmin())])
