"""From the season's results to its findings, the headline first."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from scipy.stats import beta

from survivor.analysis.milestone import milestone_words
from survivor.analysis.result import Analysis
from survivor.analysis.rules import other_missing
from survivor.analysis.swayed import Swayed
from survivor.analysis.whole import PLANTS
from survivor.effects.confounding import BETWEEN, REFUSED
from survivor.effects.consistency import interaction_p, one_site_carries
from survivor.effects.contrasts import Contrasts
from survivor.effects.contrasts import contrasts as compare
from survivor.effects.standardise import Standardised
from survivor.errors import SurvivorError
from survivor.evidence import (
    Circumstances,
    Finding,
    contrast_finding,
    payoff_finding,
    reading,
    unanswered_finding,
    value_finding,
)
from survivor.evidence.best import Pair, best_finding, leader_of
from survivor.evidence.describing import radius_finding, survival_finding
from survivor.evidence.grading import LEAST_PLOTS, RANDOM
from survivor.evidence.headline import QUESTION, headline_finding, not_compared, question_of
from survivor.evidence.scaled import no_surer, stocking_finding, total_finding
from survivor.evidence.words import Reading
from survivor.models.permutation import DRAWN
from survivor.settings import Settings
from survivor.vocabulary import CONFIDENCE

_CLEAR = 0.05
_OVER_YEARS = ("headline", "target", "alive")


def flags_for(
    analysis: Analysis,
    row: int,
    *,
    bounds: pd.DataFrame,
    shares: pd.DataFrame,
    known: Swayed | None = None,
    not_proportional: bool = False,
) -> Circumstances:
    """Tell what else is known of one comparison: other models, other rules, sites.

    Parameters
    ----------
    analysis
        With contrasts, agreement of models and sites left out.
    row
        Which comparison.
    bounds
        ``method, against, estimate`` by rule for unknown plants.
    shares
        Share alive of each plot (``survivor.effects.consistency.plot_shares``).
    known
        What answers turn on.
    not_proportional
        Whether ratios differ between periods and the model has none.
    """
    if analysis.contrasts is None:
        return Circumstances()
    line = analysis.contrasts.table.iloc[row]
    method, against = str(line["method"]), str(line["against"])
    if line["basis"] == REFUSED:
        return Circumstances()
    p_value = interaction_p(shares, method, against)
    others = _same_pair(analysis.agreement, method, against)["estimate"]
    under = _same_pair(bounds, method, against)["estimate"]
    estimate = float(line["estimate"])
    turns = known or Swayed()
    design = analysis.settings.design
    read = _read(line, design.smallest_difference)
    return replace(
        turns.common,
        missing_rule=other_reading(analysis, line, bounds) not in ("", read),
        misfit=bool(turns.misfit & {method, against}),
        not_proportional=not_proportional,
        lot_disagrees=design.allocation == RANDOM and _lot_disagrees(analysis, method, against, read),
        bounds_change_sign=bool((np.sign(under) != np.sign(estimate)).any()),
        models_disagree=bool(((others < line["lower"]) | (others > line["upper"])).any()),
        sites_inconsistent=bool(p_value < _CLEAR),
        one_site_carries=one_site_carries(analysis.left_out, method, against, estimate),
    )


def _read(line: Any, smallest: float) -> Reading:
    return reading(float(line["lower"]), float(line["upper"]), float(line["p_adjusted"]), smallest)


def other_reading(analysis: Analysis, line: Any, bounds: pd.DataFrame) -> str:
    """How a comparison reads under the other rule for missing plants; empty where there is none."""
    rows = _same_pair(bounds, str(line["method"]), str(line["against"]))
    rows = rows[rows["rule"] == other_missing(analysis.settings.rules.missing)]
    rows = rows[rows["lower"].notna() & rows["p_adjusted"].notna()] if "p_adjusted" in rows else rows[:0]
    smallest = analysis.settings.design.smallest_difference
    return _read(rows.iloc[0], smallest) if len(rows) else ""


def missing_said(analysis: Analysis, flags: list[Circumstances], bounds: pd.DataFrame) -> str:
    """Say which comparisons read otherwise under the other rule for missing plants; empty where none does."""
    if analysis.contrasts is None:
        return ""
    rows = [row for row, known in enumerate(flags) if known.missing_rule]
    if not rows:
        return ""
    lines = [analysis.contrasts.table.iloc[row] for row in rows]
    each = "; ".join(f"{line['method']}: {other_reading(analysis, line, bounds)}" for line in lines)
    rule = other_missing(analysis.settings.rules.missing).replace("missing", "missing plants", 1)
    return f"With {rule} this reads otherwise: {each}."


def _lot_disagrees(analysis: Analysis, method: str, against: str, read: Reading) -> bool:
    """Whether a clear difference has a p by the lot of 0.05 or more, though the lot could have given less.

    Where layouts were drawn, p is known within the error of the draws: it has to be so at
    the lower 95 % limit too (Clopper and Pearson 1934), lest the draws make the grade.
    """
    test = analysis.permutation
    if test is None or not read.startswith("clear"):
        return False
    names = test.table[[test.by, "against"]].astype(str)
    rows = test.table[(names[test.by] == method) & (names["against"] == against)]
    if rows.empty:
        return False
    line = rows.iloc[0]
    return bool(line["smallest_p"] <= _CLEAR and line["p_adjusted"] * _least_share(line) >= _CLEAR)


def _least_share(line: pd.Series[Any]) -> float:
    """Return the lower limit of a p by the lot as a share of it; 1 where every layout was tried."""
    p_value, tried = float(line["p_value"]), float(line["tried"])
    if line["how"] != DRAWN or not p_value > 0:
        return 1.0
    extreme = min(round(p_value * tried), tried)
    lower = beta.ppf((1 - CONFIDENCE) / 2, extreme, tried - extreme + 1) if extreme > 0 else 0.0
    return float(lower) / p_value


def lot_said(analysis: Analysis) -> tuple[str, ...]:
    """Say where the lot could give no p under 0.05, so that it neither confirms nor denies."""
    test = analysis.permutation
    if test is None:
        return ()
    names = test.table.loc[test.table["smallest_p"] > _CLEAR, test.by].astype(str).tolist()
    if not names:
        return ()
    return (
        "So few layouts of the lot were possible that none could give a p under 0.05 for "
        f"{'; '.join(names)}: the lot neither confirms nor denies there.",
    )


def penalised(analysis: Analysis) -> bool:
    """Whether survival by method rests on a penalised model: nobody, or everybody, died somewhere.

    Comparisons know it each for themselves (``penalised`` of their table).
    """
    head = analysis.fits.get("grouped")
    return head is not None and head.variance == "penalised"


def _same_pair(table: pd.DataFrame, method: str, against: str) -> pd.DataFrame:
    rows = (table["method"].astype(str) == method) & (table["against"].astype(str) == against)
    return table[rows & table["estimate"].notna()]


def comparison_findings(
    contrasts: Contrasts,
    flags: list[Circumstances],
    settings: Settings,
    milestone: str,
    methods: Iterable[str] = (),
) -> list[Finding]:
    """Make the findings of each comparison, under the headline that sums them up.

    Every preparation stands in the headline, those not compared with the reason;
    ``methods``: all of the records. Where none could be compared the headline says so.
    """
    design = settings.design
    each: list[Finding] = []
    readings: list[tuple[Finding, Reading]] = []
    for row, known in enumerate(flags):
        found = contrast_finding(contrasts, row, milestone, design, flags=known)
        each.append(found)
        line = contrasts.table.iloc[row]
        # Neither a refused comparison nor one of too few plots may lead.
        if found.grade != "unanswered":
            read = reading(line["lower"], line["upper"], line["p_adjusted"], design.smallest_difference)
            readings.append((found, read))
    left = _left(contrasts, each, methods)
    named = named_usual(contrasts, settings)
    headline = headline_finding(readings, named, left)
    if headline is None and each:
        against = str(contrasts.table.iloc[0]["against"])
        why = f"No preparation could be compared with {against}. {not_compared(left)}"
        asked = question_of(against, named)
        headline = unanswered_finding("headline", asked, why, milestone, contrasts.at_day)
    return [headline, *each] if headline is not None else each


def _left(contrasts: Contrasts, each: list[Finding], methods: Iterable[str]) -> list[tuple[str, str]]:
    """List the preparations that could not be compared, each with the reason."""
    found: list[tuple[str, str]] = []
    for finding, line in zip(each, contrasts.table.to_dict("records"), strict=True):
        if finding.grade != "unanswered":
            continue
        few = int(line["fewest_plots"])
        why = str(line["reason"]) or "the records give no limits"
        if line["basis"] != REFUSED:
            why = f"{few} {'plot' if few == 1 else 'plots'} on one side; {LEAST_PLOTS} are the least"
        found.append((finding.methods[0] if finding.methods else str(line["method"]), why))
    named = {*contrasts.table["method"].astype(str), *contrasts.table["against"].astype(str)}
    untold = [str(name) for name in dict.fromkeys(methods) if str(name) not in named]
    return [*found, *((name, "none of its seedlings were looked at again") for name in untold if name)]


def named_usual(contrasts: Contrasts, settings: Settings) -> bool:
    """Whether the method compared against is the usual practice that the study file names."""
    against = contrasts.table["against"].astype(str)
    return bool((against == str(settings.design.usual_practice)).any())


def best_of(analysis: Analysis, milestone: str, shares: pd.DataFrame) -> Finding | None:
    """Make the finding of whether one preparation is clearly the best; None where fewer than three are.

    ``shares`` as for :func:`flags_for`.
    """
    pairs = analysis.all_pairs
    if pairs is None:
        return None
    design = analysis.settings.design
    rows = range(len(pairs.table))
    leader = leader_of([contrast_finding(pairs, row, milestone, design) for row in rows])
    if leader is None:
        return None
    found = []
    others = _by_others(analysis, leader)
    for row in rows:
        line = pairs.table.iloc[row]
        method, against = str(line["method"]), str(line["against"])
        if leader not in (method, against):
            continue
        low, high = float(line["lower"]), float(line["upper"])
        estimate = float(line["estimate"])
        # Differences by the other models are of a method less the leader.
        other = -others[against] if method == leader else others[method]
        flags = Circumstances(
            models_disagree=bool(((other < low) | (other > high)).any()),
            sites_inconsistent=bool(interaction_p(shares, method, against) < _CLEAR),
        )
        finding = contrast_finding(pairs, row, milestone, design, flags=flags)
        p_adjusted, between = float(line["p_adjusted"]), line["basis"] == BETWEEN
        if method == leader:
            found.append(Pair(against, estimate, low, high, p_adjusted, between, finding))
        else:
            found.append(Pair(method, -estimate, -high, -low, p_adjusted, between, finding))
    told = int((pairs.table["basis"] != REFUSED).sum())
    answered = any(pair.finding.grade != "unanswered" for pair in found)
    return best_finding(leader, found, told, design) if told and answered else None


def _by_others(analysis: Analysis, leader: str) -> pd.DataFrame:
    """Differences of each method less the leader by the other models: a row a model, a column a method."""
    found = []
    for name, fitted in analysis.fits.items():
        if name == "grouped":
            continue
        day = analysis.milestone_day if fitted.at is None else fitted.at
        try:
            table = compare(fitted, at=day, against=leader).table
        except SurvivorError:
            continue
        found.append(pd.Series(table["estimate"].to_numpy(dtype=float), index=table["method"].astype(str)))
    assert analysis.all_pairs is not None
    pairs = analysis.all_pairs.table
    methods = pd.unique(pd.concat([pairs["method"], pairs["against"]]).astype(str))
    return pd.DataFrame(found, columns=methods, dtype=float)


def season_findings(
    analysis: Analysis,
    *,
    whole: Standardised | None,
    target: Finding | None,
    comparisons: list[Finding],
    shares: pd.DataFrame | None,
    rain_reason: str,
    why_not: str,
    survived: Finding | None = None,
    known: Swayed | None = None,
) -> tuple[Finding, ...]:
    """Order the findings by what the season was monitored for.

    A question without an answer stays on the list with its reason. ``survived``: the
    finding of how many are alive; ``known``: what answers turn on.
    """
    known = known or Swayed()
    settings, at = analysis.settings, analysis.milestone_day
    milestone = milestone_words(settings.headline_milestone, at)
    if survived is None and whole is not None:
        survived = survival_finding(whole, milestone, settings.design)
    answered = target is not None and target.grade != "unanswered"
    alive = target if answered else survived
    found = list(comparisons) or [unanswered_finding("headline", QUESTION, why_not, milestone, at)]
    best = best_of(analysis, milestone, shares) if comparisons and shares is not None else None
    if best is not None:
        found.insert(1, best)
    if alive is not None:
        first = 0 if settings.study.purpose == "check a target" else 1
        scaled = _in_all(analysis.in_all, survived) if survived is not None else []
        # The same survival, in other units: no surer than what was said of the promise.
        found[first:first] = [alive, *(no_surer(each, alive) for each in scaled)]
    if target is not None and not answered:
        # What was promised keeps its place, with the reason why it cannot be judged.
        found.insert(0 if settings.study.purpose == "check a target" else 1, target)
    if analysis.payoff is not None:
        flags = replace(known.payoff, penalised=penalised(analysis))
        cost = payoff_finding(analysis.payoff, milestone, settings.design, flags=flags)
        found.append(replace(cost, answer=f"{cost.answer} {known.payoff_said}".strip()))
        value = value_finding(analysis.payoff, milestone, settings.design, flags=flags)
        found += [value] if value is not None else []
    if analysis.dose is not None:
        found.append(radius_finding(analysis.dose, milestone, settings.design))
    if rain_reason:
        question = "How did rain go with survival?"
        found.append(unanswered_finding("rain", question, rain_reason, milestone, at))
    return tuple(found)


def _in_all(table: pd.DataFrame, survived: Finding) -> list[Finding]:
    """Make the findings of the plants alive in the whole planting, and of the stocking."""
    found = []
    for row in table.to_dict("records"):
        numbers = (float(row[name]) for name in ("estimate", "lower", "upper", "put_in"))
        make = total_finding if row["unit"] == PLANTS else stocking_finding
        found.append(make(survived, *numbers))
    return found


def over_years(findings: tuple[Finding, ...], said: str) -> tuple[Finding, ...]:
    """Say in the first answers that they are over several planting seasons; ``said`` may be empty."""
    if not said:
        return findings
    return tuple(
        replace(finding, answer=f"{finding.answer} {said}")
        if finding.key in _OVER_YEARS and finding.grade != "unanswered"
        else finding
        for finding in findings
    )
