"""What a budget buys: the best split between plots and seedlings, and the difference it can show."""

from __future__ import annotations

import pandas as pd
from scipy import optimize

from survivor.planning.closed_form import half_width, power_of_proportions
from survivor.planning.layout import compared, fewest_plots, plots_by_blocks, plots_in_all
from survivor.planning.planfile import Costs, Plan
from survivor.planning.variation import Spread, arms_of

SPLIT_COLUMNS = ("seedlings", "plots", "cost", "power", "half_width")


def cost_of_plot(costs: Costs, seedlings: int, visits: int) -> float:
    """Cost of one plot with its seedlings and all its visits."""
    plot = costs.per_plot + visits * costs.per_plot_visit
    return plot + seedlings * cost_of_tag(costs, visits)


def cost_of_tag(costs: Costs, visits: int) -> float:
    """Cost of one tagged seedling with all its visits."""
    return costs.per_tag + visits * costs.per_tag_visit


def splits(plan: Plan, found: Spread, visits: int, budget: float | None = None) -> pd.DataFrame:
    """Every way to spend the budget: seedlings a plot, and the plots of each method that leaves.

    Parameters
    ----------
    plan, found
        The plan, and how plots and sites differ.
    visits
        Visits of every plot.
    budget
        None: that of the plan.

    Returns
    -------
    DataFrame
        ``seedlings`` of a plot, ``plots`` of each method, ``cost`` of the whole as it is laid out,
        ``power`` and ``half_width`` of the 95 % CI (per 100). Only ways that leave
        two plots of each method, the fewest that tell plots from methods, and a block at every
        site; power and limits are those of the comparison with the fewest blocks.
    """
    costs = plan.costs
    if costs is None:
        return pd.DataFrame(columns=list(SPLIT_COLUMNS))
    money = costs.budget if budget is None else budget
    arms = arms_of(plan, found)
    settled = plan.sizes.seedlings_per_plot
    low, high = (settled, settled) if settled else (plan.sizes.fewest_seedlings, plan.sizes.most_seedlings)
    fewest, fixed = fewest_plots(plan), plots_by_blocks(plan)
    rows = []
    for seedlings in range(low, high + 1):
        plots = _bought(plan, money, cost_of_plot(costs, seedlings, visits), fewest, fixed)
        if plots is None:
            continue
        _, blocks = compared(plan, plots)
        rows.append(
            (
                seedlings,
                plots,
                plots_in_all(plan, plots) * cost_of_plot(costs, seedlings, visits),
                100 * power_of_proportions(arms, blocks, seedlings),
                100 * half_width(arms, blocks, seedlings),
            )
        )
    return pd.DataFrame(rows, columns=list(SPLIT_COLUMNS))


def _bought(plan: Plan, money: float, plot_cost: float, fewest: int, fixed: int | None) -> int | None:
    """Return the plots of each method that the money buys, as they are laid out; None where too few.

    A site that cannot take a method has fewer plots, so the money buys more blocks.
    """
    most = money / plot_cost + 1e-9  # a rounding error must not cost a plot
    if fixed is not None:
        return fixed if fixed >= fewest and plots_in_all(plan, fixed) <= most else None
    plots = max(fewest, int(most) // len(plan.methods))
    if plots_in_all(plan, plots) > most:
        return None
    while plots_in_all(plan, plots + 1) <= most:
        plots += 1
    return plots


def best_split(table: pd.DataFrame) -> pd.Series[float] | None:
    """Return the split with the most power; among equals the cheapest. None where there is none."""
    if table.empty:
        return None
    order = table.sort_values(["power", "cost"], ascending=[False, True], kind="stable")
    best: pd.Series[float] = order.iloc[0]
    return best


def seen_difference(plan: Plan, found: Spread, plots: int, seedlings: int) -> float | None:
    """Smallest improvement (per 100) that a size shows with the power asked for.

    None where even the survival of all would not be shown.
    """
    arms = arms_of(plan, found)
    wanted = plan.question.power_per_100 / 100

    def beyond(difference: float) -> float:
        better = arms_of(plan, found, arms.survival + difference)
        return power_of_proportions(better, plots, seedlings) - wanted

    most = 1 - arms.survival - 1e-3
    if plots < 2 or most <= 1e-3 or beyond(most) < 0:
        return None
    return 100 * float(optimize.brentq(beyond, 1e-4, most, xtol=1e-5))


def budget_needed(plan: Plan, found: Spread, visits: int) -> float | None:
    """Find the least budget with the power asked for; None where there are no costs or none is enough."""
    costs = plan.costs
    if costs is None:
        return None
    wanted = plan.question.power_per_100
    low, high = 0.0, costs.budget
    while _best_power(plan, found, visits, high) < wanted:
        low, high = high, 2 * high
        if high > 1e6 * costs.budget:
            return None
    while high - low > 0.002 * high:
        middle = (low + high) / 2
        low, high = (low, middle) if _best_power(plan, found, visits, middle) >= wanted else (middle, high)
    best = best_split(splits(plan, found, visits, high))
    return None if best is None else float(best["cost"])


def _best_power(plan: Plan, found: Spread, visits: int, budget: float) -> float:
    best = best_split(splits(plan, found, visits, budget))
    return 0.0 if best is None else float(best["power"])
