"""Tagged seasons in which the fate of every seedling is given, for whole analyses."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from tests.writing import AT_PLANTING, Seedling, states_until, study_file, write_season

MILESTONE = """
[[milestones]]
name = "12 months"
day = 365
window_days = 30
"""
COSTS = """
[costs]
currency = "dollars"
year = 2021
source = "invented"

[[methods]]
name = "usual"
cost = { per_plant = 3.0 }

[[methods]]
name = "other"
cost = { per_plant = 4.0 }

[[methods]]
name = "third"
cost = { per_plant = 5.0 }
"""

#: Visit (0, 1, ...) at which a seedling is no longer alive, and the word for its state from then on;
#: None: there is no such seedling.
Fate = Callable[[int, str, int, int], tuple[int, str] | None]


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
    study = study_file(
        "A season of given fates",
        first='headline = "12 months"',
        rules=f"{AT_PLANTING}\n{rules}",
        allocation=allocation,
        more=MILESTONE + more,
    )
    seedlings = (
        Seedling(
            f"site {site}",
            f"{method[0]}{plot}",
            f"{method[0]}{plot}-{number}",
            method,
            days,
            states_until(last, len(days), after),
        )
        for site in range(sites)
        for method in methods
        for plot in range(plots)
        for number in range(plants)
        for last, after in filter(None, [fate(site, method, plot, number)])
    )
    return write_season(folder, study, seedlings)


def spread(number: int, dead: int, visits: int = 4) -> tuple[int, str]:
    """Give the fate of a seedling where so many of a plot die, over all visits in turn."""
    return (number % visits, "dead") if number < dead else (99, "dead")
