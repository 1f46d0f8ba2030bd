"""What backs the comparisons up, for the appendix: other tests, other scales, other limits.

Nothing here changes a finding or its grade. A part that could not be made leaves its
reason in ``Analysis.unmade``, by the name of the part.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pandas as pd

from survivor.analysis.result import Analysis
from survivor.analysis.season import Season
from survivor.curves.mean_days import mean_days_alive
from survivor.effects.hazards import hazards, residual_rounds
from survivor.effects.likesites import like_sites
from survivor.effects.sensitivity import sensitivity
from survivor.effects.within_between import within_between
from survivor.errors import ModelError, SurvivorError
from survivor.models.grouped import arranged
from survivor.models.permutation import PermutationTest, permutation_test
from survivor.models.result import Fit
from survivor.settings import Settings

RANDOM = "random within blocks"

# Rows times comparisons times layouts: what is refitted in some ten seconds.
_WORK = 2.5e6
_MOST_WORK = 2.5e7
_ENOUGH = 20  # layouts as far apart as the one used: p is far from small, and more would not move it much
_FEWEST_DRAWS, _MOST_DRAWS = 99, 999


def backed(analysis: Analysis, season: Season, say: Callable[[str], None]) -> Analysis:
    """Fill in the parts of the appendix that compare preparations in other ways.

    Parameters
    ----------
    analysis
        With its comparisons made.
    season
        The season's intervals and models.
    say
        Called with a short text before each step.
    """
    unmade: dict[str, str] = dict(analysis.unmade)

    def attempt(part: str, make: Callable[[], Any]) -> Any:
        try:
            return make()
        except SurvivorError as fault:
            unmade[part] = f"{fault.what}."
            return None

    say("Mean days alive")
    found: dict[str, Any] = {}
    if season.intervals["method"].nunique() > 1:
        found["mean_days"] = attempt(
            "mean_days", lambda: mean_days_alive(season.intervals, until=season.at, strata="site")
        )
    head, answer = season.fits.headline, season.fits.answer or season.fits.headline
    if head is not None and answer is not None and "method" in head.variables:
        say("Ratios of hazards by period")
        found["hazards"] = attempt("hazards", lambda: hazards(head))
        found["residuals"] = attempt("residuals", lambda: _residuals(season))
        say("Preparation or ground")
        found["within_between"] = attempt("within_between", lambda: within_between(head))
        random = season.settings.design.allocation == RANDOM
        if not random:
            found["sensitivity"] = attempt(
                "sensitivity", lambda: sensitivity(answer, at=season.at, population=season.population)
            )
        found["like_sites"] = attempt(
            "like_sites",
            lambda: like_sites(
                answer, at=season.at, population=season.population, seed=season.settings.study.seed
            ),
        )
        if random:
            say("Layouts drawn anew")
            found["permutation"] = attempt("permutation", lambda: _permuted(head, season.settings))
    made = {name: part for name, part in found.items() if part is not None}
    return replace(analysis, unmade=unmade, **made)


def _residuals(season: Season) -> pd.DataFrame:
    cox = season.fits.others.get("cox")
    if cox is None:
        raise ModelError("the Cox model could not be fitted")
    return residual_rounds(cox)


def _permuted(head: Fit, settings: Settings) -> PermutationTest:
    """Deal the preparations to plots anew within the blocks of the lot, as often as time allows."""
    each = len(arranged(head).data.died) * max(head.data["method"].nunique() - 1, 1)
    if each * _FEWEST_DRAWS > _MOST_WORK:
        raise ModelError(
            f"with {head.n_plots:,} plots it would take long, and limits by plot need no such check there"
        )
    draws = int(min(max(_WORK / each, _FEWEST_DRAWS), _MOST_DRAWS))
    return permutation_test(head, draws=draws, enough=_ENOUGH, seed=settings.study.seed)
