"""What the seasons say of every preparation on every kind of ground, and the advice that follows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.costs.payoff import payoff
from survivor.costs.prices import prices_of
from survivor.effects.contrasts import contrasts
from survivor.errors import SurvivorError
from survivor.evidence.finding import NOT_ENOUGH, Grade
from survivor.evidence.grading import RULES, Circumstances, grade
from survivor.evidence.words import settled
from survivor.guideline import english as en
from survivor.guideline.file import GuidelineFile, Row
from survivor.guideline.rule import NOT_ANSWERED, Answer, Facts, advice_of, wanting
from survivor.models.result import Fit, holm
from survivor.pooling.result import EDGE, Coming
from survivor.seasons import Season
from survivor.seasons.season import joint_strata, methods_of, side_by_side
from survivor.seasons.together import pool_units
from survivor.seasons.units import joint_fit, unit_estimates
from survivor.settings import Milestone
from survivor.vocabulary import BY_CHOICE, PER_100, RANDOM, REFUSED

_FROM_SEASON: Final = ("estimate", "lower", "upper", "std_error")
_NEW: Final = ("tau", "new_lower", "new_upper", "possible_lower", "possible_upper")
_COUNTS: Final = ("n_seedlings", "n_plots", "fewest_plots", "n_sites")
_SAYS: Final = ["season", "estimate", "lower", "upper", "n_sites"]
SEASONS_LIKE_THESE: Final = "seasons like these"
THIS_SEASON: Final = "this season"


@dataclass(frozen=True)
class SeasonSays:
    """What one season alone says: the difference per 100 planted, limits by plot."""

    season: str
    estimate: float
    lower: float
    upper: float
    n_sites: int


@dataclass(frozen=True)
class Beside:
    """Another preparation advised on the same ground: how many more live than with it, per 100 planted."""

    preparation: str
    estimate: float
    lower: float
    upper: float


@dataclass(frozen=True)
class Established:
    """What an established plant costs, with limits from survival and from the range of prices."""

    cost: float
    lower: float
    upper: float


@dataclass(frozen=True)
class Advice:
    """One preparation on one kind of ground.

    Attributes
    ----------
    ground, preparation, against
        What is compared, and where.
    answer, held
        The advice, and the row of the rule that gave it (or what it lacked).
    estimate, lower, upper
        Difference in plants alive per 100 planted, on average over the seasons, 95 % CI by season
        as ``survivor pool`` has them; of one season its own; None where there is none.
    of
        What the limits speak of: ``seasons like these``, or ``this season`` only.
    std_error, df
        Behind the limits; of one season without df.
    p_adjusted
        Holm's, over the preparations of one kind of ground.
    seasons
        Each season alone.
    tau, new_lower, new_upper
        Standard deviation between seasons, and limits of the difference in a new season like these;
        None under two seasons.
    possible_lower, possible_upper
        How far a difference can go from where the usual practice stood in these seasons.
    extra_cost, established, usual_established
        Per plant over the usual practice; per established plant, and that of the usual practice there.
    lacking
        What advising it asks for besides, in words, where it is worth a trial.
    beside
        Others advised on the same ground, named before it, and how it differs from them.
    grade, reasons, raise_it
        Strength of evidence, why it is no stronger, and what would strengthen it.
    """

    ground: str
    preparation: str
    against: str
    answer: Answer
    held: str
    estimate: float | None = None
    lower: float | None = None
    upper: float | None = None
    of: str = ""
    std_error: float | None = None
    df: float | None = None
    p_adjusted: float | None = None
    n_seedlings: int = 0
    n_plots: int = 0
    fewest_plots: int = 0
    n_sites: int = 0
    seasons: tuple[SeasonSays, ...] = ()
    tau: float | None = None
    new_lower: float | None = None
    new_upper: float | None = None
    possible_lower: float | None = None
    possible_upper: float | None = None
    extra_cost: float | None = None
    currency: str = ""
    established: Established | None = None
    usual_established: Established | None = None
    lacking: str = ""
    beside: tuple[Beside, ...] = ()
    grade: Grade | None = "not answered"
    reasons: tuple[str, ...] = ()
    raise_it: tuple[str, ...] = field(default=(), repr=False)

    @property
    def coming(self) -> Coming | None:
        """What a new season like these may show; None where it is not estimated."""
        if self.new_lower is None or self.new_upper is None:
            return None
        # A record issued without them: no more than the whole scale can differ.
        least = -EDGE if self.possible_lower is None else self.possible_lower
        most = EDGE if self.possible_upper is None else self.possible_upper
        return Coming.of(self.new_lower, self.new_upper, (least, most), "seasons")

    @property
    def dearer(self) -> bool | None:
        """Whether an established plant costs more than under the usual practice; None where not known."""
        if self.established is None or self.usual_established is None:
            return None
        return self.established.cost > self.usual_established.cost

    @property
    def cost_per_extra(self) -> float | None:
        """What each extra plant alive costs; None where no more are alive, or a cost is not known."""
        if self.extra_cost is None or self.estimate is None or self.estimate <= 0:
            return None
        return 100 * self.extra_cost / self.estimate

    @property
    def strength(self) -> str:
        """Strength of evidence in words, also where there is not enough of it to say."""
        return self.grade or NOT_ENOUGH

    @property
    def n_seasons(self) -> int:
        """Seasons that compare it on this ground."""
        return len(self.seasons)


@dataclass(frozen=True)
class Question:
    """What advice is asked for: the guideline file, the rule in force, the milestone and its day."""

    file: GuidelineFile
    rule: Sequence[Row]
    milestone: Milestone
    at: float


def advise(
    seasons: Sequence[Season],
    joined: pd.DataFrame,
    question: Question,
    say: Callable[[str], None] = lambda _: None,
) -> tuple[Advice, ...]:
    """Advise on every preparation on every kind of ground.

    Parameters
    ----------
    seasons
        Those that the version rests on.
    joined
        Their records in one table, with a column ``ground``.
    question
        By which file and rule, and for which day.
    say
        Called with a short text before each kind of ground.
    """
    preparations = [name for name in methods_of(joined) if name != seasons[0].usual]
    advice: list[Advice] = []
    for ground in question.file.ground:
        say(f"Advice for {ground.name}")
        rows = joined[joined["ground"] == ground.name]
        advice += _on(ground.name, rows, seasons, preparations, question)
    return tuple(advice)


def _on(
    ground: str,
    rows: pd.DataFrame,
    seasons: Sequence[Season],
    preparations: Sequence[str],
    question: Question,
) -> list[Advice]:
    usual, seed, present = seasons[0].usual, question.file.guideline.seed, methods_of(rows)

    def unanswered(why: str) -> list[Advice]:
        return [_without(ground, name, usual, why) for name in preparations]

    if rows.empty:
        return unanswered("no plot of these seasons lies on such ground")
    if usual not in present or len(present) < 2:
        return unanswered(f"{usual} was not planted there, so nothing can be compared with it")
    strata = joint_strata(rows, seasons)
    if len(methods_of(side_by_side(rows, strata, usual))) < 2:
        return unanswered(f"no place there holds it and {usual}")
    try:
        fitted = joint_fit(rows, seasons)
        table = contrasts(fitted, at=question.at).table
        lines = {
            str(line["method"]): {str(key): value for key, value in line.items()}
            for line in table.to_dict("records")
        }
    except SurvivorError as fault:
        return unanswered(fault.what)
    money = _money(fitted, seasons, question.at, seed)
    alone = season_by_season(rows, seasons, question)
    single = {name: line for name, line in lines.items() if name in alone and line["basis"] != REFUSED}
    p_adjusted = holm(np.array([_p_value(alone[name], single[name]) for name in single]))
    advice = []
    for name in preparations:
        if name not in single:
            line = lines.get(name)
            apart = "no place there joins it to the rest" if name in present else "it was not planted there"
            why = str(line["reason"]) if line is not None else ""
            advice.append(_without(ground, name, usual, why or apart))
            continue
        line, price = single[name], money.get(name, {})
        numbers: dict[str, Any] = {key: int(line[key]) for key in _COUNTS}
        own = {key: value for key, value in alone[name].items() if key != "p_value"}
        p_value = float(p_adjusted[list(single).index(name)])
        level, reasons, raise_it = grade(_circumstances(line, own, p_value, seasons, question))
        facts = Advice(
            ground=ground,
            preparation=name,
            against=usual,
            answer=NOT_ANSWERED,
            held="",
            p_adjusted=p_value,
            extra_cost=price.get("extra"),
            currency=str(price.get("currency", "")),
            established=price.get("established"),
            usual_established=money.get(usual, {}).get("established"),
            grade=level,
            reasons=reasons,
            raise_it=raise_it,
            **numbers,
            **own,
        )
        answer, held = advice_of(question.rule, facts_of(facts))
        short = wanting(question.rule, facts_of(facts), "advised") if answer == "worth a trial" else ""
        advice.append(replace(facts, answer=answer, held=held, lacking=short))
    return _beside(advice, rows, seasons, question)


def _p_value(own: dict[str, Any], line: dict[str, Any]) -> float:
    """P of a preparation: over its seasons, of one season that of its model."""
    return float(own.get("p_value", line["p_value"]))


def _beside(
    advice: list[Advice], rows: pd.DataFrame, seasons: Sequence[Season], question: Question
) -> list[Advice]:
    """Set the preparations advised on one ground beside each other, over the seasons that hold both."""
    names = [each.preparation for each in advice if each.answer == "advised"]
    beside: dict[str, list[Beside]] = {name: [] for name in names}
    for first, second in combinations(names, 2):
        here = season_by_season(rows, seasons, question, against=first).get(second)
        if here is not None and "p_value" in here:
            numbers = tuple(float(here[key]) for key in ("estimate", "lower", "upper"))
            beside[second].append(Beside(first, *numbers))
    return [replace(each, beside=tuple(beside.get(each.preparation, ()))) for each in advice]


#: Rules of grade that are asked here; the others look at records, models or visits of a season.
CHECKED: Final = (
    "no estimate", "few plots", "between sites", "few degrees of freedom", "penalised",
    "not enough evidence", BY_CHOICE, "allocation not recorded", "not precise", "plots by choice",
)  # fmt: skip


def not_checked() -> tuple[str, ...]:
    """Name the rules of grade of a season's report that a guideline does not ask, by what they look at."""
    about_others = ("depends on missing plants", "radius not drawn", "one cost")  # of other questions
    left = [rule.name for rule in RULES if rule.name not in (*CHECKED, *about_others)]
    return tuple(dict.fromkeys(en.LOOKED_AT.get(name, name) for name in left))


