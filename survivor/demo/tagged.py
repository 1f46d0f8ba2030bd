"""The ``tagged`` cohort: one season of a randomised comparison with tagged seedlings.

Everything is invented, the places too. The seedlings come from
:mod:`survivor.simulate`; this module watches them the way people do: visits on
different days at different sites, plots not reached, tags not found, plants gone,
plants that reshoot, infill.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np
import pandas as pd

from survivor.demo.files import INVENTED, csv_bytes, dictionary, json_bytes, text_file
from survivor.demo.watching import Habits, causes, heights, watch, weed_cover
from survivor.demo.weather import DRY_SEASON, GaugePlan, StationPlan, gauge_file, temperature_file
from survivor.simulate.cohort import Cohort, hazard_knots, season_cuts, true_dose, true_effects
from survivor.simulate.drawing import Drawn, draw_records

SEED = 20220615
DIARY_SEED = 20220616  # of its own: days of works have no part in the deaths

SITES = (
    "Tarn Hollow",
    "Quill Creek",
    "Vossel Flat",
    "Ombry Rise",
    "Dunnick Bend",
    "Pewmoor Gully",
    "Marlish Plain",
    "Thessel Ridge",
)


COHORT = Cohort(
    methods=(
        ("spot spray only", 0.0),
        ("hand scalp", 0.30),
        ("spray and mulch mat", -0.15),
        ("spray and auger", -0.30),
        ("spray and rip", -0.50),
        ("spray, rip and mound", -0.75),
    ),
    species=(
        ("blackwood", 0.0),
        ("river red gum", -0.25),
        ("drooping sheoak", 0.15),
        ("sweet bursaria", 0.35),
    ),
    sites=8,
    blocks=2,
    seedlings=20,
    planted=tuple(
        dt.date(2022, month, day)
        for month, day in ((6, 7), (6, 14), (6, 20), (6, 28), (8, 2), (8, 9), (8, 16), (8, 24))
    ),
    visit_days=(
        (38, 158, 309, 364, 676, 733),
        (41, 155, 305, 371, 668, 729),
        (35, 150, 297, 358, 661, 738),
        (43, 146, 290, 366, 657, 726),
        (36, 104, 256, 369, 621, 731),
        (40, 99, 251, 361, 613, 735),
        (44, 95, 242, 367, 606, 728),
        (37, 85, 236, 372, 598, 741),
    ),
    dry_season=DRY_SEASON,
    hazards=(0.00045, 0.0025, 0.00025, 0.0006, 0.0002),
    plot_sd=0.50,
    site_effects=(-0.50, -0.20, 0.30, 0.45, -0.35, 0.10, 0.40, -0.20),
    radius_m=((0.25, 0.75), (0.25, 0.60), (0.30, 0.60), (0.25, 0.75), (0.25, 0.75), (0.30, 0.75)),
    radius_log_hazard=-1.4,
    radius_reference_m=0.50,
    radius_plateau_m=0.60,
)

INFILL_SITES = ("Quill Creek", "Vossel Flat", "Dunnick Bend", "Thessel Ridge")
RECORDS_CLOSED = dt.date(2024, 9, 30)

PLOTS_HEADER = (
    "Site",
    "Block",
    "Plot",
    "Preparation",
    "Planted on",
    "Seedlings",
    "Weed-free radius (m)",
    "Texture",
    "Slope",
    "Landform",
    "Crew",
)
# Header of the visits sheet -> column of what was seen.
VISITS = {
    "Site": "site",
    "Block": "block",
    "Plot": "plot",
    "Tag": "tag",
    "Species": "species",
    "Cohort": "cohort",
    "Planted on": "planted_on",
    "Visit": "visit",
    "Date": "date",
    "State": "state",
    "Height (cm)": "height",
    "Likely cause": "cause",
    "Weed cover (%)": "weed_cover",
    "Observer": "observer",
    "Notes": "notes",
}

DIARY_HEADER = ("Site", "Preparation", "Work", "Date", "Pass", "Soil", "Depth (cm)", "Note")
# What each preparation got, the pass, and the first and last day before planting on which it was done.
_SPRAYED = (("spot spray", 1, 84, 70), ("spot spray", 2, 24, 14))
_WORKS: dict[str, tuple[tuple[str, int, int, int], ...]] = {
    "spot spray only": (*_SPRAYED, ("hand-dug hole", 0, 0, 0)),
    "hand scalp": (("scalp by hand", 0, 6, 2), ("hand-dug hole", 0, 0, 0)),
    "spray and mulch mat": (*_SPRAYED, ("hand-dug hole", 0, 0, 0), ("mulch mat", 0, 0, 0)),
    "spray and auger": (*_SPRAYED, ("auger hole", 0, 4, 1)),
    "spray and rip": (*_SPRAYED, ("rip line", 0, 68, 60)),
    "spray, rip and mound": (*_SPRAYED, ("rip line", 0, 68, 60), ("mound", 0, 56, 50)),
}

_GROUND = (
    ("loam", "gentle", "lower slope"),
    ("clay loam", "flat", "creek flat"),
    ("clay", "flat", "plain"),
    ("sandy loam", "moderate", "upper slope"),
    ("clay loam", "flat", "creek flat"),
    ("loam", "moderate", "gully side"),
    ("clay", "flat", "plain"),
    ("sandy loam", "moderate", "ridge"),
)
_GROWTH_CM = {"blackwood": 34.0, "river red gum": 46.0, "drooping sheoak": 38.0, "sweet bursaria": 22.0}

_GAUGES = {
    "rain_north.csv": GaugePlan(
        first=dt.date(1993, 1, 1),
        last=RECORDS_CLOSED,
        wetness=1.0,
        dry_spell=(dt.date(2022, 12, 1), dt.date(2023, 4, 10)),
        dry_factor=0.60,
        not_read=((dt.date(2009, 4, 1), dt.date(2009, 4, 30)), (dt.date(2016, 11, 7), dt.date(2016, 11, 20))),
        blank=((dt.date(2023, 1, 12), dt.date(2023, 1, 15)), (dt.date(1999, 8, 3), dt.date(1999, 8, 9))),
        accumulated=(dt.date(2023, 2, 20), dt.date(2022, 10, 3), dt.date(2011, 6, 13), dt.date(2003, 5, 26)),
        provisional_from=dt.date(2024, 8, 1),
    ),
    "rain_south.csv": GaugePlan(
        first=dt.date(2014, 7, 1),
        last=RECORDS_CLOSED,
        wetness=1.2,
        dry_spell=(dt.date(2022, 12, 1), dt.date(2023, 4, 10)),
        dry_factor=0.75,
        not_read=((dt.date(2018, 2, 10), dt.date(2018, 3, 2)),),
        blank=((dt.date(2023, 3, 4), dt.date(2023, 3, 5)),),
        accumulated=(dt.date(2023, 1, 30), dt.date(2022, 9, 12)),
        sentinel=(dt.date(2019, 5, 6), dt.date(2019, 5, 7)),
        provisional_from=dt.date(2024, 8, 1),
    ),
}

_STATION = StationPlan(
    first=dt.date(2022, 1, 1),
    last=RECORDS_CLOSED,
    not_read=((dt.date(2022, 4, 11), dt.date(2022, 4, 13)), (dt.date(2024, 3, 9), dt.date(2024, 3, 10))),
    blank=(dt.date(2022, 12, 8), dt.date(2023, 7, 19)),
    swapped=(dt.date(2024, 1, 27),),
)


def tagged_files() -> dict[str, bytes]:
    """Every file of the cohort, by name."""
    rng = np.random.default_rng(SEED)
    files = {
        "study.toml": text_file("tagged-study.toml"),
        "DATA-DICTIONARY.md": dictionary("tagged-dictionary.md"),
        **field_sheets(COHORT, rng),
        "diary.csv": csv_bytes(DIARY_HEADER, _diary(np.random.default_rng(DIARY_SEED))),
        "truth.json": json_bytes(_truth()),
    }
    for name, plan in _GAUGES.items():
        files[name] = gauge_file(plan, rng)
    files["temperature_north.csv"] = temperature_file(_STATION, files["rain_north.csv"], rng)
    return files


def field_sheets(cohort: Cohort, rng: np.random.Generator) -> dict[str, bytes]:
    """Return the sheets of plots and of visits of a cohort with the sites, blocks and visits of this one."""
    drawn = draw_records(cohort, rng)
    labels = allotted(drawn.plots, SITES, rng)
    visits = _watch(cohort, drawn, labels, rng)
    return {
        "plots.csv": csv_bytes(PLOTS_HEADER, _plot_rows(drawn.plots, labels)),
        "visits.csv": csv_bytes(tuple(VISITS), visits),
    }


def _truth() -> dict[str, object]:
    days = (280.0, 365.0, 730.0)
    truth = true_effects(COHORT, days)
    radii = (0.25, 0.35, 0.45, 0.55, 0.65, 0.75)
    return {
        "what": INVENTED,
        "unit": truth.unit,
        "basis": truth.basis,
        "methods": truth.table.round(4).to_dict("records"),
        "dose": true_dose(COHORT, radii, 365.0).round(4).to_dict("records"),
        "species_log_hazard_ratio": dict(COHORT.species),
        "radius": {
            "log_hazard_per_metre": COHORT.radius_log_hazard,
            "no_further_effect_beyond_m": COHORT.radius_plateau_m,
        },
        "baseline_deaths_per_seedling_per_day": dict(
            zip(
                ("before first dry season", "first dry season", "between", "second dry season", "after"),
                COHORT.hazards,
                strict=True,
            )
        ),
        "sd_log_hazard": {"plot": COHORT.plot_sd},
        "site_log_hazard": dict(zip(SITES, COHORT.site_effects or (), strict=True)),
    }


def _diary(rng: np.random.Generator) -> list[tuple[object, ...]]:
    """Rows of the works diary in the order of days, each of all plots of some preparation at a site.

    A work was done on one day at a site, whichever preparations it was part of.
    """
    rows: list[tuple[dt.date, tuple[object, ...]]] = []
    for site, planted in zip(SITES, COHORT.planted, strict=True):
        days: dict[tuple[str, int], dt.date] = {}
        for method, works in _WORKS.items():
            for work, number, first, last in works:
                key = (work, number)
                if key not in days:
                    days[key] = planted - dt.timedelta(days=int(rng.integers(last, first + 1)))
                ripped = work == "rip line"
                soil, depth = ("dry" if planted.month < 8 else "moist", 40) if ripped else ("", "")
                row = (site, method, work, f"{days[key]:%d/%m/%Y}", number or "", soil, depth, "")
                rows.append((days[key], row))
    return [row for _, row in sorted(rows, key=lambda pair: pair[0])]


def allotted(plots: pd.DataFrame, sites: Sequence[str], rng: np.random.Generator) -> pd.DataFrame:
    """Allot plot numbers at random within each block, and name the sites.

    Returns
    -------
    DataFrame
        ``site, block, plot, number`` (place of the site), a row a plot.
    """
    labels = plots[["site", "block"]].assign(plot="")
    for _, rows in plots.groupby(["site", "block"], sort=True).groups.items():
        labels.loc[rows, "plot"] = [f"P{number + 1}" for number in rng.permutation(len(rows))]
    labels["number"] = labels["site"].str.removeprefix("site ").astype(int) - 1
    labels["site"] = [sites[number] for number in labels["number"]]
    return labels


def _plot_rows(plots: pd.DataFrame, labels: pd.DataFrame) -> list[tuple[object, ...]]:
    sheet = labels.assign(
        method=plots["method"],
        planted_on=plots["planted_date"].dt.strftime("%Y-%m-%d"),
        planted=plots["planted"],
        radius=[f"{radius:.2f}" for radius in plots["weed_free_radius_m"]],
    )
    for position, name in enumerate(("texture", "slope", "landform")):
        sheet[name] = [_GROUND[number][position] for number in sheet["number"]]
    crew = (sheet["number"] + (sheet["block"] == "B2")) % 2
    sheet["crew"] = np.where(crew == 0, "crew A", "crew B")
    sheet = sheet.sort_values(["number", "block", "plot"], kind="stable").drop(columns="number")
    return list(sheet.itertuples(index=False, name=None))


def _watch(
    cohort: Cohort, drawn: Drawn, labels: pd.DataFrame, rng: np.random.Generator
) -> list[tuple[object, ...]]:
    """Rows of the visits sheet, first planting and infill, in the order of the field days."""
    plot_of = np.repeat(np.arange(len(labels)), cohort.seedlings)
    plants = drawn.seedlings[["species", "method", "death_day", "planted_date"]].copy()
    plants["plot_index"] = plot_of
    plants["tag"] = [f"{number + 1:04d}" for number in range(len(plants))]
    plants["radius"] = drawn.plots["weed_free_radius_m"].to_numpy()[plot_of]
    plants["cohort"] = "planting"
    first = _sheet(plants, labels, tuple(range(1, 7)), rng)
    infill = _infill(cohort, plants, first, labels, rng)
    second = _sheet(infill, labels, (5, 6), rng)
    both = pd.concat([first, second], ignore_index=True)
    both = both[both["listed"]]
    _slips_of_the_pen(both, rng)
    both = both.sort_values(["visit", "number", "block", "plot", "tag"], kind="stable")
    return list(both[list(VISITS.values())].itertuples(index=False, name=None))


def _sheet(
    plants: pd.DataFrame, labels: pd.DataFrame, visits: tuple[int, ...], rng: np.random.Generator
) -> pd.DataFrame:
    """Rows of all plants at the numbered visits, with the day's date and what was seen."""
    plot = plants["plot_index"].to_numpy()
    number = labels["number"].to_numpy()[plot]
    second_day = (labels["block"].to_numpy()[plot] == "B2").astype(int)  # a site takes two days
    site_planted = np.array(COHORT.planted, dtype="datetime64[D]")[number]
    on_site = np.array(COHORT.visit_days)[number][:, [visit - 1 for visit in visits]] + second_day[:, None]
    dates = site_planted[:, None] + on_site.astype("timedelta64[D]")
    own_planted = plants["planted_date"].to_numpy().astype("datetime64[D]")
    age = (dates - own_planted[:, None]).astype(np.int64)
    seen = watch(plants["death_day"].to_numpy(), age, plot, Habits(), rng)
    month = dates.astype("datetime64[M]").astype(np.int64) % 12 + 1
    yearly = np.array([_GROWTH_CM[name] for name in plants["species"]])
    columns = {
        "state": seen.words,
        "height": heights(seen.words, age, yearly, rng),
        "cause": causes(seen.words, month, rng),
        "weed_cover": weed_cover(seen.words, age, plants["radius"].to_numpy(), rng),
        "listed": seen.listed,
        "date": np.array([[f"{day.astype(object):%d/%m/%Y}" for day in row] for row in dates]),
        "notes": np.where(seen.plot_missed, "track under water, plot not reached", ""),
    }
    each = np.repeat(np.arange(len(plants)), len(visits))
    sheet = labels.iloc[plot[each]].reset_index(drop=True)
    for name in ("tag", "species", "cohort"):
        sheet[name] = plants[name].to_numpy()[each]
    sheet["planted_on"] = [f"{day.astype(object):%d/%m/%Y}" for day in own_planted[each]]
    sheet["visit"] = np.tile(visits, len(plants))
    for name, values in columns.items():
        sheet[name] = values.ravel()
    observers = np.array(("observer 1", "observer 2", "observer 3"))
    sheet["observer"] = observers[(sheet["number"].to_numpy() + sheet["visit"].to_numpy()) % 3]
    return sheet


