"""How many independent seedlings stand behind a survival of 0 or 100 %, where spread can't be seen.

One rule for curves and for averaged survival: the seedlings whose fate is known, over the
design effect of their plots by the correlation within plots of the whole table, cut for the
few plots that it rests on (``survivor.proportions.effective_number``).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import pandas as pd

from survivor.curves.samples import Sample, collect
from survivor.proportions import design_effect_from_icc, effective_number, plot_correlation

_ASSUMED_ICC: Final = 0.2  # middle of what plots of seedlings show, used only where no plot lost any


def correlation(samples: Sequence[Sample]) -> float:
    """Correlation of seedlings within plots over the whole watch, within groups and strata, 0 or more."""
    entered = [sample.entered() for sample in samples]
    died = [np.bincount(s.cluster, weights=s.died, minlength=s.plots) for s in samples]
    number, dead = np.concatenate(entered), np.concatenate(died)
    # Differences between strata are in no limits of a group, so they are no likeness of plots either.
    before = np.cumsum([0, *(int(s.stratum.max()) + 1 for s in samples)])
    group = np.concatenate([s.stratum + first for s, first in zip(samples, before, strict=False)])
    if len(number) <= len(np.unique(group)) or not np.any(number > 1) or not 0 < dead.sum() < number.sum():
        return _ASSUMED_ICC
    icc = plot_correlation(number - dead, number, group).icc
    return max(icc, 0.0) if np.isfinite(icc) else _ASSUMED_ICC


def effect_of_plots(sample: Sample, icc: float) -> float:
    """Design effect of the plots of a group, from their sizes and the correlation within them."""
    entered = sample.entered()
    return design_effect_from_icc(float((entered**2).sum() / entered.sum()), icc)


def edge_numbers(
    frame: pd.DataFrame,
    by: str | None,
    day: float,
    cluster: str | Sequence[str] | None,
    strata: str | Sequence[str] | None,
) -> dict[str, float]:
    """Effective number of seedlings of each group at a day, as its curve takes it at 0 and 100 %.

    Parameters
    ----------
    frame
        Risk intervals.
    by
        Column of groups; None: one, called ``all``.
    day
        Days since planting.
    cluster, strata
        As for ``survivor.curve``.

    Returns
    -------
    dict
        By the name of the group; NaN where one plot only tells.
    """
    labels, samples = collect(frame, by, cluster, strata)
    icc = correlation(samples) if cluster is not None else 0.0
    found = {}
    for label, sample in zip(labels, samples, strict=True):
        watched = float(sample.at_risk[(sample.start < day) & (day <= sample.stop)].sum())
        dead = float(sample.died[sample.stop <= day].sum())
        alone = not sample.clustered
        effect, df = (1.0, None) if alone else (effect_of_plots(sample, icc), float(sample.df))
        found[str(label)] = float(effective_number(watched or dead, effect, df))
    return found
