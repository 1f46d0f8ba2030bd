"""Study folders for tests: files written whole, and tagged seasons from what became of each plant."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

PLANTED = dt.date(2021, 6, 1)
HEADER = ("site", "block", "plot", "tag", "method", "cohort", "planted_date", "visit", "date", "state")
STUDY = """
{first}

[study]
name = "{name}"
as_of = "2024-12-31"

[records]
kind = "tagged"

[[records.sheets]]
file = "visits.csv"

[rules]
{rules}

[dry_season]
start = "12-01"
end = "03-31"

{more}
"""
AT_PLANTING = 'tagged = "at planting"'
DESIGN = """
[design]
usual_practice = "usual"
allocation = "{allocation}"
plots_placed = "random"
"""


@dataclass(frozen=True)
class Seedling:
    """A plant and its state at each visit of its plot (days after ``PLANTED``); None: no row."""

    site: str
    plot: str
    tag: str
    method: str
    days: Sequence[int]
    states: Sequence[str | None]
    cohort: str = "planting"
    planted: dt.date = PLANTED


def states_until(visit: int, visits: int, after: str = "dead") -> list[str]:
    """States of a seedling that is alive before this visit (0, 1, ...) and ``after`` from it on."""
    return ["alive" if number < visit else after for number in range(visits)]


def study_file(
    name: str = "A small season",
    *,
    first: str = "",
    rules: str = AT_PLANTING,
    allocation: str | None = "random within blocks",
    more: str = "",
) -> str:
    """Write a study file of one tagged sheet; ``allocation`` None: nothing is said of the design."""
    design = "" if allocation is None else DESIGN.format(allocation=allocation)
    return STUDY.format(name=name, first=first, rules=rules, more=design + more)


def write_files(folder: Path, files: Mapping[str, str | bytes]) -> Path:
    """Write files, by their names within the folder."""
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content.encode() if isinstance(content, str) else content)
    return folder


def write_season(folder: Path, study: str, seedlings: Iterable[Seedling]) -> Path:
    """Write a study file and its sheet of visits, ``visits.csv``."""
    sheet = io.StringIO()
    writer = csv.writer(sheet)
    writer.writerow(HEADER)
    for plant in seedlings:
        keys = [plant.site, "", plant.plot, plant.tag, plant.method, plant.cohort, plant.planted]
        for visit, (day, state) in enumerate(zip(plant.days, plant.states, strict=True), start=1):
            if state is not None:
                writer.writerow([*keys, visit, PLANTED + dt.timedelta(days=day), state])
    return write_files(folder, {"study.toml": study, "visits.csv": sheet.getvalue()})


def small_season(folder: Path) -> Path:
    """Write a season of two preparations at three sites, of which a report is made in seconds."""
    made = [
        Seedling(
            f"site {site}", f"{method}{plot}", f"{site}{method}{plot}{tag}", method, (60, 200, 365), states
        )
        for site in range(3)
        for method in ("usual", "other")
        for plot in range(2)
        for tag in range(8)
        for states in [states_until((tag + plot + (method == "usual")) % 4, 3)]
    ]
    return write_season(folder, study_file(allocation=None), made)
