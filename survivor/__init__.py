"""Establishment survival analysis: field records to evidence.

>>> import survivor
>>> study = survivor.load("datasets/tagged")            # doctest: +SKIP
>>> study.problems                                      # doctest: +SKIP
>>> fit = survivor.fit(study.intervals, "method")       # doctest: +SKIP
>>> survivor.contrasts(fit, at=365)                     # doctest: +SKIP

Names are loaded when first used, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from survivor.costing import Payoff, payoff
    from survivor.costs.stocking import infill_order, stems_needed
    from survivor.curves import Curves, curve
    from survivor.curves.mean_days import mean_days_alive
    from survivor.effects.contrasts import Contrasts, contrasts
    from survivor.effects.dose import Dose, dose
    from survivor.effects.hazards import hazards
    from survivor.effects.likesites import like_sites
    from survivor.effects.sensitivity import sensitivity
    from survivor.effects.slopes import radius_by_method
    from survivor.effects.standardise import Standardised, survival
    from survivor.effects.within_between import within_between
    from survivor.errors import SurvivorError
    from survivor.models.fit import fit
    from survivor.models.permutation import permutation_test
    from survivor.models.pieces import DayPieces, SeasonPieces
    from survivor.models.result import Fit
    from survivor.planning.run import SeasonPlan, plan
    from survivor.pooling import Pooled, PooledTrend, pool, pool_by
    from survivor.season.stress import stress_days
    from survivor.study import Study, load

_HOME = {
    "Contrasts": "survivor.effects.contrasts",
    "Curves": "survivor.curves",
    "DayPieces": "survivor.models.pieces",
    "Dose": "survivor.effects.dose",
    "Fit": "survivor.models.result",
    "Payoff": "survivor.costing",
    "Pooled": "survivor.pooling.result",
    "PooledTrend": "survivor.pooling.regression",
    "SeasonPieces": "survivor.models.pieces",
    "SeasonPlan": "survivor.planning.run",
    "Standardised": "survivor.effects.standardise",
    "Study": "survivor.study",
    "SurvivorError": "survivor.errors",
    "contrasts": "survivor.effects.contrasts",
    "curve": "survivor.curves",
    "dose": "survivor.effects.dose",
    "fit": "survivor.models.fit",
    "hazards": "survivor.effects.hazards",
    "infill_order": "survivor.costs.stocking",
    "like_sites": "survivor.effects.likesites",
    "load": "survivor.study",
    "mean_days_alive": "survivor.curves.mean_days",
    "payoff": "survivor.costing",
    "permutation_test": "survivor.models.permutation",
    "plan": "survivor.planning.run",
    "pool": "survivor.pooling.pool",
    "pool_by": "survivor.pooling.regression",
    "radius_by_method": "survivor.effects.slopes",
    "sensitivity": "survivor.effects.sensitivity",
    "stems_needed": "survivor.costs.stocking",
    "stress_days": "survivor.season.stress",
    "survival": "survivor.effects.standardise",
    "within_between": "survivor.effects.within_between",
}

__all__ = [
    "Contrasts",
    "Curves",
    "DayPieces",
    "Dose",
    "Fit",
    "Payoff",
    "Pooled",
    "PooledTrend",
    "SeasonPieces",
    "SeasonPlan",
    "Standardised",
    "Study",
    "SurvivorError",
    "contrasts",
    "curve",
    "dose",
    "fit",
    "hazards",
    "infill_order",
    "like_sites",
    "load",
    "mean_days_alive",
    "payoff",
    "permutation_test",
    "plan",
    "pool",
    "pool_by",
    "radius_by_method",
    "sensitivity",
    "stems_needed",
    "stress_days",
    "survival",
    "within_between",
]


def __getattr__(name: str) -> Any:
    if name in _HOME:
        # Not kept in globals(): `survivor.costing` the function must win over the
        # module of the same name however often the module is imported.
        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module 'survivor' has no attribute {name!r}")


def __dir__() -> list[str]:
    # What is public, not what this module happens to import.
    return sorted([*__all__, "__version__", "__doc__", "__name__", "__file__", "__path__"])
