"""Parameters of a simulated cohort, and its baseline hazard."""

from __future__ import annotations

import calendar
import datetime as dt
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from survivor.errors import SimulationError

Floats = NDArray[np.float64]
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
    first, last = dry_season
    days: list[int] = []
    for year in range(planted.year - 1, planted.year + int(until_day // 365) + 2):
        opens = (_on(year, first) - planted).days
        over = (_on(year + (last < first), last) - planted).days + 1
        if over > 0:
            days += [max(0, opens), over]
    return np.array([day for day in days if day < until_day], dtype=float)


def _on(year: int, month_day: str) -> dt.date:
    """Day of a year; 29 February is the 28th where there is none."""
    month, day = (int(part) for part in month_day.split("-"))
    return dt.date(year, month, min(day, calendar.monthrange(year, month)[1]))


def hazard_knots(cuts: Floats, hazards: tuple[float, ...]) -> tuple[Floats, Floats]:
    """Knots of a cumulative hazard with one constant hazard a piece.

    Returns
    -------
    days, cumulative
        To be joined by straight lines; the last hazard given runs on.
    """
    days = np.concatenate([[0.0], cuts, [_CENTURY_DAYS]])
    lengths = np.diff(days)
    each = np.array([hazards[min(piece, len(hazards) - 1)] for piece in range(len(lengths))])
    return days, np.concatenate([[0.0], np.cumsum(lengths * each)])


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
