"""What supports the comparisons, for the appendix: other tests, other scales, other limits.

Nothing here changes a finding but for the test of the allocation, which can hold back its grade.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import pandas as pd

from survivor.analysis.models import SeasonFits
from survivor.analysis.parts import Unmade, no_rows
from survivor.analysis.season import Season
from survivor.curves.mean_days import MeanDaysAlive, mean_days_alive
from survivor.effects.contrasts import Contrasts
from survivor.effects.hazards import Hazards, hazards, residual_rounds
from survivor.effects.prediction import like_sites
from survivor.errors import ModelError
from survivor.models.randomisation import PermutationTest, permutation_test
from survivor.models.result import Fit
from survivor.settings import Settings
from survivor.vocabulary import RANDOM

RESIDUAL_COLUMNS: Final = ("method", "day", "first_day", "last_day", "deaths", "estimate", "overall")

_DRAWS = 9999  # where there are more than 100,000; else every one is tried


@dataclass(frozen=True)
class Supporting:
    """Other tests, scales and limits of the comparisons.

    Attributes
    ----------
    mean_days
        Restricted means and their differences, in days alive.
    hazards, residuals
        Ratios of hazards by period with their test; what the Cox model's residuals say of
        each round of visits: ``method, day, first_day, last_day, deaths, estimate, overall``.
    like_sites
        The contrasts with limits expected at similar sites.
    permutation
        Randomisation p of each preparation; None where none was drawn.
    """

    mean_days: MeanDaysAlive | None = None
    hazards: Hazards | None = None
    residuals: pd.DataFrame = field(default_factory=no_rows(*RESIDUAL_COLUMNS))
    like_sites: Contrasts | None = None
    permutation: PermutationTest | None = None


def supporting_of(season: Season, models: SeasonFits, comparable: bool, unmade: Unmade) -> Supporting:
    """Compare preparations in other ways; ``comparable``: they did not all end alike."""
    intervals, day = season.intervals, season.milestone_day
    head, answer = models.headline, models.within
    mean_days = None
    if intervals["method"].nunique() > 1:
        mean_days = unmade.attempt("mean_days", lambda: mean_days_alive(intervals, until=day, strata="site"))
    if head is None or answer is None:
        return Supporting(mean_days)
    ratios = unmade.attempt("hazards", lambda: hazards(head))
    residuals = unmade.attempt("residuals", lambda: _residuals(models))
    similar = permuted = None
    if comparable:
        seed = season.settings.study.seed
        similar = unmade.attempt(
            "like_sites", lambda: like_sites(answer, at=day, population=season.population, seed=seed)
        )
    if season.settings.design.allocation == RANDOM:
        permuted = unmade.attempt("permutation", lambda: _permuted(head, season.settings))
    no_residuals = pd.DataFrame(columns=list(RESIDUAL_COLUMNS))
    return Supporting(mean_days, ratios, no_residuals if residuals is None else residuals, similar, permuted)


def _residuals(models: SeasonFits) -> pd.DataFrame:
    cox = models.others.get("cox")
    if cox is None:
        raise ModelError("the Cox model could not be fitted")
    return residual_rounds(cox).table


def _permuted(head: Fit, settings: Settings) -> PermutationTest:
    """Allocate the preparations to plots anew within blocks: every way, or 9,999 drawn at random."""
    return permutation_test(head, statistic="score", draws=_DRAWS, seed=settings.study.seed)
