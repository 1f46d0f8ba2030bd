"""Truth of a cohort: conditional effects and population averages, by numerical integration."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pandas as pd

from survivor.simulate.cohort import Cohort, Floats, knots_of_site, radius_effect, radius_range
from survivor.vocabulary import PER_100

_NORMAL_NODES = 60
_RADIUS_NODES = 200


@dataclass(frozen=True)
class Truth:
    """What the estimates of a cohort should come near to.

    ``table`` has a row a method and day: ``method, at_day, log_hazard_ratio``
    (conditional on the plot and site), ``survival`` and ``difference`` from the
    first method (per 100 planted, averaged over plots, sites, species and radii)
    and ``averaged_log_hazard_ratio``, the difference of log(-log(survival)) of
    those averages, which is nearer to 0 than the conditional one.
    """

    table: pd.DataFrame
    unit: str
    basis: str

    def at(self, day: float) -> pd.DataFrame:
        """Rows of one day, indexed by method."""
        return self.table[self.table["at_day"] == day].set_index("method")


def normal_nodes(sd: float) -> tuple[Floats, Floats]:
    """Nodes and weights that average a function over a normal effect (Gauss-Hermite)."""
    if sd == 0:
        return np.zeros(1), np.ones(1)
    nodes, weights = _standard_nodes()
    return sd * nodes, weights / weights.sum()


@cache
def _standard_nodes() -> tuple[Floats, Floats]:
    nodes, weights = np.polynomial.hermite_e.hermegauss(_NORMAL_NODES)
    return nodes, weights


def average_survival(cumulative: Floats, log_hazard: Floats, weights: Floats, sd: float) -> float:
    """Mean of exp(-cumulative * exp(log_hazard + effect)) over rows and a normal effect.

    Parameters
    ----------
    cumulative, log_hazard, weights
        One value a row: baseline cumulative hazard at the day, fixed part of the log
        hazard, and how much the row counts.
    sd
        Standard deviation of the normal effect that is averaged out.

    Returns
    -------
    float
        Survival in 0..1.
    """
    nodes, node_weights = normal_nodes(sd)
    curve = np.exp(-cumulative[:, None] * np.exp(log_hazard[:, None] + nodes[None, :])) @ node_weights
    return float(curve @ weights / weights.sum())


def true_effects(cohort: Cohort, at: tuple[float, ...] = (365.0,)) -> Truth:
    """Compute the conditional and the population-averaged truth of a cohort.

    Parameters
    ----------
    cohort
        The parameters.
    at
        Days since planting.

    Returns
    -------
    Truth
        Averages by Gauss-Hermite quadrature over the normal effects and by a fine
        midpoint rule over the radius: no simulation error.
    """
    rows = []
    for day in at:
        survival = [100 * _method_survival(cohort, index, day) for index in range(len(cohort.methods))]
        loglog = np.log(-np.log(np.array(survival) / 100))
        for index, (name, log_ratio) in enumerate(cohort.methods):
            rows.append(
                {
                    "method": name,
                    "at_day": float(day),
                    "log_hazard_ratio": log_ratio - cohort.methods[0][1],
                    "averaged_log_hazard_ratio": loglog[index] - loglog[0],
                    "survival": survival[index],
                    "difference": survival[index] - survival[0],
                }
            )
    sites = "these sites" if cohort.site_effects is not None else "sites drawn like these"
    basis = (
        f"{sites}; averaged over plot effects, planting dates, species and radii by numerical integration; "
        "log_hazard_ratio is conditional on plot and site"
    )
    return Truth(pd.DataFrame(rows), PER_100, basis)


def true_dose(cohort: Cohort, radii_m: tuple[float, ...], at: float = 365.0) -> pd.DataFrame:
    """Compute survival per 100 planted were every plot of a radius, averaged over methods.

    Returns
    -------
    DataFrame
        ``weed_free_radius_m, at_day, survival``.
    """
    rows = []
    for radius in radii_m:
        held = replace(cohort, radius_m=((radius, radius),))
        each = [_method_survival(held, index, at) for index in range(len(cohort.methods))]
        rows.append(
            {"weed_free_radius_m": radius, "at_day": float(at), "survival": 100 * float(np.mean(each))}
        )
    return pd.DataFrame(rows)


def _method_survival(cohort: Cohort, method: int, day: float) -> float:
    spread = cohort.plot_sd**2 + cohort.method_by_site_sd**2
    if cohort.site_effects is None:
        spread += cohort.site_sd**2
        # Sites differ in their planting date only, so one of each date stands for all of them.
        sites = np.arange(min(len(cohort.planted), cohort.sites))
        fixed = np.zeros(len(sites))
        plants = np.bincount(np.arange(cohort.sites) % len(cohort.planted)).astype(float)
    else:
        sites = np.arange(cohort.sites)
        fixed = np.array(cohort.site_effects, dtype=float)
        plants = np.ones(len(sites))
    cumulative = np.array([np.interp(day, *knots_of_site(cohort, int(site))) for site in sites])
    low, high = radius_range(cohort, method)
    radii = (
        low + (high - low) * (np.arange(_RADIUS_NODES) + 0.5) / _RADIUS_NODES
        if high > low
        else np.array([low])
    )
    shares = np.bincount(
        np.arange(cohort.seedlings) % len(cohort.species), minlength=len(cohort.species)
    ).astype(float)
    species = np.array([effect for _, effect in cohort.species])
    grid = (
        cohort.methods[method][1]
        + fixed[:, None, None]
        + species[None, :, None]
        + radius_effect(cohort, radii)[None, None, :]
    )
    weights = np.broadcast_to(plants[:, None, None] * shares[None, :, None], grid.shape)
    base = np.broadcast_to(cumulative[:, None, None], grid.shape)
    return average_survival(base.ravel(), grid.ravel(), weights.ravel(), float(np.sqrt(spread)))