def _circumstances(
    line: dict[str, Any],
    own: dict[str, Any],
    p_adjusted: float,
    seasons: Sequence[Season],
    question: Question,
) -> Circumstances:
    worth = question.file.guideline.smallest_difference
    return Circumstances(
        compares=True,
        allocation=_shared(seasons, "allocation", RANDOM),
        plots_placed=_shared(seasons, "plots_placed", "random"),
        basis=str(line["basis"]),
        df=float(own.get("df", line["df"])),
        fewest_plots=int(line["fewest_plots"]),
        settled=settled(own["lower"], own["upper"], p_adjusted, worth),
        penalised=bool(line["penalised"]),
    )


def season_by_season(
    rows: pd.DataFrame, seasons: Sequence[Season], question: Question, against: str | None = None
) -> dict[str, dict[str, Any]]:
    """Estimate every preparation in each season alone, and pool the seasons, as ``survivor pool`` does.

    Parameters
    ----------
    rows
        Records of the seasons on one kind of ground.
    seasons, question
        As for `advise`.
    against
        Preparation to compare with; None: the usual practice.

    Returns
    -------
    dict
        Preparation -> ``seasons, of, estimate, lower, upper, std_error`` and, where there are two
        seasons or more, ``df, p_value, tau, new_lower, new_upper, possible_lower,
        possible_upper``: seasons are the units then.
    """
    here = [replace(season, intervals=rows[rows["season"] == season.name]) for season in seasons]
    here = [season for season in here if not season.intervals.empty]
    window = float(question.milestone.window_days)
    units = unit_estimates(here, question.at, "season", window, against=against)
    units = units[(units["scale"] == PER_100) & np.isfinite(units["estimate"])]
    if units.empty:
        return {}
    alone: dict[str, dict[str, Any]] = {}
    for name, of_one in units.groupby("method", sort=False):
        says = tuple(SeasonSays(**line) for line in of_one[_SAYS].to_dict("records"))
        numbers = {key: float(of_one.iloc[0][key]) for key in _FROM_SEASON}
        alone[str(name)] = {"seasons": says, "of": THIS_SEASON, **numbers}
    pooled, _ = pool_units(units)
    for line in pooled[np.isfinite(pooled["estimate"])].to_dict("records"):
        numbers = {key: float(line[key]) for key in (*_FROM_SEASON, "df", "p_value", *_NEW)}
        alone[line["method"]] |= {"of": SEASONS_LIKE_THESE, **numbers}
    return alone


