"""How many plots and seedlings the season takes, and why these: nothing here is simulated."""

from __future__ import annotations

import math
from pathlib import Path

import pandas as pd

from survivor.planning.calendar import visits_until
from survivor.planning.closed_form import plots_needed, power_of_events, power_of_proportions
from survivor.planning.layout import (
    blocks_of,
    compared,
    fewest_plots,
    plots_by_blocks,
    plots_in_all,
    refuse_unanswerable,
)
from survivor.planning.planfile import Plan
from survivor.planning.split import best_split, budget_needed, cost_of_plot, seen_difference, splits
from survivor.planning.variation import Spread, arms_of, spread_of, wider
from survivor.words import number

NEEDED_COLUMNS = ("seedlings", "two_proportions", "events", "wider_plots", "cost")
NO_NUMBER_ENOUGH = "no number of plots within reach is enough by formula"
_USUAL_SEEDLINGS = 20
_SKETCHED = (0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.25, 1.5, 1.75, 2.0)  # of the settled plots
_SEEDLINGS_SHOWN = (10, 15, 20, 30, 40)


def size_of(asked: Plan, folder: Path) -> tuple[int, int, str]:
    """Return plots of each method and seedlings of each plot, and why these; nothing is simulated.

    Parameters
    ----------
    asked
        A plan.
    folder
        What a past study is named relative to.
    """
    refuse_unanswerable(asked)
    spread = spread_of(asked, folder)
    return settled_size(asked, spread, splits(asked, spread, visits_until(asked, asked.question.day)))


def smallest_cost(asked: Plan, folder: Path) -> str | None:
    """Return what the smallest season with the power asked for costs, in words; None where none is enough."""
    least = budget_needed(asked, spread_of(asked, folder), visits_until(asked, asked.question.day))
    return None if least is None or asked.costs is None else f"{number(least)} {asked.costs.currency}"


def settled_size(asked: Plan, spread: Spread, table: pd.DataFrame) -> tuple[int, int, str]:
    """Return the size that the answer is for, and why it is that."""
    settled = asked.sizes
    if settled.plots_per_method is not None:
        if asked.sites:
            blocks_of(asked, settled.plots_per_method)
        return (
            settled.plots_per_method,
            settled.seedlings_per_plot or _USUAL_SEEDLINGS,
            "the plan file gives it",
        )
    if asked.costs is not None:
        best = best_split(table)
        if best is None:
            few = settled.seedlings_per_plot or settled.fewest_seedlings
            fewest = fewest_plots(asked)
            needed_there = "two plots" if fewest == 2 else f"{fewest} plots (the blocks of every site)"
            return 0, few, f"the budget does not buy {needed_there} of each method"
        return int(best["plots"]), int(best["seedlings"]), "the best split of the budget"
    seedlings = settled.seedlings_per_plot or _USUAL_SEEDLINGS
    by_blocks = plots_by_blocks(asked)
    if by_blocks is not None:
        return by_blocks, seedlings, "the sites say their blocks"
    needed = _plots(asked, spread, seedlings)
    if needed is not None and needed < fewest_plots(asked):
        return fewest_plots(asked), seedlings, "a block at every site, more than the power asks for"
    if needed is None:
        return 0, seedlings, NO_NUMBER_ENOUGH
    return needed, seedlings, "the fewest plots that are enough by formula"


def _plots(asked: Plan, spread: Spread, seedlings: int, events: bool = False) -> int | None:
    form = power_of_events if events else power_of_proportions
    arms = arms_of(asked, spread)
    fixed = plots_by_blocks(asked) is not None

    def compared_open(plots: int) -> int:
        return plots if fixed else compared(asked, plots)[1]

    return plots_needed(
        lambda plots: form(arms, compared_open(plots), seedlings), asked.question.power_per_100 / 100
    )


def power_by_formula(asked: Plan, folder: Path) -> tuple[int, int, str, pd.DataFrame]:
    """Return the settled size and the power of sizes round it, by closed form alone.

    Parameters
    ----------
    asked
        The plan.
    folder
        What a past study is named relative to.

    Returns
    -------
    plots, seedlings, why, table
        As `size_of`; and ``plots`` of each method with ``power`` per 100 of the comparison with the fewest
        blocks: empty where no number of plots is enough.
    """
    plots, seedlings, why = size_of(asked, folder)
    arms = arms_of(asked, spread_of(asked, folder))
    sizes = sorted({max(2, round(plots * share)) for share in _SKETCHED}) if plots >= 2 else []
    powers = [100 * power_of_proportions(arms, compared(asked, size)[1], seedlings) for size in sizes]
    return plots, seedlings, why, pd.DataFrame({"plots": sizes, "power": powers})


_USUAL_PLOTS = (20, 25)  # of each method, in a season as one crew can look after it


def shown_by_formula(asked: Plan, spread: Spread, plots: int, seedlings: int) -> float:
    """Seasons of 100 with so many plots of each method that show the difference, by two proportions."""
    if plots < 2:
        return math.nan
    return 100 * power_of_proportions(arms_of(asked, spread), compared(asked, plots)[1], seedlings)


def usual_sizes(asked: Plan, spread: Spread, plots: int, seedlings: int) -> pd.DataFrame:
    """Tell what seasons of a usual size would show, where the season planned is larger.

    Returns
    -------
    DataFrame
        As ``PlannedSeason.usual``.
    """
    rows = [
        (
            size,
            shown_by_formula(asked, spread, size, seedlings),
            seen_difference(asked, spread, compared(asked, size)[1], seedlings),
        )
        for size in _USUAL_PLOTS
        if plots > max(_USUAL_PLOTS)
    ]
    return pd.DataFrame(rows, columns=["plots", "power", "seen"])


def plots_by_seedlings(asked: Plan, spread: Spread, visits: int, seedlings_chosen: int) -> pd.DataFrame:
    """Return the plots needed, by seedlings a plot."""
    wide = wider(asked, spread)
    rows = []
    for seedlings in sorted({*_SEEDLINGS_SHOWN, seedlings_chosen}):
        plots = _plots(asked, spread, seedlings)
        cost = math.nan
        if asked.costs is not None and plots is not None:
            cost = plots_in_all(asked, plots) * cost_of_plot(asked.costs, seedlings, visits)
        rows.append(
            (
                seedlings,
                plots,
                _plots(asked, spread, seedlings, events=True),
                None if wide is None else _plots(asked, wide, seedlings),
                cost,
            )
        )
    table = pd.DataFrame(rows, columns=list(NEEDED_COLUMNS))
    counts = ["two_proportions", "events", "wider_plots"]
    table[counts] = table[counts].astype("Int64")
    return table