def _infill(
    cohort: Cohort,
    plants: pd.DataFrame,
    first: pd.DataFrame,
    labels: pd.DataFrame,
    rng: np.random.Generator,
) -> pd.DataFrame:
    """Plant again where dead ones were seen at the fourth visit: own tag, own planting date, own clock."""
    fourth = first[first["visit"] == 4].reset_index(drop=True)
    dead = fourth["state"].isin(["D", "M"]) & fourth["site"].isin(INFILL_SITES)
    chosen = plants[(dead & (rng.random(len(fourth)) < 0.5)).to_numpy()].copy()
    number = labels["number"].to_numpy()[chosen["plot_index"].to_numpy()]
    days_after = np.array([COHORT.visit_days[site][3] for site in number]) + 12
    planted = np.array(COHORT.planted, dtype="datetime64[D]")[number] + days_after.astype("timedelta64[D]")
    ratio = (
        chosen["method"].map(dict(cohort.methods)).to_numpy()
        + chosen["species"].map(dict(cohort.species)).to_numpy()
    )
    limits = rng.exponential(size=len(chosen)) / np.exp(ratio)
    chosen["death_day"] = [
        _death_day(cohort, limit, day.astype(object)) for limit, day in zip(limits, planted, strict=True)
    ]
    chosen["planted_date"] = planted.astype("datetime64[ns]")
    chosen["tag"] = [f"{len(plants) + 1 + order:04d}" for order in range(len(chosen))]
    chosen["cohort"] = "infill"
    return chosen


def _death_day(cohort: Cohort, limit: float, planted: dt.date) -> float:
    days, cumulative = hazard_knots(season_cuts(planted, DRY_SEASON, 800.0), cohort.hazards)
    return float(np.interp(limit, cumulative, days, right=np.inf))


def _slips_of_the_pen(sheet: pd.DataFrame, rng: np.random.Generator) -> None:
    """Write some words as people write them; the study file maps every one of them."""
    luck = rng.random(len(sheet))
    state, species = (sheet[name].to_numpy(dtype=object, copy=True) for name in ("state", "species"))
    state[(state == "A") & (luck < 0.01)] = "a"
    state[(state == "A") & (luck > 0.99)] = "alive"
    state[(state == "D") & (luck < 0.03)] = "x"
    species[(species == "drooping sheoak") & (luck < 0.02)] = "sheoak"
    species[(species == "river red gum") & (luck > 0.985)] = "River Red Gum"
    sheet["state"], sheet["species"] = state, species
