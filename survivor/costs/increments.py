"""What each preparation costs for each extra plant alive, against the usual practice.

What is said of cost and of plants alive is what their limits show, never what the estimates
alone would rank.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import pandas as pd

from survivor.costs import english as en
from survivor.costs.breakeven import fieller
from survivor.costs.differences import Gaps
from survivor.costs.draws import Costed, tails
from survivor.costs.prices import covariance_of_prices
from survivor.limits import with_level
from survivor.models.result import holm
from survivor.sentences import Name, Names, Sentence, Stated, Value, cell, say
from survivor.shown import Shown
from survivor.vocabulary import PER_100, SIGNIFICANCE
from survivor.words import confidence, difference, money, range_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Reads = Literal["more", "less", "the same", "not enough evidence to say"]

_COLUMNS = (
    "against",
    "cost",
    "extra_cost",
    "extra_cost_lower",
    "extra_cost_upper",
    "cost_reads",
    "extra_alive",
    "lower",
    "upper",
    "std_error",
    "df",
    "p_value",
    "p_adjusted",
    "alive_reads",
    "dominated",
    "cost_per_extra",
    "cost_per_extra_lower",
    "cost_per_extra_upper",
    "basis",
)
_ALIKE = 1e-9  # costs nearer than this are the same


@dataclass(frozen=True, repr=False)
class Increments(Shown, Stated):
    """Extra cost and extra plants alive of each preparation against the usual practice.

    Attributes
    ----------
    by, at_day
        Column of methods, and days since planting.
    table
        One row a method but the usual practice, the cheapest first: ``<by>, against``; ``cost`` and
        ``extra_cost, extra_cost_lower, extra_cost_upper`` (per 100 planted, within the ranges of the
        prices), ``cost_reads``; ``extra_alive, lower, upper, std_error, df, p_value, p_adjusted``
        (per 100 planted), ``alive_reads``; ``dominated`` (shown to cost as much or more, and to have fewer
        alive); ``cost_per_extra, cost_per_extra_lower, cost_per_extra_upper`` (per extra plant
        alive, Fieller's limits; only where more alive are shown), ``basis, currency, unit, at_day``.
        ``cost_reads`` and ``alive_reads`` are ``more``, ``less``, ``the same`` or ``not enough
        evidence to say``, by the limits; of plants alive also by p adjusted for the number of
        comparisons, so that no extra plant has a price that the comparison does not show.
    said
        The answer, in sentences; ``statement`` has it in words.
    """

    by: str
    at_day: float
    table: pd.DataFrame
    said: tuple[Sentence, ...]

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw extra cost against extra plants alive."""
        from survivor.figures.plane import draw_plane

        return draw_plane(self.table.rename(columns={self.by: "method"}), ax)


def reads(lower: float, upper: float) -> Reads:
    """Say what the limits of a difference show.

    Examples
    --------
    >>> reads(1.0, 4.0), reads(-4.0, 0.5), reads(0.0, 0.0)
    ('more', 'not enough evidence to say', 'the same')
    """
    if abs(lower) < _ALIKE and abs(upper) < _ALIKE:
        return "the same"
    if lower > _ALIKE:
        return "more"
    return "less" if upper < -_ALIKE else "not enough evidence to say"


def increments(
    found: Gaps, costed: Costed, base: int, adjusted: Mapping[Any, float] | None = None
) -> Increments:
    """Extra cost and extra plants alive of each method against the base.

    Parameters
    ----------
    found
        Differences in survival between the methods.
    costed
        What a plant costs under each of them, with draws for the limits of extra cost.
    base
        Place of the usual practice.
    adjusted
        Method -> p of its comparison with the base, adjusted for the number of comparisons made; None:
        adjusted by Holm over the methods here.
    """
    others = [place for place in range(len(found.methods)) if place != base]
    order = sorted(others, key=lambda place: float(costed.per_plant[place]))
    if adjusted is None:
        own = holm(found.p_value[order, base])
        adjusted = {found.methods[place]: float(p) for place, p in zip(order, own, strict=True)}
    rows = [
        {costed.by: found.methods[place], **_line(found, costed, place, base, adjusted)} for place in order
    ]
    table = pd.DataFrame(rows, columns=[costed.by, *_COLUMNS]).assign(
        currency=costed.currency, unit=PER_100, at_day=costed.at_day
    )
    table = with_level(table, costed.level)
    return Increments(costed.by, costed.at_day, table, _said(table, costed))


def _line(
    found: Gaps, costed: Costed, place: int, against: int, adjusted: Mapping[Any, float]
) -> dict[str, Any]:
    extra = float(costed.per_plant[place] - costed.per_plant[against])
    more = found.estimate[place, against]
    lower, upper = (float(ends[place, against]) for ends in (found.lower, found.upper))
    dearer = costed.paid[:, place] - costed.paid[:, against]
    low, high = (float(end) for end in np.quantile(dearer, tails(costed.level)))
    spread = covariance_of_prices([costed.prices[place], costed.prices[against]])
    variance = max(float(spread[0, 0] + spread[1, 1] - 2 * spread[0, 1]), 0.0)
    error, df = found.std_error[place, against], float(found.df[place, against])
    cost, alive = reads(low, high), reads(lower, upper)
    p_adjusted = float(adjusted.get(found.methods[place], math.nan))
    if alive in ("more", "less") and not p_adjusted < SIGNIFICANCE:
        alive = "not enough evidence to say"
    line = {
        "against": found.methods[against],
        "cost": 100 * costed.per_plant[place],
        "extra_cost": 100 * extra,
        "extra_cost_lower": 100 * low,
        "extra_cost_upper": 100 * high,
        "cost_reads": cost,
        "extra_alive": 100 * more,
        "lower": 100 * lower,
        "upper": 100 * upper,
        "std_error": 100 * error,
        "df": df,
        "p_value": found.p_value[place, against],
        "p_adjusted": p_adjusted,
        "alive_reads": alive,
        "dominated": alive == "less" and cost in ("more", "the same"),
        **dict.fromkeys(("cost_per_extra", "cost_per_extra_lower", "cost_per_extra_upper"), math.nan),
        "basis": found.basis[place, against],
    }
    if alive == "more":
        ratio = fieller(extra, more, variance, error**2, 0.0, df, costed.level)
        line |= {
            "cost_per_extra": extra / more,
            "cost_per_extra_lower": ratio.lower,
            "cost_per_extra_upper": ratio.upper,
        }
    return line


def range_of_money(what: str, low: float, high: float, currency: str) -> str:
    """Write the range of an amount, and what it is: one without an upper end, or none, in words."""
    if not np.isfinite(low):
        return en.RANGE_NONE
    words = en.RANGE if np.isfinite(high) else en.RANGE_OPEN
    return words.format(what=what, low=money(low, currency), high=money(high, currency))


def _said(table: pd.DataFrame, costed: Costed) -> tuple[Sentence, ...]:
    by, currency, said = costed.by, costed.currency, []
    interval, what = confidence(costed.level), range_words(costed.level)
    for line in table[table["alive_reads"] == "more"].to_dict("records"):
        names = {"against": Name(str(line["against"])), "method": Name(str(line[by]))}
        alive, span = difference(*(float(line[name]) for name in ("extra_alive", "lower", "upper")))
        at = {name: cell("increments", name, **{by: line[by]}) for name in _COLUMNS}
        cost, each = float(line["extra_cost"]), float(line["cost_per_extra"])
        said.append(
            say(
                en.EXTRA,
                cost=Value(money(abs(cost), currency), cost, at["extra_cost"], -1.0 if cost < 0 else 1.0),
                word="more" if cost >= 0 else "less",
                alive=Value(alive.lstrip("+"), float(line["extra_alive"]), at["extra_alive"]),
                span=Value(f"{interval} {span}", float(line["lower"]), at["lower"]),
                **names,
            )
        )
        low, high = float(line["cost_per_extra_lower"]), float(line["cost_per_extra_upper"])
        ends = Value(range_of_money(what, low, high, currency), low, at["cost_per_extra_lower"])
        paid = Value(money(each, currency), each, at["cost_per_extra"])
        said.append(say(en.EXTRA_EACH, cost=paid, span=ends))
    said += [
        say(en.DEARER_AND_FEWER, method=Name(str(line[by])), against=Name(str(line["against"])))
        for line in table[table["dominated"]].to_dict("records")
    ]
    rest = table[(table["alive_reads"] != "more") & ~table["dominated"].astype(bool)]
    if len(rest):
        said.append(say(en.NO_PRICE, names=Names(tuple(map(str, rest[by])))))
    return tuple(said)
