"""Sensitivity analyses: whether other models, rules, days or sites would answer otherwise.

Each answer is made again another way, to see whether it says another thing. What does goes into
the grade, and on the first screen where it is the rule for missing plants, since that rule is
the reader's to choose.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.analysis.comparing import Comparisons
from survivor.analysis.milestone import between_visits, rounds_of
from survivor.analysis.models import SeasonFits, first_plants, of_methods
from survivor.analysis.parts import Reason, Unmade, no_rows
from survivor.analysis.season import Season
from survivor.costs.payoff import Payoff, payoff
from survivor.curves.rounds import at_milestone
from survivor.effects.confounding import WITHIN
from survivor.effects.contrasts import Contrasts, contrasts
from survivor.effects.counted import fitted_counts
from survivor.effects.sites import OUT_COLUMNS, leave_one_site_out
from survivor.effects.standardise import survival
from survivor.entry import from_first_visit
from survivor.errors import SurvivorError
from survivor.evidence import english as en
from survivor.evidence.finding import Alternative
from survivor.evidence.grading import MOST_PLOTS, MOST_RECORDS, Circumstances
from survivor.evidence.making import Turns
from survivor.evidence.words import Verdict, target_verdict
from survivor.models.by_period import fit_again
from survivor.models.result import Fit
from survivor.records import Records
from survivor.records.tagged import Missing
from survivor.sentences import Name, Sentence, say
from survivor.vocabulary import PLOT_KEY, REFUSED, Basis
from survivor.words import limits, per_100_limits

TOGETHER: Final = "all preparations"
AGREEMENT_COLUMNS: Final = ("model", "method", "against", "estimate", "lower", "upper", "note")
BOUND_COLUMNS: Final = ("rule", "method", "estimate", "lower", "upper")
DIFFERENCE_COLUMNS: Final = ("rule", "method", "against", "estimate", "lower", "upper", "p_adjusted")
COST_COLUMNS: Final = ("rule", "method", "cost_per_established", "lower", "upper", "currency")


@dataclass(frozen=True)
class Robustness:
    """The answer under other models, under other rules, and without each site.

    Attributes
    ----------
    agreement
        ``model, method, against, estimate, lower, upper`` (per 100), ``note``; those of the
        answer first.
    bounds
        ``rule, method, estimate, lower, upper`` (per 100): survival under other rules for missing
        and unknown plants.
    differences
        ``rule, method, against, estimate, lower, upper, p_adjusted``: differences under them.
    left_out
        As :func:`survivor.effects.sites.leave_one_site_out` gives it.
    costs
        ``rule, method, cost_per_established, lower, upper, currency``: cost per established plant under
        the other rule for missing plants; empty where no plant was missing, and for counts.
    """

    agreement: pd.DataFrame = field(default_factory=no_rows(*AGREEMENT_COLUMNS))
    bounds: pd.DataFrame = field(default_factory=no_rows(*BOUND_COLUMNS))
    differences: pd.DataFrame = field(default_factory=no_rows(*DIFFERENCE_COLUMNS))
    left_out: pd.DataFrame = field(default_factory=no_rows(*OUT_COLUMNS))
    costs: pd.DataFrame = field(default_factory=no_rows(*COST_COLUMNS))


def robustness_of(season: Season, models: SeasonFits, comparisons: Comparisons, unmade: Unmade) -> Robustness:
    """Make the answer again by other models and under other rules; `without_each_site` is apart.

    Where nothing is compared, survival under other rules alone.
    """
    head = models.within
    if head is None:
        why = models.too_few_left or models.why_not_within(season.intervals)
        unmade.keep(Reason("robustness", why))
        return Robustness()
    tables = other_rules(season, head.data["method"].unique())
    bounds, differences = answers_under(tables, head, season, models)
    if comparisons.against is None:
        unmade.keep(replace(unmade["comparing"], part="robustness"))
        return Robustness(bounds=bounds)
    answer = comparisons.against
    return Robustness(
        _of_answered(_agreement(season, models, answer), answer), bounds, _of_answered(differences, answer)
    )


def without_each_site(season: Season, models: SeasonFits, comparisons: Comparisons) -> pd.DataFrame:
    """Make the answer again without each site: `Robustness.left_out`; empty where nothing is compared."""
    if models.within is None or comparisons.against is None:
        return Robustness().left_out
    left_out = leave_one_site_out(models.within, season.milestone_day, season.population)
    return _of_answered(left_out, comparisons.against)


def _of_answered(table: pd.DataFrame, answer: Contrasts) -> pd.DataFrame:
    """Leave out pairs that cannot be compared: they have limits nowhere."""
    refused = answer.table.loc[answer.table["basis"] == REFUSED, "method"].astype(str)
    return table[~table["method"].astype(str).isin(set(refused))].reset_index(drop=True)


def _agreement(season: Season, models: SeasonFits, answer: Contrasts | None) -> pd.DataFrame:
    """Differences against the usual practice by every model, on one scale; those of the answer first."""
    parts = []
    if answer is not None:
        within = answer.table[answer.table["basis"] == WITHIN]
        parts.append(within.assign(model="grouped", note=within["reason"]))
    for name, fitted in models.others.items():
        day = season.milestone_day if fitted.at is None else fitted.at
        try:
            table = contrasts(fitted, at=day, population=season.population).table
        except SurvivorError as fault:
            parts.append(pd.DataFrame([{"model": name, "note": fault.what}]))
            continue
        parts.append(table.assign(model=name, note=table["reason"]))
    return _stacked(parts, AGREEMENT_COLUMNS)


def other_rules(season: Season, methods: Iterable[Any]) -> dict[str, pd.DataFrame]:
    """Risk intervals of the first plants of these methods by the name of the rule, as reported first.

    Empty for counts, which know neither tags nor missing plants.
    """
    records, chosen = season.records, season.settings.rules.missing
    if not _tagged(records):
        return {}
    methods = list(methods)
    named = {
        "as reported": records.intervals,
        other_missing(chosen): records.under(missing=_other(chosen)),
        "plants never found again all dead": records.under(unknown="dead"),
        "plants never found again all alive": records.under(unknown="alive"),
    }
    return {rule: _analysed(intervals, methods, season.basis) for rule, intervals in named.items()}


def _tagged(records: Records) -> bool:
    return records.settings.records.kind == "tagged"


def _other(missing_is: Missing) -> Missing:
    return "unknown" if missing_is == "dead" else "dead"


def _analysed(intervals: pd.DataFrame, methods: list[Any], basis: Basis) -> pd.DataFrame:
    rows = of_methods(first_plants(intervals), methods)
    return from_first_visit(rows) if basis is Basis.FOUND else rows


def other_missing(missing_is: Missing, plants: str = "missing") -> str:
    """Name the rule for missing plants that the study file did not choose."""
    return f"{plants} counted as {_other(missing_is)}"


def under_other_missing(missing_is: Missing) -> str:
    """Begin a sentence on what the other rule for missing plants gives."""
    return f"With {other_missing(missing_is, 'missing plants')}"


def answers_under(
    tables: dict[str, pd.DataFrame], headline: Fit, season: Season, models: SeasonFits
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Survival per method and differences under each rule, by the headline model.

    Parameters
    ----------
    tables
        Risk intervals by rule.
    headline
        The model whose formula and strata are used again.
    season
        For the day and the plants of the whole planting.
    models
        The model of the whole planting, for survival of all preparations together under each
        rule, is told where it is a model of the same methods.

    Returns
    -------
    survival, differences
        Per 100. A rule under which the model cannot be fitted is left out.
    """
    survived: list[pd.DataFrame] = []
    together: list[pd.DataFrame] = []
    differences: list[pd.DataFrame] = []
    missing, whole = other_missing(season.settings.rules.missing), models.whole

    def again(rule: str, intervals: pd.DataFrame, fitted: Fit) -> Fit:
        if _same(intervals, fitted.data):
            return fitted
        known = _other_missing(season, models, fitted) if rule == missing else None
        return fit_again(intervals, fitted) if known is None else known

    if whole is not None and set(whole.data["method"].astype(str)) != set(
        headline.data["method"].astype(str)
    ):
        whole = None
    for rule, intervals in tables.items():
        day = min(season.milestone_day, float(intervals["stop_day"].max()))
        try:
            fitted = again(rule, intervals, headline)
            alive = survival(fitted, at=day, population=season.population).table
            pairs = contrasts(fitted, at=day, population=season.population).table
        except SurvivorError:  # a rule under which no model is told has no line of limits
            continue
        survived.append(alive.assign(rule=rule))
        differences.append(pairs[pairs["basis"] != REFUSED].assign(rule=rule))
        if whole is not None:
            try:
                told = fitted if whole is headline else again(rule, intervals, whole)
                line = survival(told, None, day, season.population).table
            except SurvivorError:  # nor one of the planting as a whole
                continue
            together.append(line.assign(rule=rule, method=TOGETHER))
    return _stacked([*survived, *together], BOUND_COLUMNS), _stacked(differences, DIFFERENCE_COLUMNS)


