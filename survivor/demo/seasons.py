"""The ``seasons`` cohort: three seasons of one programme of trials, and a guideline made from them.

Everything is invented, the places too. A wet season, a dry one and an average one, each at
new sites on two kinds of ground on which preparations do different things: auger holes pay
on the clay flats and do nothing on the loam slopes, mulch mats the other way round.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from survivor.demo.files import INVENTED, csv_bytes, filled, json_bytes, text_file
from survivor.demo.tagged import allotted
from survivor.demo.watching import Habits, watch
from survivor.demo.weather import DRY_SEASON, GaugePlan, gauge_file
from survivor.simulate.cohort import Cohort, true_effects
from survivor.simulate.drawing import draw_records

# Picked among twenty: in it a preparation that does nothing looked clearly worse in one season alone,
# which is what a guideline must not follow.
SEED: Final = 18
RAIN_FILE: Final = "rain.csv"
USUAL: Final = "spot spray only"
GROUNDS: Final = ("clay flats", "loam slopes")

#: Log hazard ratios against the usual practice, by kind of ground.
EFFECTS: Final = {
    "clay flats": {
        USUAL: 0.0,
        "hand scalp": 0.10,
        "spray and mulch mat": 0.0,
        "spray and rip": -0.45,
        "spray and auger": -1.0,
    },
    "loam slopes": {
        USUAL: 0.0,
        "hand scalp": 0.60,
        "spray and mulch mat": -0.75,
        "spray and rip": -0.10,
        "spray and auger": 0.0,
    },
}
_SPECIES = (("blackwood", 0.0), ("river red gum", -0.2), ("sweet bursaria", 0.3))
_TEXTURES = {
    "clay flats": ("clay", "clay", "clay loam", "clay"),
    "loam slopes": ("loam", "sandy loam", "loam", "loam"),
}
_SLOPES = {
    "clay flats": ("flat", "flat", "flat", "flat"),
    "loam slopes": ("moderate", "gentle", "moderate", "gentle"),
}


@dataclass(frozen=True)
class _Season:
    year: int
    kind: str
    hazards: tuple[float, ...]
    sites: dict[str, tuple[str, ...]]


SEASONS: Final = (
    _Season(
        2021,
        "wet",
        (0.0004, 0.0024, 0.0003, 0.0005),
        {
            "clay flats": ("Aldermoss", "Brindle Flat", "Corran Plain", "Dunmere"),
            "loam slopes": ("Dapple Rise", "Evenlow Hill", "Fernay Slope", "Garth Knoll"),
        },
    ),
    _Season(
        2022,
        "dry",
        (0.0006, 0.0056, 0.0003, 0.0006),
        {
            "clay flats": ("Gorsey Level", "Hollin Reach", "Islemere", "Kelder Flat"),
            "loam slopes": ("Jessop Ridge", "Kestle Down", "Larkrise", "Mossop Hill"),
        },
    ),
    _Season(
        2023,
        "average",
        (0.0005, 0.0038, 0.0003, 0.0005),
        {
            "clay flats": ("Merrow Flat", "Nethercote", "Oxlip Plain", "Sallow Level"),
            "loam slopes": ("Pellow Bank", "Quarrel Top", "Rushey Brow", "Tolland Rise"),
        },
    ),
)
_VISIT_DAYS = ((44, 301, 367), (39, 296, 362), (48, 305, 371), (41, 298, 369))
_GAUGE = GaugePlan(
    first=dt.date(1994, 1, 1),
    last=dt.date(2024, 9, 30),
    wetness=1.0,
    dry_spell=(dt.date(2022, 12, 1), dt.date(2023, 3, 31)),
    dry_factor=0.5,
    provisional_from=dt.date(2024, 8, 1),
)
_WET = (dt.date(2021, 12, 1), dt.date(2022, 3, 31))
_WETTER = 1.9

# Header of the plot sheet -> column of what was drawn.
_PLOTS = {
    "Site": "site",
    "Block": "block",
    "Plot": "plot",
    "Preparation": "method",
    "Planted on": "planted_on",
    "Seedlings": "planted",
    "Weed-free radius (m)": "radius",
    "Texture": "texture",
    "Slope": "slope",
}
_VISITS = ("Site", "Block", "Plot", "Tag", "Species", "Date", "State")


def seasons_files() -> dict[str, bytes]:
    """Every file of the cohort, by its path within the folder."""
    rng = np.random.default_rng(SEED)
    files = {RAIN_FILE: _gauge(rng)}
    for season in SEASONS:
        plots, visits = _drawn(season, rng)
        folder = f"season-{season.year}"
        files[f"{folder}/study.toml"] = _study(season)
        files[f"{folder}/plots.csv"] = csv_bytes(tuple(_PLOTS), plots)
        files[f"{folder}/visits.csv"] = csv_bytes(_VISITS, visits)
    files["DATA-DICTIONARY.md"] = text_file("seasons-dictionary.md")
    files["guideline.toml"] = text_file("seasons-guideline.toml")
    files["truth.json"] = json_bytes(_truth())
    return files


def cohort_of(season: _Season, ground: str) -> Cohort:
    """Parameters of one kind of ground in one season."""
    start = dt.date(season.year, 6, 10)
    return Cohort(
        methods=tuple(EFFECTS[ground].items()),
        species=_SPECIES,
        sites=4,
        blocks=2,
        seedlings=18,
        planted=tuple(start + dt.timedelta(days=days) for days in (0, 9, 17, 24)),
        visit_days=_VISIT_DAYS,
        dry_season=DRY_SEASON,
        hazards=season.hazards,
        plot_sd=0.25,
        site_sd=0.30,
        method_by_site_sd=0.10,
        radius_m=((0.30, 0.80),),
        radius_log_hazard=-1.2,
        radius_plateau_m=0.65,
    )


def _drawn(
    season: _Season, rng: np.random.Generator
) -> tuple[list[tuple[object, ...]], list[tuple[object, ...]]]:
    plots: list[tuple[object, ...]] = []
    visits: list[tuple[object, ...]] = []
    first_tag = 1
    for ground in GROUNDS:
        cohort = cohort_of(season, ground)
        drawn = draw_records(cohort, rng)
        sheet = drawn.plots.assign(**allotted(drawn.plots, season.sites[ground], rng))
        rows = sheet.assign(
            planted_on=sheet["planted_date"].dt.strftime("%Y-%m-%d"),
            radius=sheet["weed_free_radius_m"].map("{:.2f}".format),
            texture=[_TEXTURES[ground][number] for number in sheet["number"]],
            slope=[_SLOPES[ground][number] for number in sheet["number"]],
        )
        plots += rows[list(_PLOTS.values())].itertuples(index=False, name=None)
        visits += _watched(cohort, sheet, drawn.seedlings, first_tag, rng)
        first_tag += len(drawn.seedlings)
    return plots, visits


def _watched(
    cohort: Cohort, sheet: pd.DataFrame, seedlings: pd.DataFrame, first_tag: int, rng: np.random.Generator
) -> list[tuple[object, ...]]:
    plot = np.repeat(np.arange(len(sheet)), cohort.seedlings)
    days = np.array(cohort.visit_days)[sheet["number"].to_numpy()][plot]
    habits = Habits(plot_missed=0.01, blank=0.004, not_found=0.008, reshoot=0.002)
    seen = watch(seedlings["death_day"].to_numpy(), days, plot, habits, rng)
    rows: list[tuple[object, ...]] = []
    for visit in range(days.shape[1]):
        for number in np.flatnonzero(seen.listed[:, visit]):
            own = sheet.iloc[plot[number]]
            date = own["planted_date"] + pd.Timedelta(days=int(days[number, visit]))
            tag = f"{first_tag + number:04d}"
            place = (own["site"], own["block"], own["plot"], tag)
            species = seedlings["species"].iloc[number]
            rows.append((*place, species, f"{date:%Y-%m-%d}", seen.words[number, visit]))
    return rows


def _gauge(rng: np.random.Generator) -> bytes:
    """One gauge for all seasons, its first dry season made a wet one."""
    rows = list(csv.reader(io.StringIO(gauge_file(_GAUGE, rng).decode("utf-8"))))
    for row in rows[1:]:
        if _WET[0] <= dt.date(int(row[0]), int(row[1]), int(row[2])) <= _WET[1]:
            row[3] = f"{round(_WETTER * float(row[3]) / 0.2) * 0.2:.1f}"
    return csv_bytes(rows[0], rows[1:])


def _study(season: _Season) -> bytes:
    year = str(season.year)
    places = {"year": year, "kind": season.kind, "seed": year, "closed": f"{season.year + 1}-09-30"}
    return filled("seasons-study.toml", places)


def _truth() -> dict[str, object]:
    """Tell the differences that each season and ground had, averaged over sites like them."""
    rows = []
    for season in SEASONS:
        for ground in GROUNDS:
            table = true_effects(cohort_of(season, ground), (365.0,)).table
            for row in table.round(4).to_dict("records"):
                rows.append({"season": season.year, "rain": season.kind, "ground": ground, **row})
    return {"what": INVENTED, "unit": "per 100 planted", "methods": rows, "log_hazard_ratios": EFFECTS}
