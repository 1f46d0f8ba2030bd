"""Plants to put in for the stems wanted, and infill to order for the plants that died."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from survivor.costs.draws import draw_share
from survivor.costs.quantiles import TAILS
from survivor.effects.limits import Floats
from survivor.effects.standardise import Standardised
from survivor.errors import PayoffError

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ALL_SITES = "all sites"


@dataclass(frozen=True, repr=False)
class StemsNeeded:
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
    """

    by: str
    at_day: float
    target: float
    table: pd.DataFrame
    checks: tuple[str, ...]

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw plants needed per hectare with their limits."""
        from survivor.figures.stocking import draw_stems

        return draw_stems(self.table.rename(columns={self.by: "method"}), ax)

    def __repr__(self) -> str:
        return self.table.to_string(index=False)

    def _repr_html_(self) -> str:
        return str(self.table.to_html(index=False))


@dataclass(frozen=True)
class InfillLives:
    """Share of infill plants alive on their own clock, 0 to 1, with limits; NaN: not known."""

    survival: float
    lower: float
    upper: float


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
        Survival by method, from ``survivor.survival``.
    target
        Living stems wanted per hectare.
    planted
        Plants put in per hectare by method, for what stands now and the infill that is missing.
    infill
        How many infill plants live; None: as first plants of the method do.
    draws, seed
        Size and seed of the simulation for the limits of infill.

    Raises
    ------
    PayoffError
        When the target is not above nought.
    """
    if not 0 < target < np.inf:
        raise PayoffError(
            f"a target of {target:g} stems per hectare cannot be used",
            where="target",
            mend="give stems above 0",
        )
    rng = np.random.default_rng(seed)
    rows = []
    for line in standard.table.to_dict("records"):
        alive, low, high = (float(line[name]) / 100 for name in ("estimate", "lower", "upper"))
        row: dict[str, Any] = {
            standard.by: line[standard.by],
            "survival": 100 * alive,
            "target": target,
            "plants_needed": _over(target, alive),
            "lower": _over(target, high),
            "upper": _over(target, low),
        }
        stems = (planted or {}).get(line[standard.by])
        if stems is not None:
            row |= _standing(float(stems), target, (alive, low, high), infill, draws, rng)
        rows.append(row)
    columns = [
        standard.by,
        "survival",
        "target",
        "plants_needed",
        "lower",
        "upper",
        "planted",
        "standing",
        "standing_lower",
        "standing_upper",
        "short",
        "infill_needed",
        "infill_lower",
        "infill_upper",
    ]
    table = pd.DataFrame(rows, columns=columns).assign(at_day=standard.at_day)
    checks = [] if infill is not None else ["Infill is taken to live as first plants of the preparation do."]
    return StemsNeeded(standard.by, standard.at_day, float(target), table, tuple(checks if planted else ()))


def _over(target: float, alive: float) -> float:
    return target / alive if alive > 0 else float("inf") if alive == 0 else float("nan")


def _standing(
    stems: float,
    target: float,
    alive: tuple[float, float, float],
    infill: InfillLives | None,
    draws: int,
    rng: np.random.Generator,
) -> dict[str, float]:
    standing = stems * alive[0]
    short = max(target - standing, 0.0)
    drawn = draw_share(*alive, draws, rng)
    lives = alive[0] if infill is None else infill.survival
    living = drawn if infill is None else _lives(infill, draws, rng)
    with np.errstate(divide="ignore"):
        needed = np.maximum(target - stems * drawn, 0.0) / living
    low, high = _ends(needed)
    return {
        "planted": stems,
        "standing": standing,
        "standing_lower": stems * alive[1],
        "standing_upper": stems * alive[2],
        "short": short,
        "infill_needed": _over(short, lives) if short > 0 else 0.0,
        "infill_lower": low,
        "infill_upper": high,
    }


def _lives(infill: InfillLives, draws: int, rng: np.random.Generator) -> Floats:
    drawn = draw_share(infill.survival, infill.lower, infill.upper, draws, rng)
    return drawn if np.isfinite(drawn).all() else np.full(draws, infill.survival)


def _ends(drawn: Floats) -> tuple[float, float]:
    if np.isnan(drawn).any():
        return float("nan"), float("nan")
    ordered = np.sort(drawn)
    # Nearest draws, not between them: a draw without end would make a blank of its neighbour.
    low, high = (ordered[round((len(drawn) - 1) * tail)] for tail in TAILS)
    return float(low), float(high)


@dataclass(frozen=True, repr=False)
class InfillOrder:
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
    """

    table: pd.DataFrame
    checks: tuple[str, ...]
    all_live: bool = False

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the plants to order at each site with their limits."""
        from survivor.figures.stocking import draw_order

        return draw_order(self.table, ax)

    def __repr__(self) -> str:
        return self.table.to_string(index=False)

    def _repr_html_(self) -> str:
        return str(self.table.to_html(index=False))


def infill_order(
    sites: pd.DataFrame, infill: InfillLives | None = None, *, draws: int = 10_000, seed: int = 1
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
    """
    rng = np.random.default_rng(seed)
    lives = 1.0 if infill is None else infill.survival
    living = np.ones(draws) if infill is None else _lives(infill, draws, rng)
    rows: list[dict[str, Any]] = []
    total_dead, total_order = np.zeros(draws), np.zeros(draws)
    for line in sites.to_dict("records"):
        planted, standing = float(line["planted"]), float(line.get("infill_alive") or 0.0)
        alive, low, high = (float(line[name]) / 100 for name in ("survival", "lower", "upper"))
        row = {
            "site": line["site"],
            "planted": planted,
            "at_day": line.get("at_day"),
            "infill_alive": standing,
            "n_plots": line.get("n_plots"),
        }
        drawn = draw_share(alive, low, high, draws, rng)
        if np.isnan(drawn).any():
            rows.append({**row, "note": "no limits can be given, so it is not in the total"})
            continue
        dead = planted * (1 - drawn)
        order = np.maximum(dead - standing, 0.0) / living
        total_dead += dead
        total_order += order
        rows.append(
            {
                **row,
                "dead": planted * (1 - alive),
                "dead_lower": planted * (1 - high),
                "dead_upper": planted * (1 - low),
                "to_order": max(planted * (1 - alive) - standing, 0.0) / lives,
                "lower": _ends(order)[0],
                "upper": _ends(order)[1],
                "note": "",
            }
        )
    told = [row for row in rows if not row["note"]]
    if len(told) > 1:
        dead_low, dead_high = _ends(total_dead)
        low, high = _ends(total_order)
        rows.append(
            {
                "site": ALL_SITES,
                **{
                    name: sum(float(row[name]) for row in told)
                    for name in ("planted", "infill_alive", "dead", "to_order")
                },
                "dead_lower": dead_low,
                "dead_upper": dead_high,
                "lower": low,
                "upper": high,
                "n_plots": sum(int(row["n_plots"] or 0) for row in told),
                "note": "",
            }
        )
    columns = [
        "site",
        "planted",
        "at_day",
        "dead",
        "dead_lower",
        "dead_upper",
        "infill_alive",
        "to_order",
        "lower",
        "upper",
        "n_plots",
        "note",
    ]
    checks = []
    if infill is None:
        checks.append("How many infill plants live is not known: one is ordered for each dead plant.")
    return InfillOrder(pd.DataFrame(rows, columns=columns), tuple(checks), all_live=infill is None)