def _stacked(parts: list[pd.DataFrame], columns: tuple[str, ...]) -> pd.DataFrame:
    names = list(columns)
    cut = [part.reindex(columns=names) for part in parts]
    return pd.concat(cut, ignore_index=True) if cut else pd.DataFrame(columns=names)


@dataclass(frozen=True)
class Fragility:
    """What the answers of a season turn on.

    Attributes
    ----------
    common
        What holds for every answer.
    misfit
        Methods whose counts lie outside the model's limits, each with the day and the numbers.
    costs
        Circumstances of cost per established plant, and ``costs_note`` a sentence; empty
        where its answer is the same under the other rule for missing plants.
    other_costs
        Cost per established plant under that rule, as in ``Robustness.costs``.
    """

    common: Circumstances = field(default_factory=Circumstances)
    misfit: Mapping[str, str] = field(default_factory=dict)
    costs: Circumstances = field(default_factory=Circumstances)
    costs_note: tuple[Sentence, ...] = ()
    other_costs: pd.DataFrame = field(default_factory=no_rows(*COST_COLUMNS))


def fragility_of(season: Season, models: SeasonFits, priced: Payoff | None) -> Fragility:
    """Judge what holds for all answers, for comparisons and for costs."""
    common = Circumstances(set_aside=many_set_aside(season.records))
    answer = models.within
    if answer is None:
        return Fragility(common, {}, common)
    misfit = misfits(answer, season.milestone_day)
    costed = () if priced is None else tuple(map(str, priced.table["method"]))
    again = None if priced is None else _other_payoff(priced, season, models, answer)
    note = () if priced is None or again is None else _costs_note(priced, again, season)
    costs = replace(
        common,
        penalised=answer.variance == "penalised",
        misfit="; ".join(misfit[name] for name in costed if name in misfit),
        not_proportional=models.not_proportional,
        missing_rule=bool(note),
    )
    return Fragility(common, misfit, costs, note, _other_costs(again, season))


