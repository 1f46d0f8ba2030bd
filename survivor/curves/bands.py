"""Confidence bands: limits that hold the whole curve at once, where ``lower, upper`` hold it day by day.

Equal-precision bands of log(-log S): at every day the estimate and so many of its own standard
errors either side. How many is the quantile of the largest of the standardised deviations
over the days, drawn from the normal (with few plots: t) distribution that the deviations have:
with seedlings independent a Wiener process in the variance of log S, with plots the
jackknife's covariance. Where few plots tell, a band is wide.

Sources: Nair (1984), Technometrics 26, 265-275, for equal precision; Lin (1997), Statistics
in Medicine 16, 901-910, for drawing the deviations.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from survivor.arrays import Codes, Floats
from survivor.curves.limits import Replicates, loglog, replicates
from survivor.curves.product_limit import greenwood, of_all, risk_sets
from survivor.curves.samples import Sample
from survivor.limits import around, quantile

_DRAWS: Final = 20_000


def band(sample: Sample, table: pd.DataFrame, level: float, seed: int) -> tuple[Floats, Floats]:
    """Lower and upper ends of the band of one group, shape (rows of ``table``,); NaN where there is none.

    Parameters
    ----------
    sample
        Risk intervals of the group.
    table
        Its rows of ``Curves.table``, of a Kaplan-Meier curve.
    level
        Probability that the whole curve lies inside.
    seed
        Of the draws.
    """
    day, survival, error = (table[name].to_numpy(float) for name in ("day", "survival", "std_error"))
    told = (survival > 0) & (survival < 1) & (error > 0)
    lower, upper = (
        np.where(table["lower"].isna() | told, np.nan, table[name]) for name in ("lower", "upper")
    )
    if not told.any():
        return lower, upper
    days, alive = day[told], survival[told]
    generator = np.random.default_rng(seed)
    every = np.unique(sample.stop)
    kept = np.isin(every, days)
    if sample.clustered:

        def tabulate(rows: Sample, unit: Codes, units: int) -> tuple[Floats, Floats]:
            return risk_sets(rows, every, unit, units)

        without = ((curves[:, kept], plots) for curves, plots in replicates(sample, tabulate))
        deviations = _by_plots(alive, without, sample, generator)
    else:
        deviations = _independent(greenwood(*of_all(sample, every))[kept], generator)
    df = float(sample.df) if sample.clustered else np.inf
    times = max(float(np.quantile(np.abs(deviations).max(axis=1), level)), float(quantile(df, level)))
    lower[told], upper[told] = around(alive, times * error[told] / (alive * np.abs(np.log(alive))))
    return lower, upper


def _independent(log_variance: Floats, generator: np.random.Generator) -> Floats:
    """Draw standardised deviations of log S with seedlings independent, shape (draws, days)."""
    steps = np.sqrt(np.maximum(np.diff(log_variance, prepend=0.0), 0.0))
    walk = np.cumsum(generator.standard_normal((_DRAWS, len(steps))) * steps, axis=1)
    found: Floats = walk / np.sqrt(log_variance)
    return found


def _by_plots(
    survival: Floats, without: Replicates, sample: Sample, generator: np.random.Generator
) -> Floats:
    """Draw standardised deviations of log(-log S) by t on plots less strata, shape (draws, days)."""
    size = np.bincount(sample.stratum).astype(float)
    theta, square = loglog(survival), np.zeros((len(survival), len(survival)))
    slope = np.log(survival) * survival
    for curves, plots in without:
        # By the delta method where a curve without some plot stands at 0 or 1.
        moved = loglog(curves) - theta
        moved = np.where(np.isnan(moved), (curves - survival) / slope, moved)
        weighted = np.sqrt((size - 1) / size)[sample.stratum[plots]][:, None] * moved
        square += weighted.T @ weighted
    scale = np.sqrt(np.diag(square))
    # Days on which plots show no spread at all go by themselves.
    shared = np.divide(
        square, np.outer(scale, scale), out=np.eye(len(scale)), where=np.outer(scale, scale) > 0
    )
    values, vectors = np.linalg.eigh(shared)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    normal = generator.standard_normal((_DRAWS, len(survival))) @ root.T
    found: Floats = normal / np.sqrt(generator.chisquare(sample.df, _DRAWS) / sample.df)[:, None]
    return found
