"""Studies of any size to time a report on: plot counts as in ``counts``, tagged seedlings as in ``tagged``.

``python -m tests.benchmarks.large_studies DIRECTORY counts 1000`` writes a study of 1,000 plots;
``... tagged 100000`` one of 100,000 tagged seedlings. Sites grow with the plots, as programmes do;
preparations, ground, hazards, weather and costs are those of the demo cohorts. All is invented.
"""

from __future__ import annotations

import csv
import datetime as dt
import re
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

from survivor.demo import counts as counted
from survivor.demo import tagged
from survivor.demo.files import text_file
from survivor.demo.watching import Habits, watch
from survivor.demo.weather import gauge_file
from survivor.simulate.cohort import hazard_knots, season_cuts
from survivor.simulate.drawing import draw_records

SEED = 20260101
_COLUMNS = {
    "site": "Site", "plot": "Plot", "ground": "Ground", "planted_date": "Planted on",
    "method": "Preparation", "planted": "Planted", "weed_free_radius_m": "Radius (m)", "visit": "Visit",
    "date": "Date", "alive": "Alive",
}  # fmt: skip


def write_counts(folder: Path, plots: int) -> Path:
    """Write a study of so many counted plots, a row a plot and visit."""
    rng = np.random.default_rng(SEED)
    rows = [list(_COLUMNS.values())]
    made, number = 0, 0
    while made < plots:
        _, ground, year, shares = counted._SITES[number % len(counted._SITES)]
        number += 1
        effect = rng.normal(0.0, counted.SITE_SD) + counted.GROUND[ground]
        first = dt.date(year, 6, 20) + dt.timedelta(days=int(rng.integers(0, 45)))
        knots = hazard_knots(season_cuts(first, counted.DRY_SEASON, 1500.0), counted.HAZARDS[year])
        methods = [method for method, count in shares.items() for _ in range(count)]
        for plot, method in enumerate(methods[: plots - made], start=1):
            planted = 5 * int(rng.integers(6, 13))
            radius = round(float(0.5 + rng.uniform(-0.2, 0.2)), 2)
            slope = counted.RADIUS_LOG_HAZARD * (radius - counted.RADIUS_REFERENCE_M)
            ratio = np.exp(effect + slope + counted.METHODS[method] + rng.normal(0.0, counted.PLOT_SD))
            alive, last = planted, 0.0
            for order, seen in enumerate(counted.VISITS.values(), start=1):
                day = seen.replace(year=seen.year + year - 2021)  # six visits whatever the planting year
                reached = float(np.interp((day - first).days, *knots))
                alive, last = int(rng.binomial(alive, np.exp((last - reached) * ratio))), reached
                own = f"Site {number:05d}", str(plot), ground, first.isoformat(), method, planted, radius
                rows.append([*own, order, day.isoformat(), alive if rng.random() >= 0.06 else ""])
        made += len(methods)
    text = text_file("counts-study.toml").decode()
    head, records = text.split("[records]", 1)
    rest = records[records.index("[rules]") :]
    sheet = "\n".join(f'{word} = "{header}"' for word, header in _COLUMNS.items())
    here = (
        '[records]\nkind = "counts"\nshape = "long"\n\n[[records.sheets]]\nfile = "counts.csv"\n\n'
        f"[records.sheets.columns]\n{sheet}\n\n"
    )
    rest = re.sub(r"\[\[corrections\]\].*", "", rest, flags=re.DOTALL)
    head = head.replace('as_of = "2023-08-31"', 'as_of = "2024-08-31"')
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "study.toml").write_text(head + here + rest)
    (folder / "rain.csv").write_bytes(gauge_file(replace(counted._GAUGE, last=dt.date(2024, 8, 31)), rng))
    with (folder / "counts.csv").open("w", newline="") as sheet_file:
        csv.writer(sheet_file, lineterminator="\n").writerows(rows)
    return folder


def write_tagged(folder: Path, seedlings: int) -> Path:
    """Write a study of so many tagged seedlings, a row a seedling and visit."""
    rng = np.random.default_rng(SEED)
    demo = tagged.COHORT
    sites = -(-seedlings // (len(demo.methods) * demo.blocks * demo.seedlings))
    cohort = replace(demo, sites=sites, site_effects=None, site_sd=0.35)
    drawn = draw_records(cohort, rng)
    plants, plots = drawn.seedlings, drawn.plots
    plot = np.repeat(np.arange(len(plots)), cohort.seedlings)
    site = plots["site"].to_numpy()[plot]
    number = np.array([int(name.removeprefix("site ")) - 1 for name in site])
    days = np.array(cohort.visit_days)[number % len(cohort.visit_days)]
    seen = watch(plants["death_day"].to_numpy(), days, plot, Habits(), rng)
    planted = plants["planted_date"].to_numpy().astype("datetime64[D]")
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "plots.csv").open("w", newline="") as sheet:
        out = csv.writer(sheet, lineterminator="\n")
        out.writerow(
            ("Site", "Block", "Plot", "Preparation", "Planted on", "Seedlings", "Weed-free radius (m)")
        )
        for row in plots.itertuples():
            day, radius = f"{row.planted_date:%Y-%m-%d}", f"{row.weed_free_radius_m:.2f}"
            out.writerow((row.site, row.block, row.plot, row.method, day, cohort.seedlings, radius))
    place = plots[["site", "block", "plot"]].to_numpy()[plot]
    species = plants["species"].to_numpy()
    with (folder / "visits.csv").open("w", newline="") as sheet:
        out = csv.writer(sheet, lineterminator="\n")
        out.writerow(("Site", "Block", "Plot", "Tag", "Species", "Visit", "Date", "State"))
        for visit in range(days.shape[1]):
            dates = np.datetime_as_string(planted + days[:, visit])
            for line in np.flatnonzero(seen.listed[:, visit]):
                state = seen.words[line, visit]
                out.writerow((*place[line], f"{line + 1:06d}", species[line], visit + 1, dates[line], state))
    for name, plan in tagged._GAUGES.items():
        (folder / name).write_bytes(gauge_file(plan, rng))
    (folder / "study.toml").write_text(tagged_file(sorted(set(site))))
    return folder


def tagged_file(sites: list[str]) -> str:
    """Give the demo's study file without what names its own sites, weather and columns not made here."""
    text = text_file("tagged-study.toml").decode()
    for table in ("weather", "photo_points", "corrections", "planted"):
        text = re.sub(rf"\[\[{table}\]\].*?(?=^\[|\Z)", "", text, flags=re.DOTALL | re.MULTILINE)
    for table in ("weather.columns", "soil", "heights", "works.diary", "works.diary.columns"):
        text = re.sub(rf"\[{re.escape(table)}\].*?(?=^\[|\Z)", "", text, flags=re.DOTALL | re.MULTILINE)
    for word in (
        "texture",
        "slope",
        "landform",
        "crew",
        "cohort",
        "height_cm",
        "cause",
        "weed_cover",
        "observer",
        "notes",
    ):
        text = re.sub(rf"^{word} = .*\n", "", text, flags=re.MULTILINE)
    text = text.replace(
        'planted_date = "Planted on"\nvisit = "Visit"', 'visit = "Visit"'
    )  # the plots say when
    halves = iter((sites[::2], sites[1::2]))
    return re.sub(r"^sites = \[.*\]$", lambda _: f"sites = {next(halves)!r}", text, flags=re.MULTILINE)


if __name__ == "__main__":
    write = {"counts": write_counts, "tagged": write_tagged}[sys.argv[2]]
    print(write(Path(sys.argv[1]), int(sys.argv[3])))