def many_set_aside(records: Records) -> bool:
    """Whether records excluded until they are mended are many, of all or of the plots they lie in."""
    fate = records.accounts["fate"]
    told = fate.isin(["used", "excluded"])
    aside = fate == "excluded"
    if not told.any() or not aside.any():
        return False
    if aside.sum() > MOST_RECORDS * told.sum():
        return True
    key = list(PLOT_KEY)  # a plot of several species has a row of each
    plots = len(records.plots.drop_duplicates(key))
    lost = plots - len(records.intervals.drop_duplicates(key))
    return bool(lost > MOST_PLOTS * max(plots, 1))


def misfits(fit: Fit, at: float, by: str | None = "method") -> dict[str, str]:
    """Levels whose counts lie outside the model's limits at a day, each with both in words."""
    try:
        table = fitted_counts(fit, at, by)
    except SurvivorError:  # no visit near the day, or no counts there: nothing to hold the model against
        return {}
    return {
        str(line["level"]): (
            f"{TOGETHER if by is None else line['level']}, day {at:g}: observed "
            f"{limits(line['counted_after'], line['counted_before'])} per 100, the model "
            f"{per_100_limits(line['lower'], line['upper'])}"
        )
        for line in table[table["outside"]].to_dict("records")
    }


def of_whole(season: Season, models: SeasonFits, day: float, window: float, target: float | None) -> Turns:
    """Judge survival of the whole planting at a day, and the verdict on a target where there is one.

    Parameters
    ----------
    season, models
        With the model of the whole planting.
    day, window
        Days since planting, and how many days a visit may lie from it.
    target
        Survival promised, per 100 planted; None: nothing was promised.
    """
    fitted = models.whole
    circumstances = Circumstances(set_aside=many_set_aside(season.records))
    if fitted is None:
        return Turns(circumstances)  # as observed: no model tells it
    between = between_visits(season.intervals, day)
    circumstances = replace(
        circumstances,
        penalised=fitted.variance == "penalised",
        misfit="; ".join(misfits(fitted, day, None).values()),
        not_proportional=models.not_proportional,
    )

    def numbers(fit: Fit) -> tuple[float, float, float]:
        at = min(day, float(fit.data["stop_day"].max()))
        line = survival(fit, None, at, season.population).table.iloc[0]
        return float(line["estimate"]), float(line["lower"]), float(line["upper"])

    named = other_missing(season.settings.rules.missing, "missing plants")
    if target is None:
        again = _other_missing(season, models, fitted)
        if again is None:
            return Turns(circumstances, between)
        _, lower, upper = numbers(fitted)
        estimate, low, high = numbers(again)
        if lower <= estimate <= upper:
            return Turns(circumstances, between)
        otherwise = Alternative(named, estimate, low, high)
        return Turns(replace(circumstances, missing_rule=True), between, otherwise)

    def verdict(fit: Fit) -> Verdict:
        return target_verdict(numbers(fit), target, seedlings=season.basis)

    word = verdict(fitted).word
    other_days = _other_days(fitted, day, window) if between else []
    circumstances = replace(
        circumstances, between_visits=any(verdict(fit).word != word for fit in other_days)
    )
    again = _other_missing(season, models, fitted)
    other = None if again is None else verdict(again)
    if other is None or other.word == word:
        return Turns(circumstances, between)
    assert again is not None
    otherwise = Alternative(named, *numbers(again), other.word)
    return Turns(circumstances, between, otherwise)


