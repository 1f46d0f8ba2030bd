"""What the usual rule of advice says, how often, where the truth is known.

``python -m tests.calibration.guideline_rule 4000`` writes ``guideline_rule.csv`` beside this file. Sites'
differences are normal round their season's, seasons' round the truth; limits are t limits over sites,
which is what limits for sites like these come to. Four preparations are compared on one kind of ground,
the other three without effect, and p is Holm's over them. The version with three seasons is looked at
as if the first two had not been.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd
from scipy import stats

from survivor.evidence.grading import RANDOM, Circumstances, grade
from survivor.evidence.words import settled
from survivor.guideline.advice import LIKE_SITES, THESE_SITES
from survivor.guideline.rule import ANSWERS, Facts, advice_of, usual_rule
from survivor.models.multiplicity import holm

TABLE = Path(__file__).with_suffix(".csv")
WORTH = 5.0  # smallest difference worth having, per 100 planted
SITES = 4  # a season
SITE_SD = 14.0  # of one site's difference: plots, seedlings and the site itself
TRUE = (-10.0, 0.0, 5.0, 10.0, 20.0)
SEASON_SDS = (0.0, 4.0)
SEASONS = (1, 2, 3)
PREPARATIONS = 4


def programme(true: float, season_sd: float, seasons: int, rng: np.random.Generator) -> str:
    """Advice on the first of four preparations, drawn once."""
    truth = np.zeros(PREPARATIONS)
    truth[0] = true
    by_season = truth[:, None] + season_sd * rng.standard_normal((PREPARATIONS, seasons))
    sites = by_season[:, :, None] + SITE_SD * rng.standard_normal((PREPARATIONS, seasons, SITES))
    flat = sites.reshape(PREPARATIONS, -1)
    n = flat.shape[1]
    mean, error = flat.mean(axis=1), flat.std(axis=1, ddof=1) / np.sqrt(n)
    half = stats.t.ppf(0.975, n - 1) * error
    adjusted = holm(2 * stats.t.sf(np.abs(mean) / error, n - 1))
    lower, upper, p = float(mean[0] - half[0]), float(mean[0] + half[0]), float(adjusted[0])
    level, _, _ = grade(
        Circumstances(
            allocation=RANDOM,
            plots_placed="random",
            df=float(n - 1),
            fewest_plots=2 * n,
            settled=settled(lower, upper, p, WORTH),
        )
    )
    facts = Facts(
        seasons=seasons,
        sites=n,
        fewest_plots=2 * n,
        of=LIKE_SITES if n >= 5 else THESE_SITES,
        estimate=float(mean[0]),
        lower=lower,
        upper=upper,
        p_adjusted=p,
        season_estimates=tuple(sites[0].mean(axis=1)),
        extra_cost=1.0,
        grade=level,
    )
    return advice_of(usual_rule(WORTH), facts)[0]


def run(draws: int, seed: int = 1) -> pd.DataFrame:
    """Shares per 100 of each advice, one row a truth, spread of seasons and number of them."""
    lines = []
    for place, (season_sd, seasons, true) in enumerate(
        (sd, k, d) for sd in SEASON_SDS for k in SEASONS for d in TRUE
    ):
        rng = np.random.default_rng([seed, place])
        said = pd.Series([programme(true, season_sd, seasons, rng) for _ in range(draws)])
        shares = {answer: 100 * float((said == answer).mean()) for answer in ANSWERS}
        lines.append({"season_sd": season_sd, "seasons": seasons, "true_difference": true, **shares})
    return pd.DataFrame(lines).round(2)


if __name__ == "__main__":
    made = run(int(sys.argv[1]) if len(sys.argv) > 1 else 4000)
    made.to_csv(TABLE, index=False, lineterminator="\n")
    print(made.to_string(index=False))