def _money(fitted: Fit, seasons: Sequence[Season], at: float, seed: int) -> dict[str, dict[str, Any]]:
    """Extra cost per plant and cost per established plant, by the latest season that gives costs."""
    priced = priced_by(seasons)
    if priced is None:
        return {}
    settings = priced.settings
    costs = prices_of(settings)
    currency = settings.costs.currency if settings.costs is not None else ""
    usual = costs.get(seasons[0].usual)
    money: dict[str, dict[str, Any]] = {}
    for name, cost in costs.items():
        money[name] = {"currency": currency}
        if usual is not None:
            money[name]["extra"] = cost.per_plant - usual.per_plant
    try:
        table = payoff(fitted, costs, at, currency=currency, seed=seed).table
    except SurvivorError:  # costs a plant stand; the cost of an established plant is left blank
        return money
    for line in table.to_dict("records"):
        numbers = (float(line[key]) for key in ("cost_per_established", "lower", "upper"))
        money[str(line["method"])]["established"] = Established(*numbers)
    return money


def facts_of(advice: Advice) -> Facts | None:
    """Return what the rule was asked about, as far as a piece of advice keeps it."""
    if advice.estimate is None or advice.lower is None or advice.upper is None:
        return None
    return Facts(
        advice.n_seasons,
        advice.n_sites,
        advice.fewest_plots,
        advice.of,
        advice.estimate,
        advice.lower,
        advice.upper,
        1.0 if advice.p_adjusted is None else advice.p_adjusted,
        tuple(says.estimate for says in advice.seasons),
        advice.extra_cost,
        advice.grade,
    )


def priced_by(seasons: Sequence[Season]) -> Season | None:
    """Give the season whose prices are used: the latest that has any."""
    priced = [season for season in seasons if any(m.costed for m in season.settings.methods)]
    return priced[-1] if priced else None


def _shared(seasons: Sequence[Season], key: str, best: str) -> str:
    """Give what all seasons share; where they differ, the one that bears less."""
    values = {str(getattr(season.settings.design, key)) for season in seasons}
    if values == {best}:
        return best
    return BY_CHOICE if BY_CHOICE in values else "not recorded"


def _without(ground: str, name: str, usual: str, why: str) -> Advice:
    return Advice(ground, name, usual, NOT_ANSWERED, why, reasons=(why,))
