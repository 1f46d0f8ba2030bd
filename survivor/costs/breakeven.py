"""The most that a preparation may cost per plant and still equal the usual practice per established plant.

Cost per established plant is cost over survival, so two methods are equal where their
costs stand as their survivals do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from scipy import stats

from survivor.costs.differences import Gaps
from survivor.costs.prices import Price
from survivor.costs.quantiles import TAILS, quantile
from survivor.effects.limits import Floats
from survivor.figures.words import limits, money

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_MOST = 700.0  # exp of more overflows


@dataclass(frozen=True, repr=False)
class BreakEven:
    """Cost per plant at which each preparation equals the usual practice per established plant.

    Attributes
    ----------
    by, at_day, usual
        Column of methods, days since planting, and the practice that the others are set beside.
    table
        ``<by>, against, cost_per_plant, break_even, lower, upper`` (money per plant put in),
        ``spare`` (break-even less cost), ``probability_pays`` (chance that an established plant
        costs less than under the usual practice), the Monte Carlo errors ``lower_error, upper_error,
        probability_error``, ``df, basis, currency, at_day``.
    statement
        In words.
    """

    by: str
    at_day: float
    usual: Any
    table: pd.DataFrame
    statement: str

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the break-even cost of each preparation with its limits, and what it costs."""
        from survivor.figures.breakeven import draw_break_even

        return draw_break_even(self.table.rename(columns={self.by: "method"}), ax)

    def __repr__(self) -> str:
        return f"{self.statement}\n{self.table.to_string(index=False)}"

    def _repr_html_(self) -> str:
        return str(self.table.to_html(index=False))


def break_even(
    found: Gaps,
    prices: Sequence[Price],
    drawn_prices: Floats,
    base: int,
    rng: np.random.Generator,
    *,
    by: str,
    at: float,
    currency: str = "",
) -> BreakEven:
    """Break-even cost of each method against the base.

    Limits are from draws of the log ratio of survivals, by t on its own degrees of freedom,
    and of what the base costs within its range.

    Parameters
    ----------
    found
        Survival of the methods, and how far they lie apart.
    prices, drawn_prices
        What a plant costs under each, and draws of it, shape (draws, methods).
    base
        Place of the usual practice.
    rng
        Of the draws.
    by, at, currency
        For the table.
    """
    draws = len(drawn_prices)
    rows = []
    for place in range(len(found.methods)):
        if place == base:
            continue
        cost, usual = prices[place].per_plant, prices[base].per_plant
        line: dict[str, Any] = {
            by: found.methods[place],
            "against": found.methods[base],
            "cost_per_plant": cost,
            "df": found.ratio_df[place, base],
            "basis": found.basis[place, base],
        }
        error = found.ratio_error[place, base]
        if np.isfinite(error):
            ratio = found.survival[place] / found.survival[base]
            t = _t_draws(float(line["df"]), draws, rng)
            level = drawn_prices[:, base] * np.exp(np.minimum(np.log(ratio) + error * t, _MOST))
            ordered = np.sort(level)[:, None]
            (lower, lower_error), (upper, upper_error) = (quantile(ordered, tail) for tail in TAILS)
            pays = float((drawn_prices[:, place] < level).mean())
            line |= {
                "break_even": usual * ratio,
                "lower": lower[0],
                "upper": upper[0],
                "spare": usual * ratio - cost,
                "probability_pays": pays,
                "lower_error": lower_error[0],
                "upper_error": upper_error[0],
                "probability_error": np.sqrt(pays * (1 - pays) / draws),
            }
        rows.append(line)
    columns = [
        by,
        "against",
        "cost_per_plant",
        "break_even",
        "lower",
        "upper",
        "spare",
        "probability_pays",
        "lower_error",
        "upper_error",
        "probability_error",
        "df",
        "basis",
    ]
    table = pd.DataFrame(rows, columns=columns).assign(currency=currency, at_day=float(at))
    usual_name = found.methods[base]
    return BreakEven(by, float(at), usual_name, table, _statement(table, by, str(usual_name), currency))


def _t_draws(df: float, draws: int, rng: np.random.Generator) -> Floats:
    if np.isposinf(df):
        return rng.standard_normal(draws)
    drawn: Floats = stats.t.ppf(rng.random(draws), df)
    return drawn


def _statement(table: pd.DataFrame, by: str, usual: str, currency: str) -> str:
    said = []
    for line in table.to_dict("records"):
        name, level = str(line[by]), float(line["break_even"])
        if not np.isfinite(level):
            said.append(f"No break-even cost can be told for {name}: nobody, or everybody, was alive.")
            continue
        cost, low, high = (float(line[key]) for key in ("cost_per_plant", "lower", "upper"))
        verdict = "within the limits"
        if cost < low:
            verdict = "below them"
        elif cost > high:
            verdict = "above them"
        said.append(
            f"{name} equals {usual} in cost per established plant at {money(level, currency)} per plant put "
            f"in (95 % limits {limits(low, high, 2)}); it costs {money(cost, currency)}, {verdict}."
        )
    return " ".join(text[:1].upper() + text[1:] for text in said)
