"""Plants to put in for the stems wanted, and infill to order for the plants that died."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import NoneType
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from survivor.arguments import amount, columns_of, draws_of, is_number, is_one_of, must_be
from survivor.arrays import Floats
from survivor.costs.draws import draw_share, random_of, tails
from survivor.effects.standardise import Standardised
from survivor.errors import PayoffError
from survivor.limits import check_level, with_level
from survivor.models.one_ratio import said_of_one_ratio
from survivor.shown import Shown
from survivor.vocabulary import CONFIDENCE

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ALL_SITES = "all sites"
_NEAR = 1e-6  # survival per 100 that is rounding


@dataclass(frozen=True, repr=False)
class StemsNeeded(Shown):
    """Plants to put in per hectare so that the stems wanted are alive.

    Attributes
    ----------
    by, at_day
        Column of methods, and days since planting.
    target
        Living stems wanted per hectare.
    table
        ``<by>, survival`` (per 100 planted), ``target, plants_needed, lower, upper`` (plants per
        hectare; at ``upper`` the target is reached also at the low limit of survival), and, where
        the spacing is told, ``planted, standing, standing_lower, standing_upper, short`` and
        ``infill_needed, infill_lower, infill_upper`` (plants per hectare), ``at_day``. Blank where
        not told.
    checks
        Plain sentences.
    level
        Confidence level of the limits; where it is not 0.95, the table names it in a column ``level``.
    """

    by: str
    at_day: float
    target: float
    table: pd.DataFrame
    checks: tuple[str, ...]
    level: float = CONFIDENCE

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw plants needed per hectare with their limits."""
        from survivor.figures.payoff import draw_stems

        return draw_stems(self.table.rename(columns={self.by: "method"}), ax)


@dataclass(frozen=True)
class InfillLives:
    """Share of infill plants alive on their own clock, 0 to 1, with limits; NaN: not known."""

    survival: float
    lower: float
    upper: float

    def drawn(self, draws: int, rng: np.random.Generator) -> Floats:
        """Draws of it, shape (draws,); all as stated where it has no limits."""
        shares = draw_share(self.survival, self.lower, self.upper, draws, rng)
        return shares if np.isfinite(shares).all() else np.full(draws, self.survival)


def stems_needed(
    standard: Standardised,
    target: float,
    planted: Mapping[Any, float] | None = None,
    infill: InfillLives | None = None,
    *,
    draws: int = 10_000,
    seed: int = 1,
) -> StemsNeeded:
    """Plants to put in per hectare under each method to have a number of stems alive.

    Parameters
    ----------
    standard
        Survival by method, from ``survivor.survival``; its limits, at whatever ``level`` it was made
        with, are those of the plants.
    target
        Living stems wanted per hectare.
    planted
        Plants put in per hectare by method, for what stands now and the infill that is missing.
    infill
        How many infill plants live; None: as first plants of the method do.
    draws, seed
        Size and seed of the simulation for the limits of infill.

    Returns
    -------
    StemsNeeded
        Plants per hectare, with limits.

    Raises
    ------
    PayoffError
        When the target is not above zero, or ``planted`` names no method or no number.

    Examples
    --------
    >>> survivor.stems_needed(survivor.survival(fit), 1000).table[["method", "plants_needed"]].round(0)
      method  plants_needed
    0  usual         1976.0
    1  auger         1614.0
    2    rip         1319.0
    """
    mend = "give survivor.survival(fit)"
    must_be(standard, Standardised, "survival by method", "standard", PayoffError, mend)
    if not is_number(target) or not 0 < target < np.inf:
        raise PayoffError(
            f"a target of {target!r} stems per hectare cannot be used",
            where="target",
            mend="give stems above 0",
        )
    draws = draws_of(draws, PayoffError)
    random = _infill_random(infill, seed)
    if planted is not None and not isinstance(planted, Mapping):
        what = f"plants put in are a dict, not {type(planted).__name__}"
        raise PayoffError(what, where="planted", mend="give plants per hectare by method")
    _check_planted(planted or {}, standard)
    living = None if infill is None else infill.drawn(draws, random)
    rows = []
    for line in standard.table.to_dict("records"):
        name = line[standard.by]
        alive, low, high = (float(line[column]) / 100 for column in ("estimate", "lower", "upper"))
        stems = float((planted or {}).get(name, np.nan))
        drawn = draw_share(alive, low, high, draws, random_of(seed, str(name)), standard.level)
        short = float(np.maximum(target - stems * alive, 0.0))
        lives = alive if infill is None else infill.survival
        with np.errstate(divide="ignore"):
            needed = np.maximum(target - stems * drawn, 0.0) / (drawn if living is None else living)
        infill_lower, infill_upper = ends_of(needed, standard.level)
        rows.append(
            {
                standard.by: name,
                "survival": 100 * alive,
                "target": target,
                "plants_needed": _over(target, alive),
                "lower": _over(target, high),
                "upper": _over(target, low),
                "planted": stems,
                "standing": stems * alive,
                "standing_lower": stems * low,
                "standing_upper": stems * high,
                "short": short,
                "infill_needed": 0.0 if short == 0 else _over(short, lives),
                "infill_lower": infill_lower,
                "infill_upper": infill_upper,
                "at_day": standard.at_day,
            }
        )
    as_first = "Infill is taken to live as first plants of the preparation do."
    checks = [as_first] if infill is None and planted else []
    checks += said_of_one_ratio(standard.fit, standard.by)
    table = with_level(pd.DataFrame(rows), standard.level)
    return StemsNeeded(standard.by, standard.at_day, float(target), table, tuple(checks), standard.level)


