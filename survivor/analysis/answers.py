"""From the season's results to its findings, the headline first."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from survivor.analysis.milestone import milestone_words
from survivor.analysis.result import Analysis
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
from survivor.evidence.headline import QUESTION, headline_finding
from survivor.evidence.scaled import stocking_finding, total_finding
from survivor.evidence.words import Reading
from survivor.settings import Settings

_CLEAR = 0.05
_OVER_YEARS = ("headline", "target", "alive")


def flags_for(analysis: Analysis, row: int, *, bounds: pd.DataFrame, shares: pd.DataFrame) -> Circumstances:
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
    return Circumstances(
        bounds_change_sign=bool((np.sign(under) != np.sign(estimate)).any()),
        models_disagree=bool(((others < line["lower"]) | (others > line["upper"])).any()),
        sites_inconsistent=bool(p_value < _CLEAR),
        one_site_carries=one_site_carries(analysis.left_out, method, against, estimate),
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
    contrasts: Contrasts, flags: list[Circumstances], settings: Settings, milestone: str
) -> list[Finding]:
    """Make the findings of each comparison, under the headline that sums them up."""
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
    headline = headline_finding(readings, named_usual(contrasts, settings))
    return [headline, *each] if headline is not None else each


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
    for row in rows:
        line = pairs.table.iloc[row]
        method, against = str(line["method"]), str(line["against"])
        if leader not in (method, against):
            continue
        low, high = float(line["lower"]), float(line["upper"])
        estimate = float(line["estimate"])
        flags = Circumstances(
            models_disagree=_others_outside(analysis, method, against, low, high),
            sites_inconsistent=bool(interaction_p(shares, method, against) < _CLEAR),
        )
        finding = contrast_finding(pairs, row, milestone, design, flags=flags)
        p_adjusted, between = float(line["p_adjusted"]), line["basis"] == BETWEEN
        if method == leader:
            found.append(Pair(against, estimate, low, high, p_adjusted, between, finding))
        else:
            found.append(Pair(method, -estimate, -high, -low, p_adjusted, between, finding))
    told = int((pairs.table["basis"] != REFUSED).sum())
    return best_finding(leader, found, told, design) if told else None


def _others_outside(analysis: Analysis, method: str, against: str, low: float, high: float) -> bool:
    """Whether some other model puts a difference outside its limits."""
    for name, fitted in analysis.fits.items():
        if name == "grouped":
            continue
        day = analysis.milestone_day if fitted.at is None else fitted.at
        try:
            table = compare(fitted, at=day, against=against).table
        except SurvivorError:
            continue
        other = table.loc[table["method"].astype(str) == method, "estimate"]
        if bool(((other < low) | (other > high)).any()):
            return True
    return False


def season_findings(
    analysis: Analysis,
    *,
    whole: Standardised | None,
    target: Finding | None,
    comparisons: list[Finding],
    shares: pd.DataFrame | None,
    rain_reason: str,
    why_not: str,
) -> tuple[Finding, ...]:
    """Order the findings by what the season was monitored for.

    A question without an answer stays on the list with its reason.
    """
    settings, at = analysis.settings, analysis.milestone_day
    milestone = milestone_words(settings.headline_milestone, at)
    survived = survival_finding(whole, milestone, settings.design) if whole is not None else None
    alive = target or survived
    found = list(comparisons) or [unanswered_finding("headline", QUESTION, why_not, milestone, at)]
    best = best_of(analysis, milestone, shares) if comparisons and shares is not None else None
    if best is not None:
        found.insert(1, best)
    if alive is not None:
        first = 0 if settings.study.purpose == "check a target" else 1
        found[first:first] = [alive, *(_in_all(analysis.in_all, survived) if survived is not None else [])]
    if analysis.payoff is not None:
        flags = Circumstances(penalised=penalised(analysis))
        found.append(payoff_finding(analysis.payoff, milestone, settings.design, flags=flags))
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
