"""Small tagged seasons written to a folder, for whole analyses."""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Callable
from pathlib import Path

from survivor.analysis import Analysis
from survivor.study import load

PLANTED = dt.date(2021, 6, 1)
STUDY = """
{headline}

[study]
name = "A small season"
as_of = "2024-12-31"

[records]
kind = "tagged"

[[records.sheets]]
file = "visits.csv"

[rules]
{rules}

[design]
usual_practice = "usual"
allocation = "random within blocks"
plots_placed = "random"

[dry_season]
start = "12-01"
end = "03-31"
"""
AT_PLANTING = 'tagged = "at planting"'
HEADER = ["site", "block", "plot", "tag", "method", "cohort", "planted_date", "visit", "date", "state"]

#: Days of the visits to a plot, by site and plot number.
Days = Callable[[int, int], tuple[int, ...]]


def dying(method: str, plot: int) -> tuple[int, int]:
    """Deaths found at the first and at the last visit, of ten."""
    return (1, 3 + plot) if method == "usual" else (1, 1 + plot % 2)


def write(
    folder: Path,
    days: Days,
    *,
    rules: str = AT_PLANTING,
    headline: str = "",
    more: str = "",
    deaths: Callable[[str, int], tuple[int, int]] = dying,
    infill: int = 0,
    sites: int = 4,
    unseen: Callable[[int], bool] = lambda number: False,
) -> Path:
    """Write a season of two methods, two plots of each at a site, ten seedlings a plot.

    ``deaths(method, plot)`` of the ten are found dead at the first and at the last visit, and
    ``infill`` plants are put into every plot at its first visit and live. Seedlings
    ``unseen`` have no row before the second visit.
    """
    folder.mkdir(parents=True, exist_ok=True)
    study = STUDY.format(headline=headline, rules=rules) + more
    (folder / "study.toml").write_text(study, encoding="utf-8")
    with (folder / "visits.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(HEADER)
        for site in range(sites):
            for method in ("usual", "other"):
                for plot in range(2):
                    name, visits = f"{method[0]}{plot}", days(site, plot)
                    early, late = deaths(method, plot)
                    dates = [PLANTED + dt.timedelta(days=day) for day in visits]
                    for number in range(10):
                        died = 0 if number < early else len(visits) - 1 if number < early + late else 99
                        for visit, date in enumerate(dates):
                            if visit == 0 and unseen(number):
                                continue
                            state = "dead" if visit >= died else "alive"
                            keys = [f"site {site}", "", name, f"{name}-{number}", method, "planting"]
                            writer.writerow([*keys, PLANTED, visit + 1, date, state])
                    for number in range(infill):
                        for visit, date in enumerate(dates[1:], start=2):
                            keys = [f"site {site}", "", name, f"{name}-i{number}", method, "infill"]
                            writer.writerow([*keys, dates[0], visit, date, "alive"])
    return folder


def analysed(folder: Path) -> Analysis:
    """Load a season and analyse it."""
    return load(folder).analyse()
