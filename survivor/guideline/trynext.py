"""What to try next: what a further season would be worth, in plants alive.

What is known of a difference is its estimate with the standard error and degrees of freedom that its
limits rest on; a further season lies round it as seasons differ. It is worth something only where it may
move the estimate across the smallest difference that matters, so that another preparation would be
used. The expected value of that information has a closed form (Raiffa and Schlaifer 1961, Applied
Statistical Decision Theory, ch. 5): the spread of the coming estimate times the unit loss, of the
normal or, with few seasons, of t.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from scipy import stats

from survivor.guideline.advice import Advice
from survivor.guideline.file import Ground

_LEAST_DF: Final = 2.0
NEXT_COLUMNS: Final = (
    "ground", "preparation", "answer", "estimate", "std_error", "sites_a_season", "value_per_100",
    "perfect_per_100", "chance_per_100", "plants_a_year", "value_plants",
)  # fmt: skip


@dataclass(frozen=True)
class Worth:
    """What another look is worth.

    Attributes
    ----------
    value
        Expected plants alive more per 100 planted, by choosing after it rather than now.
    perfect
        The same were the difference then known without error.
    chance
        Chance that the choice changes.
    """

    value: float
    perfect: float
    chance: float


def worth_of_season(
    mean: float, sd: float, season_variance: float, threshold: float, df: float = np.inf
) -> Worth:
    """Value of one more estimate.

    Parameters
    ----------
    mean, sd
        What is known of the difference, per 100 planted.
    season_variance
        Variance of the coming season's estimate round the true difference.
    threshold
        The difference from which the preparation is used in place of the usual practice.
    df
        Degrees of freedom of ``sd``; above 1.
    """
    coming = sd**2 / np.sqrt(sd**2 + season_variance)  # standard deviation of the next best guess
    apart = abs(mean - threshold)
    return Worth(_loss(apart, coming, df), _loss(apart, sd, df), float(stats.t.sf(apart / coming, df)))


def _loss(apart: float, sd: float, df: float) -> float:
    u = apart / sd
    wider = 1.0 if np.isinf(df) else (df + u**2) / (df - 1)
    return float(sd * (wider * stats.t.pdf(u, df) - u * stats.t.sf(u, df)))


def try_next(advice: Sequence[Advice], grounds: Sequence[Ground], smallest: float) -> pd.DataFrame:
    """Order comparisons by what a further season would be worth.

    Parameters
    ----------
    advice
        The current version's.
    grounds
        For plants put in a year.
    smallest
        Smallest difference that matters, per 100 planted: the threshold of the choice.

    Returns
    -------
    DataFrame
        ``ground, preparation, answer, estimate, std_error, sites_a_season, value_per_100, perfect_per_100,
        chance_per_100, plants_a_year, value_plants``, best first. ``value_plants`` is in plants
        alive a year; blank where the file does not say how many are planted. Comparisons
        without an estimate are not in it: nothing is known of them to start from.
    """
    planted = {ground.name: ground.plants_a_year for ground in grounds}
    lines = []
    for line in advice:
        if line.estimate is None or line.std_error is None or not line.n_seasons:
            continue
        sites = line.n_sites / line.n_seasons
        sd, variance = _known(line)
        # Under two degrees of freedom the loss has no end: what is known is then taken as from three seasons.
        worth = worth_of_season(line.estimate, sd, variance, smallest, max(line.df or 0.0, _LEAST_DF))
        plants = planted.get(line.ground)
        sure = (line.ground, line.preparation, line.answer, line.estimate, sd, sites)
        gain = (worth.value, worth.perfect, 100 * worth.chance)
        a_year = (np.nan, np.nan) if plants is None else (float(plants), worth.value * plants / 100)
        lines.append((*sure, *gain, *a_year))
    table = pd.DataFrame(lines, columns=list(NEXT_COLUMNS))
    value_column = "value_plants" if len(table) and table["value_plants"].notna().all() else "value_per_100"
    return table.sort_values(value_column, ascending=False, kind="stable").reset_index(drop=True)


def _known(each: Advice) -> tuple[float, float]:
    """Return the standard deviation of a mean difference, and the variance of a season round it.

    The mean of seasons has that of one season over their number. One season alone does not tell how
    seasons differ: they are taken to differ as much as it is uncertain.
    """
    assert each.std_error is not None, "asked of comparisons with an estimate"
    if each.n_seasons > 1:
        return each.std_error, each.n_seasons * each.std_error**2
    return each.std_error * np.sqrt(2), 2 * each.std_error**2
