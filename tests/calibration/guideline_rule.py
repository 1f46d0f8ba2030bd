"""What the usual rule of advice says, how often, where the truth is known.

``python -m tests.calibration.guideline_rule 20000`` writes ``guideline_rule.csv`` beside this file (some
minutes of one core). Four preparations are compared with one usual practice on one kind of ground; the
first truly differs by ``true_difference`` per 100 planted on average over seasons, the other three do
nothing. Seasons differ round that with a standard deviation of ``season_sd``, the same for all; what the
usual practice does in a season is in every comparison, so these are correlated by a half. Each season is
one estimate with a standard error by plot, which does not know how its four sites differ. Seasons are pooled
as ``survivor pool`` pools them, and the rule is the package's own.

``useless_advised``: versions per 100 in which any preparation that does nothing is advised; ``versions``:
how many were drawn.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd
from scipy import stats

from survivor.arrays import Floats
from survivor.guideline.advice import SEASONS_LIKE_THESE, THIS_SEASON
from survivor.guideline.rule import ANSWERS, Facts, advice_of, usual_rule
from survivor.models.result import holm
from survivor.pooling.limits import means
from survivor.pooling.spread import between_variance

TABLE = Path(__file__).with_suffix(".csv")
WORTH = 5.0  # smallest difference that matters, per 100 planted
SITES = 4  # a season
PLOT_ERROR, PLOT_DF = 6.3, 10  # of a season's estimate: plots and seedlings
SITE_SD = 6.0  # between sites of one season, which limits by plot do not know
TRUE = (0.0, 5.0, 10.0, 20.0)
SEASON_SDS = (0.0, 4.0, 8.0, 12.0, 15.0)
SEASONS = (1, 3, 5, 8)
PREPARATIONS = 4


def seasons_of(
    true: float, season_sd: float, seasons: int, draws: int, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Draw estimates and their variances as the seasons tell them, shape (draws, preparations, seasons)."""
    shape = (draws, PREPARATIONS, seasons)

    def noise() -> Floats:
        shared = rng.standard_normal((draws, 1, seasons))
        return np.asarray((rng.standard_normal(shape) + shared) / np.sqrt(2))

    truth = np.zeros((1, PREPARATIONS, 1))
    truth[0, 0] = true
    estimates = truth + season_sd * noise() + SITE_SD / np.sqrt(SITES) * noise() + PLOT_ERROR * noise()
    return estimates, PLOT_ERROR**2 * rng.chisquare(PLOT_DF, shape) / PLOT_DF


def limits_of(estimates: Floats, variances: Floats) -> tuple[Floats, Floats, Floats]:
    """Pool over seasons: estimate, half width of the limits, and p; of one season its own."""
    seasons = estimates.shape[-1]
    if seasons == 1:
        error, df = np.sqrt(variances[..., 0]), np.full(estimates.shape[:-1], float(PLOT_DF))
        centre = estimates[..., 0]
    else:
        ones = np.ones((seasons, 1))
        between = between_variance(estimates, variances, ones, "reml")
        found = means(estimates, variances, ones, between, "cr2", "as is")
        centre, error = found.coefficients[..., 0], found.std_error[..., 0]
        df = np.asarray(found.df)[..., 0]
    return centre, stats.t.ppf(0.975, df) * error, 2 * stats.t.sf(np.abs(centre) / error, df)


def programmes(
    true: float, season_sd: float, seasons: int, draws: int, rng: np.random.Generator
) -> tuple[list[str], int]:
    """Advice on the first preparation in each version, and in how many versions a useless one is advised."""
    estimates, variances = seasons_of(true, season_sd, seasons, draws, rng)
    centre, half, p_value = limits_of(estimates, variances)
    rule = usual_rule(WORTH)
    first: list[str] = []
    useless = 0
    for own, middle, reach, p in zip(estimates, centre, half, p_value, strict=True):
        told = [
            advice_of(
                rule,
                Facts(
                    seasons=seasons,
                    sites=SITES * seasons,
                    fewest_plots=2 * SITES * seasons,
                    of=SEASONS_LIKE_THESE if seasons > 1 else THIS_SEASON,
                    estimate=float(middle[place]),
                    lower=float(middle[place] - reach[place]),
                    upper=float(middle[place] + reach[place]),
                    p_adjusted=float(adjusted),
                    season_estimates=tuple(map(float, own[place])),
                    extra_cost=1.0,
                    grade="weak",
                ),
            )[0]
            for place, adjusted in enumerate(holm(p))
        ]
        first.append(told[0])
        useless += "advised" in (told if true == 0 else told[1:])
    return first, useless


def run(draws: int, seed: int = 1) -> pd.DataFrame:
    """Shares per 100 of each advice on the first, one row a truth, spread of seasons and number of them."""
    lines = []
    for place, (season_sd, seasons, true) in enumerate(
        (sd, k, d) for sd in SEASON_SDS for k in SEASONS for d in TRUE
    ):
        rng = np.random.default_rng([seed, place])
        first, useless = programmes(true, season_sd, seasons, draws, rng)
        said = pd.Series(first)
        shares = {answer: 100 * float((said == answer).mean()) for answer in ANSWERS}
        cell = {"season_sd": season_sd, "seasons": seasons, "true_difference": true}
        lines.append({**cell, **shares, "useless_advised": 100 * useless / draws, "versions": draws})
    return pd.DataFrame(lines).round(2)


if __name__ == "__main__":
    made = run(int(sys.argv[1]) if len(sys.argv) > 1 else 20_000)
    made.to_csv(TABLE, index=False, lineterminator="\n")
    print(made.to_string(index=False))
