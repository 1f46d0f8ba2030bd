"""Quantiles of draws with their Monte Carlo errors."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from survivor.effects.limits import Floats
from survivor.vocabulary import CONFIDENCE

TAILS: Final = ((1 - CONFIDENCE) / 2, (1 + CONFIDENCE) / 2)


def quantile(ordered: Floats, share: float) -> tuple[Floats, Floats]:
    """Return a quantile of each column and its Monte Carlo error, from the order statistics round it.

    Parameters
    ----------
    ordered
        Draws, each column in rising order, shape (draws, m).
    share
        Of the quantile, between 0 and 1.
    """
    draws = len(ordered)
    step = np.sqrt(share * (1 - share) / draws)
    places: NDArray[np.intp] = np.clip(
        np.round((draws - 1) * np.array([share - step, share, share + step])), 0, draws - 1
    ).astype(np.intp)
    low, middle, high = ordered[places]
    with np.errstate(invalid="ignore"):
        error: Floats = (high - low) / 2
    return middle, error
