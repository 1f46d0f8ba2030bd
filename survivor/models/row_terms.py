"""Log-likelihood of one row of counts in its linear predictor, with three derivatives.

``hazard``: the predictor is the log cumulative hazard of the row, and ``died`` of
``at_risk`` have died with probability 1 - exp(-H). ``logit``: the predictor is the
log odds, and ``died`` stands for whatever is counted. The binomial constant is left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

Floats = NDArray[np.float64]
Link = Literal["hazard", "logit"]

_LARGEST = 700.0  # exp() of more overflows
_REACH = 60.0  # predictors beyond this are as good as infinite


@dataclass(frozen=True)
class Counts:
    """Counts of rows, shape (n,), and what their predictor is."""

    at_risk: Floats
    died: Floats
    link: Link

    def value(self, predictor: Floats) -> tuple[Floats, Floats]:
        """Log-likelihood of each row and its first derivative."""
        if self.link == "logit":
            value = self.died * predictor - self.at_risk * np.logaddexp(0.0, predictor)
            return value, self.died - self.at_risk * expit(predictor)
        hazard = np.exp(np.clip(predictor, -_REACH, _REACH))
        bounded = np.minimum(hazard, _LARGEST)
        grown = np.expm1(bounded)  # log(1 - exp(-H)) = log(exp(H) - 1) - H
        alive = (self.at_risk - self.died) * hazard
        value = self.died * (np.log(grown) - bounded) - alive
        return value, self.died * (hazard / grown) - alive

    def slopes(self, predictor: Floats) -> tuple[Floats, Floats, Floats]:
        """First three derivatives of each row; the second is never positive."""
        if self.link == "logit":
            share = expit(predictor)
            spread = self.at_risk * share * (1 - share)
            return self.died - self.at_risk * share, -spread, -spread * (1 - 2 * share)
        hazard = np.exp(np.clip(predictor, -_REACH, _REACH))
        first = hazard / np.expm1(np.minimum(hazard, _LARGEST))
        rest = 1 - hazard - first
        second = first * rest
        third = second * rest - first * (hazard + second)
        alive = (self.at_risk - self.died) * hazard
        return self.died * first - alive, self.died * second - alive, self.died * third - alive
