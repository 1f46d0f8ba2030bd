"""Whether a preparation's ratio of hazards is the same all season, and its ratio in each period.

The grouped model takes the ratio as the same in every period of the season. The F test
of period by method decides whether the records speak against that; effects by period
are printed whatever it says, since a test of few plots misses much.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from survivor.arguments import amount
from survivor.effects.cells import check_by, check_name
from survivor.errors import ModelError
from survivor.models.by_period import fit_by_period, level_of_term
from survivor.models.clusters import WaldTest
from survivor.models.cox import scaled_residuals
from survivor.models.one_ratio import said_of_one_ratio
from survivor.models.result import Fit, check_fit, coefficient_table
from survivor.shown import Shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from survivor.figures.style import Drawing


@dataclass(frozen=True, repr=False)
class Hazards(Shown):
    """Ratios of hazards by period.

    Attributes
    ----------
    by
        Column of levels.
    table
        ``period, <by>, against, estimate, std_error, df, lower, upper, p_value`` (log
        scale), ``hazard_ratio`` with ``_lower`` and ``_upper``, and ``deaths`` of the
        level in the period, those found dead after a stretch across periods shared out.
        Limits are t limits of the one ratio, not adjusted.
    test
        F test that each level has one ratio in all periods.
    variance
        Kind of the limits.
    checks
        Plain sentences.
    """

    by: str
    table: pd.DataFrame
    test: WaldTest
    variance: str
    checks: tuple[str, ...]

    @property
    def periods(self) -> tuple[str, ...]:
        """Periods in order."""
        return tuple(dict.fromkeys(self.table["period"]))

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the ratio of each level in each period with its limits."""
        from survivor.figures.hazards import draw_hazards

        return draw_hazards(self.table.rename(columns={self.by: "method"}), ax)


def hazards(fit: Fit, by: str = "method") -> Hazards:
    """Ratios of hazards to the first level of ``by`` in each period, and their F test.

    Parameters
    ----------
    fit
        A grouped fit whose formula holds ``by`` outside of interactions; the periods are
        the pieces of its baseline.
    by
        Column of methods.

    Returns
    -------
    Hazards

    Raises
    ------
    ModelError, EffectError
        When ``by`` is no column, the fit is not a grouped one or has fewer than two periods with deaths.

    Examples
    --------
    >>> found = survivor.hazards(survivor.fit(intervals, "method", pieces=[180]))
    >>> round(found.test.p_value, 2)  # one ratio in both periods
    0.45
    """
    check_fit(fit)
    check_name(by)
    found = fit_by_period(fit, by)
    others, periods = found.levels[1:], found.periods
    names = np.repeat(periods, len(others))
    estimate, std_error, df = (part.T.ravel() for part in (found.estimate, found.std_error, found.df))
    table = coefficient_table(names.tolist(), estimate, std_error, df, fit.variance, "hazard_ratio")
    table = table.rename(columns={"term": "period"}).drop(columns="variance")
    for place, (name, levels) in enumerate(((by, others), ("against", found.levels[:1] * len(others)))):
        table.insert(1 + place, name, pd.Series([*levels] * len(periods), dtype=fit.data[by].dtype))
    table["deaths"] = found.deaths[1:].T.ravel()
    return Hazards(by, table, found.proportional, fit.variance, found.checks)


@dataclass(frozen=True, repr=False)
class ResidualRounds(Shown):
    """Scaled Schoenfeld residuals, averaged over rounds of visits.

    Attributes
    ----------
    by
        Column of levels.
    table
        ``<by>, day`` (mean age at death of the round), ``first_day, last_day, deaths``
        (of all levels in the round), ``estimate`` (the residuals' average: the log
        hazard ratio of that round, roughly) and ``overall`` (the fit's).
    fit
        The Cox fit, asked by ``checks``.
    """

    by: str
    table: pd.DataFrame
    fit: Fit = field(repr=False)

    @property
    def checks(self) -> tuple[str, ...]:
        """Whether the records speak against one ratio all season; the drawing shows how."""
        return said_of_one_ratio(self.fit, self.by)

    def plot(self) -> Drawing:
        """Draw a panel a level: points that rise or fall are a ratio that changes with age."""
        from survivor.figures.hazards import residuals_figure

        return residuals_figure(self.table.rename(columns={self.by: "method"}))


def residual_rounds(fit: Fit, by: str = "method", gap: float = 15.0) -> ResidualRounds:
    """Scaled Schoenfeld residuals of each level of ``by``, averaged over each round of visits.

    Parameters
    ----------
    fit
        A Cox fit whose formula holds ``by``.
    by
        Column of methods.
    gap
        Days of death that follow one another by this many days or fewer are one round.

    Returns
    -------
    ResidualRounds

    Raises
    ------
    ModelError, EffectError
        When the fit is not a Cox one or does not hold ``by``, or the gap is none.

    Examples
    --------
    >>> found = survivor.residual_rounds(survivor.fit(intervals, "method", model="cox"))
    >>> found.table[["method", "day", "deaths"]]
      method    day  deaths
    0  auger  180.0    97.0
    1  auger  365.0    82.0
    2    rip  180.0    97.0
    3    rip  365.0    82.0
    >>> drawing = found.plot()  # a panel a level
    """
    check_by(fit, by)
    amount(gap, "gap", ModelError, "give days, for example gap=15", bounds=(0, float("inf")))
    rows = scaled_residuals(fit)
    rows["level"] = [level_of_term(term, by) for term in rows["term"]]
    rows = rows[rows["level"].notna()]
    days = np.unique(rows["day"])
    rounds = np.concatenate([[0], np.cumsum(np.diff(days) > gap)])
    rows = rows.assign(round=rounds[np.searchsorted(days, rows["day"])])
    rows["_scaled"], rows["_day"] = rows["scaled"] * rows["deaths"], rows["day"] * rows["deaths"]
    order = {level: place for place, level in enumerate(dict.fromkeys(rows["level"]))}
    rows = rows.sort_values(
        ["level", "round"], key=lambda part: part.map(order) if part.name == "level" else part
    )
    grouped = rows.groupby(["level", "round"], sort=False)
    summed = grouped[["deaths", "_scaled", "_day"]].sum()
    terms = zip(fit.table["term"], fit.table["estimate"], strict=True)
    overall = {level_of_term(term, by): estimate for term, estimate in terms}
    table = pd.DataFrame(
        {
            "day": summed["_day"] / summed["deaths"],
            "first_day": grouped["day"].min(),
            "last_day": grouped["day"].max(),
            "deaths": summed["deaths"],
            "estimate": summed["_scaled"] / summed["deaths"],
        }
    ).reset_index()
    table["overall"] = table["level"].map(overall)
    told = table.drop(columns="round").rename(columns={"level": by})
    return ResidualRounds(by, told, fit)
