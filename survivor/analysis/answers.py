"""From the season's results to its findings, the headline first."""

from __future__ import annotations

import numpy as np
import pandas as pd

from survivor.analysis.result import Analysis
from survivor.effects.confounding import REFUSED
from survivor.effects.consistency import interaction_p, one_site_carries
from survivor.effects.contrasts import Contrasts
from survivor.effects.standardise import Standardised
from survivor.evidence import (
    Circumstances,
    Finding,
    contrast_finding,
    payoff_finding,
    reading,
    unanswered_finding,
)
from survivor.evidence.describing import radius_finding, survival_finding
from survivor.evidence.headline import QUESTION, headline_finding
from survivor.evidence.words import Reading
from survivor.settings import Settings

_CLEAR = 0.05


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
        penalised=penalised(analysis),
    )


def penalised(analysis: Analysis) -> bool:
    """Whether comparisons rest on a penalised model: nobody, or everybody, died with some method."""
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
    headline = headline_finding(readings)
    return [headline, *each] if headline is not None else each


def season_findings(
    analysis: Analysis,
    *,
    whole: Standardised | None,
    target: Finding | None,
    comparisons: list[Finding],
    rain_reason: str,
    why_not: str,
) -> tuple[Finding, ...]:
    """Order the findings by what the season was monitored for.

    A question without an answer stays on the list with its reason.
    """
    settings, at = analysis.settings, analysis.milestone_day
    milestone = settings.headline_milestone.name
    alive = target or (survival_finding(whole, milestone, settings.design) if whole is not None else None)
    found = list(comparisons) or [unanswered_finding("headline", QUESTION, why_not, milestone, at)]
    if alive is not None:
        found.insert(0 if settings.study.purpose == "check a target" else 1, alive)
    if analysis.payoff is not None:
        flags = Circumstances(penalised=penalised(analysis))
        found.append(payoff_finding(analysis.payoff, milestone, settings.design, flags=flags))
    if analysis.dose is not None:
        found.append(radius_finding(analysis.dose, milestone, settings.design))
    if rain_reason:
        question = "How did rain go with survival?"
        found.append(unanswered_finding("rain", question, rain_reason, milestone, at))
    return tuple(found)
