"""The ``counts`` cohort: an observational programme with plot counts in one untidy workbook.

Everything is invented, the places too. Landholders chose the preparation, and
chose by the ground: ripped where it was hard, hand-dug where it was steep. Hard
ground kills more seedlings whatever is done to it, so the plain averages mislead.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survivor.demo.files import INVENTED, Cell, dictionary, json_bytes, text_file, workbook_bytes
from survivor.demo.weather import DRY_SEASON, GaugePlan, gauge_file
from survivor.simulate.cohort import average_survival, hazard_knots, season_cuts
from survivor.vocabulary import PER_100

SEED = 20210714

METHODS = {  # log hazard ratio against the local usual practice, the first
    "spray and hand-dug hole": 0.0,
    "spray and auger hole": -0.20,
    "ripped": -0.55,
    "ripped and mounded": -0.70,
    "hand-dug hole, no spray": 0.45,
}
SPELLINGS = {
    "spray and hand-dug hole": ("spray and hand-dug hole", "Spray + hand dug", "sprayed/hand-dug"),
    "spray and auger hole": ("spray and auger hole", "Spray + auger", "sprayed/augered"),
    "ripped": ("ripped", "Ripped (tractor)", "rip line"),
    "ripped and mounded": ("ripped and mounded", "Rip + mound", "rip/mound"),
    "hand-dug hole, no spray": ("hand-dug hole, no spray", "Hand dug no spray", "no spray"),
}
GROUND = {"friable": 0.0, "hard": 0.55, "steep": 0.15, "wet": -0.30}
VISITS = {
    "Nov 2021": dt.date(2021, 11, 23),
    "Apr 2022": dt.date(2022, 4, 20),
    "Jul 2022": dt.date(2022, 7, 19),
    "Nov 2022": dt.date(2022, 11, 22),
    "Apr 2023": dt.date(2023, 4, 18),
    "Jul 2023": dt.date(2023, 7, 18),
}
HAZARDS = {2021: (0.0005, 0.0022, 0.0003, 0.0005), 2022: (0.0005, 0.0030, 0.0003, 0.0006)}
PLOT_SD, SITE_SD = 0.45, 0.35
RADIUS_LOG_HAZARD, RADIUS_REFERENCE_M = -0.9, 0.5

_HAND, _AUGER, _RIP, _MOUND, _BARE = METHODS
RADIUS_M = {_HAND: 0.45, _AUGER: 0.5, _RIP: 0.55, _MOUND: 0.6, _BARE: 0.3}  # the middle of its range
RADIUS_EITHER_WAY_M = 0.15
# site, ground, year planted, plots of each method there
_SITES: tuple[tuple[str, str, int, dict[str, int]], ...] = (
    ("Harrin Slope", "steep", 2021, {_HAND: 3, _BARE: 2}),
    ("Bellmott", "friable", 2021, {_HAND: 3, _AUGER: 2}),
    ("Corvane", "hard", 2021, {_HAND: 2, _RIP: 3}),
    ("Ferrick Dale", "hard", 2021, {_RIP: 4}),
    ("Sedgemire Loop", "wet", 2021, {_MOUND: 4}),
    ("Tallun Park", "friable", 2021, {_HAND: 2, _AUGER: 2, _RIP: 1}),
    ("Wickmar Hill", "steep", 2021, {_HAND: 3, _BARE: 2}),
    ("Orrbank", "hard", 2022, {_HAND: 2, _RIP: 2}),
    ("Lissock", "friable", 2022, {_HAND: 2, _AUGER: 3}),
    ("Quernley", "hard", 2022, {_RIP: 3, _AUGER: 1}),
    ("Damsel Reach", "wet", 2022, {_MOUND: 3}),
    ("Yarlet Bank", "steep", 2022, {_HAND: 3, _BARE: 1}),
    ("Plover Nook", "friable", 2022, {_HAND: 2, _AUGER: 2}),
    ("Emsing Flat", "hard", 2022, {_HAND: 1, _RIP: 2}),
)

_GAUGE = GaugePlan(
    first=dt.date(1991, 1, 1),
    last=dt.date(2023, 8, 31),
    wetness=1.05,
    dry_spell=(dt.date(2022, 11, 20), dt.date(2023, 4, 5)),
    dry_factor=0.55,
    not_read=((dt.date(2012, 9, 1), dt.date(2012, 9, 30)),),
    blank=((dt.date(2022, 1, 3), dt.date(2022, 1, 6)),),
    accumulated=(dt.date(2022, 2, 14), dt.date(2023, 1, 30), dt.date(2006, 3, 6)),
    provisional_from=dt.date(2023, 7, 20),
)


@dataclass(frozen=True)
class Plots:
    """One entry a plot: what was planted where, and the log hazard apart from the method."""

    site: list[str]
    ground: list[str]
    method: list[str]
    label: list[str]
    planted: NDArray[np.int64]
    planted_date: list[dt.date]
    radius_m: NDArray[np.float64]
    log_hazard: NDArray[np.float64]  # ground, site and radius; without method and plot effect


def counts_files() -> dict[str, bytes]:
    """Every file of the cohort, by name."""
    rng = np.random.default_rng(SEED)
    plots = draw_plots(rng)
    return {
        "study.toml": text_file("counts-study.toml"),
        "DATA-DICTIONARY.md": dictionary("counts-dictionary.md"),
        "plot counts.xlsx": count_sheet(plots, METHODS, rng),
        "rain.csv": gauge_file(_GAUGE, rng),
        "truth.json": json_bytes(_truth(plots)),
    }


def count_sheet(plots: Plots, methods: Mapping[str, float], rng: np.random.Generator) -> bytes:
    """Return the workbook of counts where the preparations have these log hazard ratios."""
    return _workbook(plots, _count(plots, methods, rng), rng)


def draw_plots(rng: np.random.Generator) -> Plots:
    """Lay out the 60 plots and draw what differs between them."""
    site, ground, method, label, dates = [], [], [], [], []
    fixed = []
    for name, kind, year, shares in _SITES:
        effect = rng.normal(0.0, SITE_SD)
        first_day = dt.date(year, 6, 20) + dt.timedelta(days=int(rng.integers(0, 45)))
        chosen = [each for each, plots in shares.items() for _ in range(plots)]
        for number, each in enumerate(chosen, start=1):
            site.append(name)
            ground.append(kind)
            method.append(each)
            label.append(str(number))
            dates.append(first_day + dt.timedelta(days=int(rng.integers(0, 3))))
            fixed.append(effect + GROUND[kind])
    middle = np.array([RADIUS_M[each] for each in method])
    radius = np.round(middle + rng.uniform(-RADIUS_EITHER_WAY_M, RADIUS_EITHER_WAY_M, len(method)), 2)
    planted = rng.integers(6, 13, len(method)) * 5
    log_hazard = np.array(fixed) + RADIUS_LOG_HAZARD * (radius - RADIUS_REFERENCE_M)
    return Plots(site, ground, method, label, planted, dates, radius, log_hazard)


def cumulative_hazard(planted: dt.date, day: float) -> float:
    """Hazard that a plant of the usual practice has met by a day after planting, friable ground."""
    knots = hazard_knots(season_cuts(planted, DRY_SEASON, 1500.0), HAZARDS[planted.year])
    return float(np.interp(day, *knots))


def _count(plots: Plots, methods: Mapping[str, float], rng: np.random.Generator) -> list[list[int | None]]:
    """Alive at each visit, a row a plot; None where the plot was not visited."""
    rows: list[list[int | None]] = []
    for index, planted in enumerate(plots.planted_date):
        method = methods[plots.method[index]]
        ratio = float(np.exp(plots.log_hazard[index] + method + rng.normal(0.0, PLOT_SD)))
        alive, last = int(plots.planted[index]), 0.0
        row: list[int | None] = []
        for date in VISITS.values():
            day = (date - planted).days
            if day <= 0:
                row.append(None)
                continue
            lived = np.exp(-(cumulative_hazard(planted, day) - last) * ratio)
            alive, last = int(rng.binomial(alive, lived)), cumulative_hazard(planted, day)
            row.append(None if rng.random() < 0.06 else alive)
        rows.append(row)
    _one_rise(rows)
    return rows


def _one_rise(rows: list[list[int | None]]) -> None:
    """Miscount three too few in one plot at one visit, so that the next count rises."""
    for row in rows[8:]:
        early, late = row[1], row[2]
        if early is not None and late is not None and early == late and early > 12:
            row[1] = early - 3
            return


def _truth(plots: Plots) -> dict[str, object]:
    methods = []
    for day in (280.0, 365.0):
        base = np.array([cumulative_hazard(planted, day) for planted in plots.planted_date])
        weights = plots.planted.astype(float)
        over_all = {
            name: 100 * average_survival(base, plots.log_hazard + effect, weights, PLOT_SD)
            for name, effect in METHODS.items()
        }
        for name, effect in METHODS.items():
            own = np.array([each == name for each in plots.method])
            as_chosen = 100 * average_survival(
                base[own], plots.log_hazard[own] + effect, weights[own], PLOT_SD
            )
            methods.append(
                {
                    "method": name,
                    "at_day": day,
                    "log_hazard_ratio": effect,
                    "survival": round(over_all[name], 4),
                    "difference": round(over_all[name] - over_all[_HAND], 4),
                    "survival_where_chosen": round(as_chosen, 4),
                }
            )
    return {
        "what": INVENTED,
        "unit": PER_100,
        "basis": (
            "survival: were the method used in all 60 plots, with the ground, site, planting date and "
            "radius of each, weighted by seedlings planted and averaged over plot effects by "
            "Gauss-Hermite quadrature; survival_where_chosen: the same over the method's own plots, "
            "which is what a plain average tells; "
            "log_hazard_ratio is conditional on plot and site"
        ),
        "methods": methods,
        "ground_log_hazard_ratio": GROUND,
        "radius_log_hazard_per_metre": RADIUS_LOG_HAZARD,
        "baseline_deaths_per_seedling_per_day": {
            str(year): list(hazards) for year, hazards in HAZARDS.items()
        },
        "sd_log_hazard": {"plot": PLOT_SD, "site": SITE_SD},
    }


def _workbook(plots: Plots, alive: list[list[int | None]], rng: np.random.Generator) -> bytes:
    rows: list[list[Cell]] = []
    spelt = {name: 0 for name in METHODS}
    for index, counts in enumerate(alive):
        method = plots.method[index]
        spelling = SPELLINGS[method][spelt[method] % 3]
        spelt[method] += 1
        rows.append(
            [
                plots.site[index],
                plots.label[index],
                plots.ground[index],
                f"household {_site_number(plots.site[index])}",
                _as_people_write(plots.planted_date[index], rng.random()),
                spelling,
                int(plots.planted[index]),
                float(plots.radius_m[index]),
                *counts,
                _note(counts, rng.random()),
            ]
        )
    sums: list[Cell] = [sum(row[visit] or 0 for row in alive) for visit in range(len(VISITS))]
    total: list[Cell] = ["Total", None, None, None, None, None, int(plots.planted.sum()), None, *sums]
    return workbook_bytes(tuple(VISITS), rows, total)


def _site_number(site: str) -> int:
    return [name for name, *_ in _SITES].index(site) + 1


def _as_people_write(date: dt.date, luck: float) -> Cell:
    if luck < 0.6:
        return date
    return f"{date.day}/{date.month}/{date.year}" if luck < 0.85 else date.isoformat()


def _note(counts: list[int | None], luck: float) -> str | None:
    if luck < 0.08:
        return "hares about"
    if luck < 0.14:
        return "grass thick, count took two people"
    if luck < 0.18 and counts[-1] is None:
        return "gate locked in July"
    return None
