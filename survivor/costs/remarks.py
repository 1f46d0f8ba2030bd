"""What is said beside costs: who is not costed and why, and what limits rest on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from survivor.costs.prices import Price
from survivor.effects.standardise import Standardised

ASK_CURRENCY: Final = (
    "No currency is named, so amounts have no unit: give currency, year and source of the prices under "
    "[costs] of the study file."
)


def remarks(
    not_costed: tuple[Any, ...],
    strange: tuple[Any, ...],
    left_out: Mapping[str, str],
    standard: Standardised,
    prices: Mapping[Any, Price],
) -> list[str]:
    """Return plain sentences on costs per established plant.

    Parameters
    ----------
    not_costed
        Methods of the records without a cost.
    strange
        Methods with a cost that are not in the records.
    left_out
        Methods without survival to divide by, each with the reason.
    standard
        Survival by method.
    prices
        Of the methods that are costed.
    """
    said = []
    if not_costed:
        names = "; ".join(map(str, not_costed))
        said.append(f"No cost per plant was given for {names}, so none per established plant is told.")
    said += [f"No cost per established plant is told for {name}: {why}." for name, why in left_out.items()]
    if strange:
        said.append(
            f"A cost was given for what is in no plot of the records: {'; '.join(map(str, strange))}."
        )
    if len(prices) == 1 and len(standard.table) > 1:
        said.append("One preparation only can be costed, so none can be called the cheapest.")
    said += _without_range(prices)
    if not standard.extrapolated.empty:
        said.append("Costs are compared over all sites, also those where a method was not used.")
    return said


def between_sites(pairs: tuple[tuple[Any, Any], ...]) -> list[str]:
    """Name pairs of methods that no site holds both of."""
    if not pairs:
        return []
    named = "; ".join(f"{first} and {second}" for first, second in pairs)
    return [f"No site holds both of these, so their costs compare sites as much as preparations: {named}."]


def _without_range(prices: Mapping[Any, Price]) -> list[str]:
    """Name the methods whose cost has no range: nothing of it is in their limits."""
    names = [str(name) for name, price in prices.items() if not price.high > price.low]
    if not names:
        return []
    if len(names) == len(prices):
        return ["No range was given for any cost, so limits of costs rest on survival alone."]
    those = "its limits rest" if len(names) == 1 else "their limits rest"
    return [f"No range was given for the cost of {'; '.join(names)}, so {those} on survival alone."]