def _check_planted(planted: Mapping[Any, Any], standard: Standardised) -> None:
    """Raise unless each is a number of plants, of a method that there is survival of."""
    for name, number in planted.items():
        if not is_one_of(name, standard.table[standard.by]):
            raise PayoffError(
                f"{name!r} is not a level of {standard.by}",
                where="planted",
                mend=f"levels there are: {', '.join(map(str, standard.table[standard.by]))}",
            )
        amount(number, f"planted[{name!r}]", PayoffError, "give plants per hectare, above 0", above=0)


def _check_sites(sites: pd.DataFrame) -> None:
    """Raise unless each row is of a site of its own, with counts and shares that can be."""
    if sites["site"].duplicated().any() or sites["site"].isna().any():
        wrong = sites["site"].duplicated() | sites["site"].isna()
        raise PayoffError(
            f"row {sites.index[wrong][0]} names no site, or one named before: "
            f"{sites.loc[wrong, 'site'].iloc[0]}",
            where="sites, column site",
            mend="give a row a site",
        )
    for name in ("planted", "survival", "lower", "upper", "infill_alive"):
        if name not in sites.columns:
            continue
        blank = sites[name].isna()
        most = np.inf if name in ("planted", "infill_alive") else 100.0
        for row, value in sites.loc[~blank, name].items():
            mend = "give plants, 0 or more" if most > 100 else "give survival per 100, from 0 to 100"
            amount(value, f"sites, row {row}, column {name}", PayoffError, mend, bounds=(0, most))
        if name == "planted" and blank.any():
            raise PayoffError(
                f"row {sites.index[blank][0]} has no planted number",
                where="sites, column planted",
                mend="give the plants put in",
            )
    crossed = (sites["lower"] > sites["survival"] + _NEAR) | (sites["survival"] > sites["upper"] + _NEAR)
    if crossed.any():
        raise PayoffError(
            f"row {sites.index[crossed][0]} has survival outside its limits",
            where="sites, columns survival, lower and upper",
            mend="lower <= survival <= upper must hold",
        )


def _over(target: float, alive: float) -> float:
    return target / alive if alive > 0 else float("inf") if alive == 0 else float("nan")


def ends_of(drawn: Floats, level: float = CONFIDENCE) -> tuple[float, float]:
    """Limits of draws; blank where some draw is."""
    if np.isnan(drawn).any():
        return float("nan"), float("nan")
    ordered = np.sort(drawn)
    # Nearest draws, not between them: a draw without end would make a blank of its neighbour.
    low, high = (ordered[round((len(drawn) - 1) * tail)] for tail in tails(level))
    return float(low), float(high)


