"""What the seasons say of every preparation on every kind of ground, and the advice that follows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.analysis.models import season_formula
from survivor.costing import payoff
from survivor.costs.prices import prices_of
from survivor.effects.confounding import REFUSED
from survivor.effects.consistency import leave_one_site_out, one_site_carries
from survivor.effects.contrasts import contrasts
from survivor.effects.likesites import like_sites
from survivor.errors import SurvivorError
from survivor.evidence.finding import Grade
from survivor.evidence.grading import BY_CHOICE, RANDOM, Circumstances, grade
from survivor.evidence.words import settled
from survivor.guideline.file import GuidelineFile, Row
from survivor.guideline.rule import NOT_ANSWERED, Answer, Facts, advice_of
from survivor.models.fit import fit
from survivor.models.multiplicity import holm
from survivor.models.result import Fit
from survivor.pooling import pool
from survivor.seasons import Season
from survivor.seasons.season import joint_strata, methods_of, side_by_side

LIKE_SITES: Final = "sites like these"
THESE_SITES: Final = "these sites"


@dataclass(frozen=True)
class SeasonSays:
    """What one season alone says: the difference per 100 planted, limits by plot."""

    season: str
    estimate: float
    lower: float
    upper: float
    n_sites: int


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
        Difference in plants alive per 100 planted, 95 % limits; None where there is none.
    of
        What the limits speak of: ``sites like these``, or ``these sites`` only.
    p_adjusted
        Holm's, over the preparations of one kind of ground.
    seasons
        Each season alone.
    tau, new_lower, new_upper
        Standard deviation between seasons, and limits for a new season; None under two seasons.
    extra_cost, per_established, usual_established
        Per plant over the usual practice; per established plant in words, and that of the usual
        practice there.
    grade, reasons, raise_it
        How sure, why no surer, and what would make it surer.
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
    p_adjusted: float | None = None
    n_seedlings: int = 0
    n_plots: int = 0
    fewest_plots: int = 0
    n_sites: int = 0
    seasons: tuple[SeasonSays, ...] = ()
    tau: float | None = None
    new_lower: float | None = None
    new_upper: float | None = None
    extra_cost: float | None = None
    currency: str = ""
    per_established: str = ""
    usual_established: str = ""
    grade: Grade = "unanswered"
    reasons: tuple[str, ...] = ()
    raise_it: tuple[str, ...] = field(default=(), repr=False)

    @property
    def n_seasons(self) -> int:
        """Seasons that compare it on this ground."""
        return len(self.seasons)


def advise(
    seasons: Sequence[Season],
    joined: pd.DataFrame,
    file: GuidelineFile,
    rule: Sequence[Row],
    at: float,
    say: Callable[[str], None] = lambda _: None,
) -> tuple[Advice, ...]:
    """Advise on every preparation on every kind of ground.

    Parameters
    ----------
    seasons
        Those that the version rests on.
    joined
        Their records in one table, with a column ``ground``.
    file, rule
        The guideline file, and the rule in force.
    at
        Days since planting.
    say
        Called with a short text before each kind of ground.
    """
    preparations = [name for name in methods_of(joined) if name != seasons[0].usual]
    found: list[Advice] = []
    for ground in file.ground:
        say(f"Advice for {ground.name}")
        rows = joined[joined["ground"] == ground.name].copy()
        rows.attrs = dict(joined.attrs)
        if rows.empty:
            why = "no plot of these seasons lies on such ground"
            found += [_without(ground.name, name, seasons[0].usual, why) for name in preparations]
            continue
        rows["method"] = rows["method"].cat.remove_unused_categories()
        found += _on(ground.name, rows, seasons, preparations, file, rule, at)
    return tuple(found)


def _on(
    ground: str,
    rows: pd.DataFrame,
    seasons: Sequence[Season],
    preparations: Sequence[str],
    file: GuidelineFile,
    rule: Sequence[Row],
    at: float,
) -> list[Advice]:
    usual, worth = seasons[0].usual, file.guideline.smallest_difference
    present = methods_of(rows)
    if usual not in present or len(present) < 2:
        why = f"{usual} was not planted there, so nothing can be compared with it"
        return [_without(ground, name, usual, why) for name in preparations]
    strata = joint_strata(rows, seasons)
    joined_here = side_by_side(rows, strata, usual)
    if joined_here["method"].nunique() < 2:
        return [
            _without(ground, name, usual, f"no place there holds it and {usual}") for name in preparations
        ]
    try:
        fitted = fit(joined_here, season_formula(joined_here)[0], strata=strata)
        table, of = _limits(fitted, at, file.guideline.seed)
    except SurvivorError as fault:
        return [_without(ground, name, usual, fault.what) for name in preparations]
    left_out = leave_one_site_out(fitted, at)
    money = _money(fitted, seasons, at, file.guideline.seed)
    alone = {season.name: _alone(rows, season, at) for season in seasons}
    found = []
    for name in preparations:
        line = table.get(name)
        if line is None or line["basis"] == REFUSED:
            apart = "no place there joins it to the rest" if name in present else "it was not planted there"
            why = str(line["reason"]) if line is not None else apart
            found.append(_without(ground, name, usual, why))
            continue
        told = tuple(says[name] for says in alone.values() if name in says)
        estimate, lower, upper = (float(line[key]) for key in ("estimate", "lower", "upper"))
        p_adjusted = float(line["p_adjusted"])
        flags = Circumstances(
            compares=True,
            allocation=_shared(seasons, "allocation", RANDOM),
            plots_placed=_shared(seasons, "plots_placed", "random"),
            basis=str(line["basis"]),
            df=float(line["df"]),
            fewest_plots=int(line["fewest_plots"]),
            settled=settled(lower, upper, p_adjusted, worth),
            one_site_carries=one_site_carries(left_out, name, usual, estimate),
        )
        level, reasons, raise_it = grade(flags)
        price = money.get(name, {})
        facts = Facts(
            len(told),
            int(line["n_sites"]),
            int(line["fewest_plots"]),
            of[name],
            estimate,
            lower,
            upper,
            p_adjusted,
            tuple(says.estimate for says in told),
            price.get("extra"),
            level,
        )
        answer, held = advice_of(rule, facts)
        found.append(
            Advice(
                ground=ground,
                preparation=name,
                against=usual,
                answer=answer,
                held=held,
                estimate=estimate,
                lower=lower,
                upper=upper,
                of=of[name],
                p_adjusted=p_adjusted,
                n_seedlings=int(line["n_seedlings"]),
                n_plots=int(line["n_plots"]),
                fewest_plots=int(line["fewest_plots"]),
                n_sites=int(line["n_sites"]),
                seasons=told,
                extra_cost=price.get("extra"),
                currency=str(price.get("currency", "")),
                per_established=str(price.get("words", "")),
                usual_established=str(money.get(usual, {}).get("words", "")),
                grade=level,
                reasons=reasons,
                raise_it=raise_it,
                **_between(told),
            )
        )
    return found


def _limits(fitted: Fit, at: float, seed: int) -> tuple[dict[str, dict[str, Any]], dict[str, str]]:
    """Comparisons with limits for sites like these where five sites hold both, else by plot."""
    by_plot = contrasts(fitted, at=at).table
    lines = {str(line["method"]): line for line in by_plot.to_dict("records")}
    of = dict.fromkeys(lines, THESE_SITES)
    try:
        by_site = like_sites(fitted, at=at, seed=seed).table
    except SurvivorError:
        by_site = by_plot.head(0)
    for line in by_site.to_dict("records"):
        if line["basis"] != REFUSED:
            name = str(line["method"])
            lines[name] = {**line, "fewest_plots": lines[name]["fewest_plots"]}
            of[name] = LIKE_SITES
    adjusted = holm(np.array([float(line["p_value"]) for line in lines.values()]))
    for line, p_adjusted in zip(lines.values(), adjusted, strict=True):
        line["p_adjusted"] = float(p_adjusted)
    return {name: {str(key): value for key, value in line.items()} for name, line in lines.items()}, of


def _alone(rows: pd.DataFrame, season: Season, at: float) -> dict[str, SeasonSays]:
    """Each preparation in one season on one kind of ground; empty where it cannot be told."""
    own = rows[rows["season"] == season.name].copy()
    own.attrs = dict(rows.attrs)
    if own.empty:
        return {}
    own["method"] = own["method"].cat.remove_unused_categories()
    strata = joint_strata(own, [season])
    if season.usual not in methods_of(own):
        return {}
    own = side_by_side(own, strata, season.usual)
    if own["method"].nunique() < 2:
        return {}
    day = min(at, float(own["stop_day"].max()))
    try:
        fitted = fit(own, season_formula(own)[0], strata=strata)
        table = contrasts(fitted, at=day, against=season.usual).table
    except SurvivorError:
        return {}
    return {
        str(line["method"]): SeasonSays(
            season.name,
            float(line["estimate"]),
            float(line["lower"]),
            float(line["upper"]),
            int(line["n_sites"]),
        )
        for line in table.to_dict("records")
        if line["basis"] != REFUSED
    }


def _between(told: Sequence[SeasonSays]) -> dict[str, Any]:
    """How far seasons lie apart, and what a new one may show."""
    if len(told) < 2:
        return {}
    z = 2 * 1.959963984540054  # a standard error from the width of 95 % limits
    found = pool(
        [says.estimate for says in told], [(says.upper - says.lower) / z for says in told], limits="cr2"
    )
    new = found.new_unit.iloc[0]
    return {
        "tau": float(found.spread["tau"].iloc[0]),
        "new_lower": max(-100.0, float(new["lower"])),
        "new_upper": min(100.0, float(new["upper"])),
    }


def _money(fitted: Fit, seasons: Sequence[Season], at: float, seed: int) -> dict[str, dict[str, Any]]:
    """Extra cost per plant and cost per established plant, by the latest season that gives costs."""
    priced = priced_by(seasons)
    if priced is None:
        return {}
    settings = priced.settings
    costs = prices_of(settings)
    currency = settings.costs.currency if settings.costs is not None else ""
    usual = costs.get(seasons[0].usual)
    found: dict[str, dict[str, Any]] = {}
    for name, cost in costs.items():
        found[name] = {"currency": currency}
        if usual is not None:
            found[name]["extra"] = cost.per_plant - usual.per_plant
    try:
        table = payoff(fitted, costs, at, currency=currency, seed=seed).table
    except SurvivorError:
        return found
    for line in table.to_dict("records"):
        spread = f"{line['lower']:.2f} to {line['upper']:.2f}"
        found[str(line["method"])]["words"] = (
            f"{line['cost_per_established']:.2f} ({spread}) {currency}".strip()
        )
    return found


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
