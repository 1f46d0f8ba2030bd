"""A season planned, in numbers: how large it must be, what it can show, and when things are done."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from survivor.planning.layout import compared
from survivor.planning.planfile import Plan
from survivor.planning.variation import Spread

_ENOUGH_STUDIES = 200  # limits (Wilson) at 80 of 100 are then 6 either side; with fewer, wider


@dataclass(frozen=True, repr=False)
class PlannedSeason:
    """A season planned: how large it must be, what it can show, and when things are done.

    Attributes
    ----------
    plan
        The plan file.
    spread
        How plots and sites differ.
    plots, seedlings
        The size that the answer is for: plots of each method, seedlings of each plot;
        ``why_size`` says where it comes from. ``plots`` is 0 where the budget buys no
        two plots of each method. Where sites cannot take every method, power and limits are
        those of the comparison with the fewest blocks, ``compared``.
    table
        Power per 100 by plots of each method: ``plots, seedlings``, ``two_proportions``
        and ``events`` (closed forms), ``simulated, lower, upper`` (share of simulated
        seasons with 95 % CI), ``studies, unanswered``.
    needed
        Plots of each method for the power asked for, by seedlings a plot: by both closed
        forms, by the first with plots as different as the upper limit of a past study,
        and the cost of it.
    splits
        Every split of the budget; empty without costs.
    seen
        Smallest improvement (per 100) that the size shows with the power asked for; None:
        not even the survival of all.
    half_width
        Half the width of the 95 % CI to expect, per 100.
    lost
        Seasons of 100 that show the difference where one plot of ten is lost, by formula; NaN where
        there is no size.
    usual
        What seasons of a usual size would show, where this one is larger: ``plots`` of each method,
        ``power`` (seasons of 100 that show the difference) and ``seen`` (the smallest improvement,
        per 100, shown with the power asked for), by formula.
    budget_needed
        Least budget with the power asked for; None without costs, or where none is enough.
    calendar, timetable
        Visits and works of every named site.
    factorial
        In a factorial season, what it shows of each work and pair: as
        ``survivor.planning.factorial.factorial_power``; else empty.
    """

    plan: Plan
    spread: Spread
    plots: int
    seedlings: int
    why_size: str
    table: pd.DataFrame
    needed: pd.DataFrame
    splits: pd.DataFrame
    seen: float | None
    half_width: float
    lost: float
    usual: pd.DataFrame
    budget_needed: float | None
    calendar: pd.DataFrame = field(repr=False)
    timetable: pd.DataFrame = field(repr=False)
    factorial: pd.DataFrame = field(repr=False, default_factory=pd.DataFrame)

    @property
    def power(self) -> pd.Series[float] | None:
        """Row of ``table`` for the size that the answer is for; None where there is none."""
        rows = self.table[self.table["plots"] == self.compared[1]]
        if rows.empty:
            return None
        row: pd.Series[float] = rows.iloc[0]
        return row

    @property
    def compared(self) -> tuple[str, int]:
        """Method with the fewest blocks beside the usual practice, and how many."""
        return compared(self.plan, self.plots)

    @property
    def answers(self) -> bool:
        """Whether as many seasons as asked for show the difference: simulated ones, or by formula if few."""
        row = self.power
        return row is not None and self.shown >= self.plan.question.power_per_100

    @property
    def by_formula(self) -> bool:
        """Whether simulated seasons are too few to go by, so that the formula decides."""
        row = self.power
        return row is not None and float(row["studies"]) < _ENOUGH_STUDIES

    @property
    def shown(self) -> float:
        """Seasons of 100 that show the difference, which the answer goes by; 0 where there is no size."""
        row = self.power
        if row is None:
            return 0.0
        return float(row["two_proportions" if self.by_formula else "simulated"])

    @property
    def on_the_edge(self) -> bool:
        """Whether the simulation decides and its limits hold the power asked for."""
        row = self.power
        return (
            row is not None
            and not self.by_formula
            and float(row["lower"]) <= self.plan.question.power_per_100 <= float(row["upper"])
        )