@dataclass(frozen=True, repr=False)
class InfillOrder(Shown):
    """Infill plants to order for those that died so far.

    Attributes
    ----------
    table
        One row a site and one for all: ``site, planted, at_day`` (last visit), ``dead, dead_lower,
        dead_upper, infill_alive, to_order, lower, upper`` (plants), ``n_plots, note``.
    checks
        Plain sentences.
    all_live
        Whether every infill plant is taken to live, since it is not known how many do: then the
        numbers are the least that can do.
    level
        Confidence level of the limits; where it is not 0.95, the table names it in a column ``level``.
    """

    table: pd.DataFrame
    checks: tuple[str, ...]
    all_live: bool = False
    level: float = CONFIDENCE

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the plants to order at each site with their limits."""
        from survivor.figures.payoff import draw_order

        return draw_order(self.table, ax)


_ORDERED: Final = [
    *("site", "planted", "at_day", "dead", "dead_lower", "dead_upper"),
    *("infill_alive", "to_order", "lower", "upper", "n_plots", "note"),
]


def _infill_random(infill: object, seed: int) -> np.random.Generator:
    """Random numbers of infill, what is told of it having been looked at."""
    mend = "give InfillLives(survival, lower, upper)"
    must_be(infill, InfillLives | NoneType, "InfillLives", "infill", PayoffError, mend)
    return random_of(seed, "infill")


def infill_order(
    sites: pd.DataFrame,
    infill: InfillLives | None = None,
    *,
    draws: int = 10_000,
    seed: int = 1,
    level: float = CONFIDENCE,
) -> InfillOrder:
    """Infill plants to order so that as many stand as were put in.

    The plants that died, less infill that already stands in their place, over the share of
    infill plants that live. Sites are taken as independent of each other.

    Parameters
    ----------
    sites
        ``site, planted`` (plants put in), ``survival, lower, upper`` (per 100, at the last visit),
        ``at_day, n_plots``, and ``infill_alive`` (plants) where there is infill. A site without
        limits is left out of the limits and of the total, and named.
    infill
        How many infill plants live; None: all are taken to live, which is said.
    draws, seed
        Size and seed of the simulation.
    level
        Confidence level of the limits of survival in ``sites``, and of those given back.

    Returns
    -------
    InfillOrder
        Plants by site and in all, with limits.

    Raises
    ------
    PayoffError
        When a column is absent, or a row holds what no site can have.

    Examples
    --------
    >>> site = {"site": ["a"], "planted": [100], "survival": [70.0], "lower": [60.0], "upper": [78.0]}
    >>> survivor.infill_order(pd.DataFrame(site)).table[["site", "dead", "dead_lower", "dead_upper"]]
      site  dead  dead_lower  dead_upper
    0    a  30.0        22.0        40.0
    """
    needed = ("site", "planted", "survival", "lower", "upper")
    check_level(level)
    columns_of(sites, needed, "sites", PayoffError, f"give a row a site with {', '.join(needed)}")
    _check_sites(sites)
    draws, random = draws_of(draws, PayoffError), _infill_random(infill, seed)
    lives = 1.0 if infill is None else infill.survival
    living = np.ones(draws) if infill is None else infill.drawn(draws, random)
    rows: list[dict[str, Any]] = []
    dead_of, order_of = np.zeros(draws), np.zeros(draws)  # of all sites
    for line in sites.to_dict("records"):
        planted, standing = float(line["planted"]), float(line.get("infill_alive") or 0.0)
        alive, low, high = (float(line[name]) / 100 for name in ("survival", "lower", "upper"))
        row = {"site": line["site"], "planted": planted, "at_day": line.get("at_day")}
        row |= {"infill_alive": standing, "n_plots": line.get("n_plots"), "note": ""}
        drawn = draw_share(alive, low, high, draws, random_of(seed, str(line["site"])), level)
        if np.isnan(drawn).any():
            row["note"] = "no limits can be given, so it is not in the total"
        else:
            dead = planted * (1 - drawn)
            order = np.maximum(dead - standing, 0.0) / living
            dead_of, order_of = dead_of + dead, order_of + order
            row["dead"], row["dead_lower"], row["dead_upper"] = (
                planted * (1 - share) for share in (alive, high, low)
            )
            row["to_order"] = max(row["dead"] - standing, 0.0) / lives
            row["lower"], row["upper"] = ends_of(order, level)
        rows.append(row)
    orders = [row for row in rows if not row["note"]]
    if len(orders) > 1:
        summed = ("planted", "infill_alive", "dead", "to_order")
        total: dict[str, Any] = {name: sum(float(row[name]) for row in orders) for name in summed}
        total["dead_lower"], total["dead_upper"] = ends_of(dead_of, level)
        total["lower"], total["upper"] = ends_of(order_of, level)
        total["n_plots"] = sum(int(row["n_plots"] or 0) for row in orders)
        rows.append({"site": ALL_SITES, **total, "note": ""})
    table = with_level(pd.DataFrame(rows, columns=_ORDERED), level)
    unknown = "How many infill plants live is not known: one is ordered for each dead plant."
    checks = (unknown,) if infill is None else ()
    return InfillOrder(table, checks, all_live=infill is None, level=float(level))
