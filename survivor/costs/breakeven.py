"""The most that a preparation may cost per plant and still equal the usual practice per established plant.

Cost per established plant is cost over survival, so two methods are equal where their
costs stand as their survivals do.

Limits of a ratio of two estimates (Fieller 1954, Journal of the Royal Statistical Society B 16, 175-185).

The limits are the ratios r for which the difference of costs less r times the
difference of effects is not clear from zero. They close an interval only where the
effects themselves are clear from zero.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from numbers import Real
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from scipy import stats

from survivor.arrays import Floats
from survivor.costs import english as en
from survivor.costs.differences import Gaps
from survivor.costs.draws import Costed, chance_error, limits_of
from survivor.errors import PayoffError
from survivor.limits import check_level
from survivor.sentences import Name, Sentence, Stated, Value, cell, say
from survivor.shown import Shown
from survivor.vocabulary import CONFIDENCE
from survivor.words import money, range_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes


_MOST = 700.0  # exp of more overflows
_DRAWN = (
    "break_even",
    "lower",
    "upper",
    "spare",
    "probability_pays",
    "lower_error",
    "upper_error",
    "probability_error",
)


@dataclass(frozen=True, repr=False)
class BreakEven(Shown, Stated):
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
    said
        The answer, in sentences; ``statement`` has it in words.
    """

    by: str
    at_day: float
    usual: Any
    table: pd.DataFrame
    said: tuple[Sentence, ...]

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the break-even cost of each preparation with its limits, and what it costs."""
        from survivor.figures.payoff import draw_break_even

        return draw_break_even(self.table.rename(columns={self.by: "method"}), ax)


def break_even(found: Gaps, costed: Costed, base: int) -> BreakEven:
    """Break-even cost of each method against the base.

    Limits are from draws of the log ratio of survivals, by t on its own degrees of freedom,
    and of what the base costs within its range.

    Parameters
    ----------
    found
        Survival of the methods, and how far they lie apart.
    costed
        What a plant costs under each of them, with draws.
    base
        Place of the usual practice.
    """
    rng = costed.random("break-even")
    usual, usual_paid = costed.per_plant[base], costed.paid[:, base]
    rows = []
    for place, cost in enumerate(costed.per_plant.tolist()):
        if place == base:
            continue
        df, error = float(found.ratio_df[place, base]), found.ratio_error[place, base]
        line: dict[str, Any] = {
            costed.by: found.methods[place],
            "against": found.methods[base],
            "cost_per_plant": cost,
            **dict.fromkeys(_DRAWN, np.nan),
            "df": df,
            "basis": found.basis[place, base],
        }
        if np.isfinite(error):
            ratio = found.ratio[place, base]
            logarithm = np.log(ratio) + error * _t_draws(df, costed.draws, rng)
            equal = usual_paid * np.exp(np.minimum(logarithm, _MOST))
            pays = np.mean(costed.paid[:, place] < equal)
            line |= {
                "break_even": usual * ratio,
                "spare": usual * ratio - cost,
                "probability_pays": pays,
                "probability_error": chance_error(pays, costed.draws),
                **limits_of(equal, costed.level),
            }
        rows.append(line)
    table = costed.table(rows)
    name = found.methods[base]
    said = _said(table, costed, str(name))
    return BreakEven(costed.by, costed.at_day, name, table, said)


def _t_draws(df: float, draws: int, rng: np.random.Generator) -> Floats:
    if np.isposinf(df):
        return rng.standard_normal(draws)
    drawn: Floats = stats.t.ppf(rng.random(draws), df)
    return drawn


def _said(table: pd.DataFrame, costed: Costed, usual: str) -> tuple[Sentence, ...]:
    by, currency, said = costed.by, costed.currency, []
    what = range_words(costed.level)
    for line in table.to_dict("records"):
        method, level = Name(str(line[by])), float(line["break_even"])
        if not np.isfinite(level):
            said.append(say(en.NO_BREAK_EVEN, method=method))
            continue
        cost, low, high = (float(line[key]) for key in ("cost_per_plant", "lower", "upper"))
        place = en.BELOW if cost < low else en.ABOVE if cost > high else en.WITHIN
        at = {name: cell("break_even", name, **{by: line[by]}) for name in ("break_even", "lower")}
        span = en.RANGE.format(what=what, low=money(low, currency), high=money(high, currency))
        equal, ends = Value(money(level, currency), level, at["break_even"]), Value(span, low, at["lower"])
        said.append(say(en.BREAK_EVEN, method=method, usual=Name(usual), level=equal, span=ends))
        paid = cell("break_even", "cost_per_plant", **{by: line[by]})
        said.append(say(en.COSTS, cost=Value(money(cost, currency), cost, paid), place=place))
    return tuple(said)


@dataclass(frozen=True)
class RatioLimits:
    """Limits of a ratio; NaN where they do not close an interval, and ``bounded`` is false."""

    lower: float
    upper: float
    bounded: bool


def fieller(
    above: float,
    below: float,
    variance_above: float,
    variance_below: float,
    covariance: float = 0.0,
    df: float = math.inf,
    level: float = CONFIDENCE,
) -> RatioLimits:
    """Limits of ``above / below``.

    Parameters
    ----------
    above, below
        The two estimates.
    variance_above, variance_below, covariance
        Of these.
    df
        Degrees of freedom of the quantile; infinite: normal.
    level
        Confidence level.

    Returns
    -------
    RatioLimits
        Not bounded where ``below`` is not clear from 0, or where its spread or ``df`` is not known.

    Raises
    ------
    PayoffError
        When one of these is no number (``ModelError``: no level).

    Examples
    --------
    >>> ratio = survivor.fieller(1000.0, 0.05, 324.0**2, 0.01**2)  # costs over survival
    >>> round(ratio.lower), round(ratio.upper), ratio.bounded
    (7006, 40256, True)
    """
    needed = (above, below, variance_above, variance_below, covariance)
    strange = [value for value in (*needed, df) if not isinstance(value, Real)]
    if strange:
        raise PayoffError(f"{strange[0]!r} is no number", where="fieller", mend="give one number each")
    if variance_above < 0 or variance_below < 0:
        raise PayoffError("a variance below 0", where="fieller", mend="give squares of standard errors")
    none = RatioLimits(math.nan, math.nan, False)
    if not df > 0 or not all(map(math.isfinite, needed)):
        return none
    tail = 0.5 + check_level(level) / 2
    quantile = float(stats.norm.ppf(tail) if math.isinf(df) else stats.t.ppf(tail, df)) ** 2
    square = below**2 - quantile * variance_below
    middle = below * above - quantile * covariance
    rest = above**2 - quantile * variance_above
    inside = middle**2 - square * rest
    if square <= 0 or inside < 0:
        return none
    root = math.sqrt(inside)
    return RatioLimits((middle - root) / square, (middle + root) / square, True)
