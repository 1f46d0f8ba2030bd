"""Tagged seasons in which the fate of every seedling is given, for whole analyses."""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Callable
from pathlib import Path

PLANTED = dt.date(2021, 6, 1)
STUDY = """
headline = "12 months"

[study]
name = "A season of given fates"
as_of = "2024-12-31"

[records]
kind = "tagged"

[[records.sheets]]
file = "visits.csv"

[rules]
tagged = "at planting"
{rules}

[design]
usual_practice = "usual"
allocation = "{allocation}"
plots_placed = "random"

[dry_season]
start = "12-01"
end = "03-31"

[[milestones]]
name = "12 months"
day = 365
window_days = 30

{more}
"""
COSTS = """
[costs]
currency = "dollars"
year = 2021
source = "invented"

[[methods]]
name = "usual"
cost = {{ per_plant = 3.0 }}

[[methods]]
name = "other"
cost = {{ per_plant = 4.0 }}

[[methods]]
name = "third"
cost = {{ per_plant = 5.0 }}
""".replace("{{", "{").replace("}}", "}")

#: Visit (0, 1, ...) at which a seedling is no longer alive, and the word for its state from then on.
Fate = Callable[[int, str, int, int], tuple[int, str]]


def write_fates(
    folder: Path,
    fate: Fate,
    *,
    methods: tuple[str, ...] = ("usual", "other", "third"),
    days: tuple[int, ...] = (100, 200, 300, 365),
    sites: int = 4,
    plots: int = 2,
    plants: int = 10,
    rules: str = "",
    more: str = "",
    allocation: str = "random within blocks",
) -> Path:
    """Write a season; ``fate(site, method, plot, number)`` tells of each seedling."""
    folder.mkdir(parents=True, exist_ok=True)
    study = STUDY.format(rules=rules, more=more, allocation=allocation)
    (folder / "study.toml").write_text(study, encoding="utf-8")
    with (folder / "visits.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["site", "plot", "tag", "method", "planted_date", "visit", "date", "state"])
        for site in range(sites):
            for method in methods:
                for plot in range(plots):
                    name = f"{method[0]}{plot}"
                    for number in range(plants):
                        last, word = fate(site, method, plot, number)
                        for visit, day in enumerate(days):
                            state = word if visit >= last else "alive"
                            date = PLANTED + dt.timedelta(days=day)
                            keys = [f"site {site}", name, f"{name}-{number}", method, PLANTED]
                            writer.writerow([*keys, visit + 1, date, state])
    return folder


def spread(number: int, dead: int, visits: int = 4) -> tuple[int, str]:
    """Give the fate of a seedling where so many of a plot die, over all visits in turn."""
    return (number % visits, "dead") if number < dead else (99, "dead")
