"""Small tagged seasons written to a folder, for whole analyses."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from pathlib import Path

from tests.writing import AT_PLANTING, PLANTED, Seedling, states_until, study_file, write_season

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
    plots = [
        (f"site {site}", f"{method[0]}{plot}", method, days(site, plot), deaths(method, plot))
        for site in range(sites)
        for method in ("usual", "other")
        for plot in range(2)
    ]

    def plants() -> Iterator[Seedling]:
        for site, plot, method, visits, (early, late) in plots:
            for number in range(10):
                last = 0 if number < early else len(visits) - 1 if number < early + late else len(visits)
                states: list[str | None] = [*states_until(last, len(visits))]
                if unseen(number):
                    states[0] = None
                yield Seedling(site, plot, f"{plot}-{number}", method, visits, states)
            for number in range(infill):
                states = [None, *["alive"] * (len(visits) - 1)]
                planted = PLANTED + dt.timedelta(days=visits[0])
                yield Seedling(site, plot, f"{plot}-i{number}", method, visits, states, "infill", planted)

    return write_season(folder, study_file(first=headline, rules=rules, more=more), plants())
