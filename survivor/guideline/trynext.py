"""What to try next: what a further season would be worth, in plants alive.

What is known of a difference is taken as a normal of the limits' width. Another season at
as many sites would move it; it is worth something only where it may move it across the
smallest difference worth having, so that another preparation would be used. The expected
value of that information has a closed form (Raiffa and Schlaifer 1961, Applied Statistical
Decision Theory, ch. 5): the spread of the coming estimate times the unit normal loss.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from survivor.guideline.advice import Advice
from survivor.guideline.file import Ground
from survivor.pooling.limits import quantile


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


def worth_of_season(mean: float, sd: float, season_variance: float, threshold: float) -> Worth:
    """Value of one more estimate, by the normal approximation.

    Parameters
    ----------
    mean, sd
        What is known of the difference, per 100 planted.
    season_variance
        Variance of the coming season's estimate round the true difference.
    threshold
        The difference from which the preparation is used in place of the usual practice.
    """
    coming = sd**2 / np.sqrt(sd**2 + season_variance)  # standard deviation of the next best guess
    apart = abs(mean - threshold)
    return Worth(_loss(apart, coming), _loss(apart, sd), float(stats.norm.sf(apart / coming)))


def _loss(apart: float, sd: float) -> float:
    u = apart / sd
    return float(sd * (stats.norm.pdf(u) - u * stats.norm.sf(u)))


def try_next(advice: Sequence[Advice], grounds: Sequence[Ground], smallest: float) -> pd.DataFrame:
    """Order comparisons by what a further season would be worth.

    Parameters
    ----------
    advice
        The current version's.
    grounds
        For plants put in a year.
    smallest
        Smallest difference worth having, per 100 planted: the threshold of the choice.

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
    for each in advice:
        if each.estimate is None or each.lower is None or each.upper is None or not each.n_seasons:
            continue
        # Few degrees of freedom are in the limits' width, and so in this standard deviation.
        sd = (each.upper - each.lower) / 2 / quantile(float("inf"))
        sites = each.n_sites / each.n_seasons
        variance = sd**2 * each.n_sites / sites + (each.tau or 0.0) ** 2
        worth = worth_of_season(each.estimate, sd, variance, smallest)
        plants = planted.get(each.ground)
        lines.append(
            {
                "ground": each.ground,
                "preparation": each.preparation,
                "answer": each.answer,
                "estimate": each.estimate,
                "std_error": sd,
                "sites_a_season": sites,
                "value_per_100": worth.value,
                "perfect_per_100": worth.perfect,
                "chance_per_100": 100 * worth.chance,
                "plants_a_year": np.nan if plants is None else float(plants),
                "value_plants": np.nan if plants is None else worth.value * plants / 100,
            }
        )
    columns = [
        "ground",
        "preparation",
        "answer",
        "estimate",
        "std_error",
        "sites_a_season",
        "value_per_100",
        "perfect_per_100",
        "chance_per_100",
        "plants_a_year",
        "value_plants",
    ]
    table = pd.DataFrame(lines, columns=columns)
    told = "value_plants" if len(table) and table["value_plants"].notna().all() else "value_per_100"
    return table.sort_values(told, ascending=False, kind="stable").reset_index(drop=True)