def _other_days(fitted: Fit, day: float, window: float) -> list[Fit]:
    """Spread deaths between visits otherwise: a piece for each round, and visits near the day as on it."""
    frame = fitted.data
    ends = [last for _, last in rounds_of(np.unique(frame["stop_day"].to_numpy(dtype=float)))][:-1]
    refitted = []
    for rows, options in (
        (frame, {"pieces": ends} if ends else {}),
        (at_milestone(frame, day, window)[0], {}),
    ):
        try:
            refitted.append(fit_again(rows, fitted, **options))
        except SurvivorError:
            continue  # the answer then cannot turn on it
    return refitted


def fit_under_other(season: Season, models: SeasonFits) -> None:
    """Fit the models under the other rule for missing plants, before parts that ask for it are shared out."""
    for fitted in (models.within, models.whole):
        if fitted is not None:
            _other_missing(season, models, fitted)


def _other_missing(season: Season, models: SeasonFits, fitted: Fit) -> Fit | None:
    """Fit a model under the other rule for missing plants, once; None where nothing differs, and for counts.

    ``fitted`` is the model of the answer or of the whole planting.
    """
    name = "answer" if fitted is models.within else "whole"
    if name not in models.again:
        models.again[name] = _under_other(season, fitted)
    return models.again[name]


def _under_other(season: Season, fitted: Fit) -> Fit | None:
    if not _tagged(season.records):
        return None
    methods = fitted.data["method"].unique()
    other = season.records.under(missing=_other(season.settings.rules.missing))
    rows = _analysed(other, list(methods), season.basis)
    if _same(rows, fitted.data):
        return None
    try:
        return fit_again(of_methods(rows, methods), fitted)
    except SurvivorError:  # the answer then cannot turn on it; the table of rules has no line of it either
        return None


def _same(first: pd.DataFrame, second: pd.DataFrame) -> bool:
    names = ["start_day", "stop_day", "at_risk", "died"]
    return len(first) == len(second) and bool((first[names].to_numpy() == second[names].to_numpy()).all())


def _other_payoff(priced: Payoff, season: Season, models: SeasonFits, answer: Fit) -> Payoff | None:
    """Price established plants under the other rule for missing plants; None where nothing differs."""
    fitted = _other_missing(season, models, answer)
    if fitted is None:
        return None
    day = min(season.milestone_day, float(fitted.data["stop_day"].max()))
    currency = str(priced.table["currency"].iloc[0])
    try:
        return payoff(
            fitted,
            dict(priced.prices),
            day,
            population=season.population,
            currency=currency,
            seed=priced.seed,
        )
    except SurvivorError:  # no costs by a rule under which survival is not told
        return None


def _other_costs(again: Payoff | None, season: Season) -> pd.DataFrame:
    if again is None:
        return no_rows(*COST_COLUMNS)()
    rule = other_missing(season.settings.rules.missing)
    return again.table.assign(rule=rule).reindex(columns=list(COST_COLUMNS))


def _costs_note(priced: Payoff, again: Payoff, season: Season) -> tuple[Sentence, ...]:
    """Say which method would cost least under the other rule for missing plants, where it is another."""
    if len(priced.table) < 2:
        return ()
    first, second = (_lowest(one.table) for one in (priced, again))
    if first == second and priced.cheapest == again.cheapest:
        return ()
    clearly = en.CLEARLY[again.cheapest is not None]
    rule = under_other_missing(season.settings.rules.missing)
    return (say(en.COST_OTHER, rule=rule, method=Name(second), clearly=clearly),)


def _lowest(table: pd.DataFrame) -> str:
    return str(table["method"].iloc[int(table["cost_per_established"].to_numpy().argmin())])
