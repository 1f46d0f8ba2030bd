"""Parameters of a simulated cohort, and its baseline hazard.

Truth of a cohort: conditional effects and population averages, by numerical integration.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from itertools import pairwise

import numpy as np
import pandas as pd

from survivor.arrays import Floats
from survivor.errors import SimulationError
from survivor.intervals import dry_seasons
from survivor.vocabulary import PER_100

Named = tuple[tuple[str, float], ...]

_CENTURY_DAYS = 36525.0  # beyond every visit: the last hazard runs on to here


@dataclass(frozen=True)
class Cohort:
    """Parameters of a planting and of how it was watched.

    ``planted``, ``visit_days`` and ``radius_m`` are taken in turn (the first site
    takes the first, and so on round again), so one entry means the same for all.

    Parameters
    ----------
    methods
        Name and log hazard ratio of each preparation, usual practice first (0.0).
        Every method has ``plots`` plots in every block of every site.
    species
        Name and log hazard ratio; seedlings of a plot take them in turn.
    seedlings
        Seedlings in a plot.
    planted
        Planting dates, one a site in turn.
    visit_days
        Days since planting of the visits, one row a site in turn, equal lengths.
    visit_spread_days
        Each visit of a site moves by a whole number of days up to this, either way.
    dry_season
        Start and end as ``MM-DD``; None: the pieces end at ``cuts`` (days since planting).
    hazards
        Baseline deaths per seedling per day, one a piece in order; the last one runs on.
    plot_sd, site_sd, method_by_site_sd
        Standard deviations of normal effects on the log hazard.
    site_effects
        Fixed site effects on the log hazard instead of drawn ones: the truth is then
        that of these sites, which is what limits 'at these sites' must cover.
    radius_m
        Least and greatest weed-free radius (m), one pair a method in turn; uniform
        between them, one value a plot. Empty: no radius.
    radius_log_hazard
        Change of the log hazard per metre, from ``radius_reference_m``; no change
        beyond ``radius_plateau_m``.
    p_skip
        Chance that a plot is not visited at a visit.
    p_lost
        Chance, at each visit, that a tag is not found then or ever again.

    Raises
    ------
    SimulationError
        When a parameter is out of its range; names it.
    """

    methods: Named = (("usual practice", 0.0), ("alternative", -0.5))
    species: Named = (("", 0.0),)
    sites: int = 8
    blocks: int = 2
    plots: int = 1
    seedlings: int = 20
    planted: tuple[dt.date, ...] = (dt.date(2022, 6, 15),)
    visit_days: tuple[tuple[int, ...], ...] = ((40, 150, 300, 365, 665, 730),)
    visit_spread_days: int = 0
    dry_season: tuple[str, str] | None = ("12-01", "03-31")
    cuts: tuple[float, ...] = ()
    hazards: tuple[float, ...] = (0.0004, 0.0025, 0.0003, 0.0005, 0.0002)
    plot_sd: float = 0.4
    site_sd: float = 0.4
    method_by_site_sd: float = 0.0
    site_effects: tuple[float, ...] | None = None
    radius_m: tuple[tuple[float, float], ...] = ()
    radius_log_hazard: float = 0.0
    radius_reference_m: float = 0.5
    radius_plateau_m: float | None = None
    p_skip: float = 0.0
    p_lost: float = 0.0

    def __post_init__(self) -> None:
        """Refuse parameters that no cohort can have, before anything is drawn."""
        for name in ("sites", "blocks", "plots", "seedlings"):
            _need(getattr(self, name) >= 1, name, "there must be at least one")
        for name in ("plot_sd", "site_sd", "method_by_site_sd", "visit_spread_days"):
            _need(getattr(self, name) >= 0, name, "it cannot be negative")
        for name in ("p_skip", "p_lost"):
            _need(0 <= getattr(self, name) < 1, name, "a chance is at least 0 and under 1")
        names = [name for name, _ in self.methods]
        _need(len(names) >= 1 and len(set(names)) == len(names), "methods", "each needs a name of its own")
        _need(bool(self.planted), "planted", "a planting date is needed")
        _need(bool(self.hazards) and min(self.hazards) >= 0, "hazards", "rates of 0 or more are needed")
        lengths = {len(row) for row in self.visit_days}
        _need(len(lengths) == 1 and 0 not in lengths, "visit_days", "every site needs as many visits")
        rising = all(a < b for row in self.visit_days for a, b in pairwise((0, *row)))
        _need(rising, "visit_days", "days must rise, from 1 on")
        effects = self.site_effects
        _need(effects is None or len(effects) == self.sites, "site_effects", "one a site is needed")
        _need(
            all(0 < low <= high for low, high in self.radius_m), "radius_m", "0 < least <= greatest must hold"
        )

    @property
    def method_names(self) -> list[str]:
        """Names of the methods, usual practice first."""
        return [name for name, _ in self.methods]

    @property
    def n_plots(self) -> int:
        """Plots in the cohort."""
        return self.sites * self.blocks * self.plots * len(self.methods)


def _need(holds: bool, name: str, what: str) -> None:
    if not holds:
        raise SimulationError(what, where=f"parameter {name}", mend="change that parameter of the cohort")


def season_cuts(planted: dt.date, dry_season: tuple[str, str], until_day: float) -> Floats:
    """Days since planting on which a dry season starts or is over, up to ``until_day``.

    Parameters
    ----------
    planted
        Planting date; day 0. In a dry season the first cut is 0: the piece before
        the first dry season is then empty.
    dry_season
        First and last day as ``MM-DD``; the last falls in the next year where it is the earlier one.
    until_day
        Last day of interest.
    """
    days: list[int] = []
    for opens, over in dry_seasons(planted, *dry_season):
        days += [max(0, (opens - planted).days), (over - planted).days + 1]
        if days[-1] >= until_day:
            break
    return np.array([day for day in days if day < until_day], dtype=float)


def hazard_knots(cuts: Floats, hazards: tuple[float, ...]) -> tuple[Floats, Floats]:
    """Knots of a cumulative hazard with one constant hazard a piece.

    Returns
    -------
    days, cumulative
        To be joined by straight lines; the last hazard given runs on.
    """
    days = np.concatenate([[0.0], cuts, [_CENTURY_DAYS]])
    lengths = np.diff(days)
    hazard = np.array([hazards[min(piece, len(hazards) - 1)] for piece in range(len(lengths))])
    return days, np.concatenate([[0.0], np.cumsum(lengths * hazard)])


def radius_effect(cohort: Cohort, radius_m: Floats) -> Floats:
    """Change of the log hazard that a weed-free radius (m) makes; 0 where a cohort has no radius."""
    if not cohort.radius_m:
        return np.zeros_like(radius_m)
    top = np.inf if cohort.radius_plateau_m is None else cohort.radius_plateau_m
    return cohort.radius_log_hazard * (np.minimum(radius_m, top) - min(cohort.radius_reference_m, top))


def radius_range(cohort: Cohort, method: int) -> tuple[float, float]:
    """Least and greatest weed-free radius (m) of a method; not a number where there is none."""
    return cohort.radius_m[method % len(cohort.radius_m)] if cohort.radius_m else (np.nan, np.nan)


def knots_of_site(cohort: Cohort, site: int) -> tuple[Floats, Floats]:
    """Knots of the baseline cumulative hazard of a site, from its planting date."""
    return _knots(cohort, cohort.planted[site % len(cohort.planted)])


@lru_cache(maxsize=512)
def _knots(cohort: Cohort, planted: dt.date) -> tuple[Floats, Floats]:
    if cohort.dry_season is None:
        return hazard_knots(np.array(cohort.cuts, dtype=float), cohort.hazards)
    until = 366.0 * (len(cohort.hazards) // 2 + 2)
    return hazard_knots(season_cuts(planted, cohort.dry_season, until), cohort.hazards)


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
        survivals = [_method_survival(held, index, at) for index in range(len(cohort.methods))]
        rows.append(
            {"weed_free_radius_m": radius, "at_day": float(at), "survival": 100 * float(np.mean(survivals))}
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
