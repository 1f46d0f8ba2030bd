"""How many deaths, seedlings or plots a comparison needs, by closed form.

>>> round(events_needed(0.5, power=0.8), 2)  # deaths of independent seedlings
65.35
>>> arms = Arms(survival=0.6, other=0.75, variance=0.24, other_variance=0.1875, correlation=0.08)
>>> plots_needed(lambda plots: power_of_proportions(arms, plots, seedlings=20))  # of each method
21
>>> round(design_effect_from_icc(20, 0.05), 2)  # what plots of 20 multiply a number of seedlings by
1.95

``survivor.plan`` asks the same of a whole season, by simulation too.
"""

from __future__ import annotations

import math

from scipy import stats

from survivor.arguments import is_number
from survivor.errors import PlanError
from survivor.planning.closed_form import ALPHA as ALPHA
from survivor.planning.closed_form import Arms as Arms
from survivor.planning.closed_form import plots_needed as plots_needed
from survivor.planning.closed_form import power_of_events as power_of_events
from survivor.planning.closed_form import power_of_proportions as power_of_proportions
from survivor.proportions import design_effect_from_icc as design_effect_from_icc


def events_needed(
    hazard_ratio: float, power: float = 0.8, alpha: float = ALPHA, allocation: float = 0.5
) -> float:
    """Count the deaths with which a ratio of hazards is shown, were seedlings independent.

    Parameters
    ----------
    hazard_ratio
        To be shown, above 0 and not 1.
    power, alpha
        Chance to show it; two-sided level.
    allocation
        Share of the seedlings in one of the two arms.

    Returns
    -------
    float
        Deaths in both arms together, not rounded.

    Raises
    ------
    PlanError
        When no number of deaths could show it.

    Notes
    -----
    Schoenfeld (1981), Biometrika 68, 316-319. Multiply by the design effect of plots.

    Examples
    --------
    >>> round(events_needed(0.5, power=0.9), 2)
    87.48
    """
    for name, value, most in (
        ("hazard_ratio", hazard_ratio, math.inf),
        ("power", power, 1),
        ("alpha", alpha, 1),
        ("allocation", allocation, 1),
    ):
        if not is_number(value) or not 0 < value < most or (name == "hazard_ratio" and value == 1):
            raise PlanError(f"{name}={value!r} needs no number of deaths", where=name, mend="see its bounds")
    quantiles = float(stats.norm.ppf(1 - alpha / 2) + stats.norm.ppf(power))
    return quantiles**2 / (allocation * (1 - allocation) * math.log(hazard_ratio) ** 2)
