"""Preparations compared as the report compares them: one road from a table to the differences.

Seedlings of large plots count for less where plots differ much in size; the ratio of
hazards is tested for being the same all season, and where it is not, survival and
differences come from a model with a ratio for each period; pairs that share no site are
compared between sites. A report and a notebook that both take this road cannot disagree.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from survivor.effects import english as en
from survivor.effects.cells import check_name, of_levels
from survivor.effects.confounding import layout
from survivor.effects.contrasts import Contrasts, Pairs, contrasts
from survivor.effects.standardise import Standardised, survival
from survivor.errors import SurvivorError
from survivor.frames import Table, own_frame
from survivor.intervals import check_intervals, cluster_columns, entries, whole_names
from survivor.models.by_period import fit_varying
from survivor.models.clusters import WaldTest
from survivor.models.fit import Columns, Pieces, fit
from survivor.models.one_ratio import one_ratio, said_of_turning
from survivor.models.result import Fit
from survivor.models.working import INDEPENDENCE, PLOT_CORRELATION, Working
from survivor.sentences import Names, say
from survivor.shown import Shown
from survivor.vocabulary import CONFIDENCE
from survivor.words import sentence

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# 90th over 10th percentile of plants watched a plot above which plots are weighted. Below it standard errors
# would shrink by less than 7 in 100 (35 plants a plot, correlation 0.08; tests/calibration/notes.md), and
# that each seedling counts as one is the plainer target.
_UNEQUAL = 4.0


@dataclass(frozen=True)
class Ratios:
    """Which model answers: one ratio of hazards for the whole season, or one for each period.

    Attributes
    ----------
    fit
        The model to answer from.
    test
        F test that each level has one ratio in all periods; None where it could not be made.
    said
        A sentence where ratios differ, else empty.
    unfitted
        Whether ratios differ but a model that has them could not be had.
    """

    fit: Fit
    test: WaldTest | None = None
    said: str = ""
    unfitted: bool = False


@dataclass(frozen=True, repr=False)
class Comparison(Shown):
    """Levels of a column compared, with the model behind the comparison.

    Attributes
    ----------
    by, at_day
        Column of levels; days since planting.
    fit
        The model that is answered from; ``fit.by_period`` names ``by`` where ratios of hazards
        differ between periods.
    proportional
        F test that each level has one ratio all season; None where it could not be made.
    survival
        Survival of each level, standardised.
    contrasts
        Differences between levels.
    checks
        Plain sentences, those of the model, of survival and of the differences.
    """

    by: str
    at_day: float
    fit: Fit
    proportional: WaldTest | None
    survival: Standardised
    contrasts: Contrasts
    checks: tuple[str, ...]

    @property
    def table(self) -> pd.DataFrame:
        """Differences, one row a comparison; see ``Contrasts``."""
        return self.contrasts.table

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw each difference with its limits."""
        return self.contrasts.plot(ax)


def compare(
    intervals: Table,
    formula: str = "method",
    by: str = "method",
    at: float = 365,
    *,
    cluster: Columns = "plot",
    strata: Columns = "site",
    pieces: Pieces = None,
    working: Working | None = None,
    against: Any = None,
    pairs: Pairs = "against",
    population: pd.DataFrame | None = None,
    level: float = CONFIDENCE,
) -> Comparison:
    """Compare levels of ``by`` as a report does: fit, test one ratio all season, answer from what holds.

    A level with which nobody, or everybody, lived makes the model a penalised one here; a report
    tells it by its counts.

    Parameters
    ----------
    intervals
        Risk intervals of one cohort.
    formula
        Holds ``by``, for example ``"method + species"``.
    by, at
        Column of levels to compare; days since planting.
    cluster, strata, pieces
        As for ``survivor.fit``.
    working
        As for ``survivor.Grouped``; None: plots are weighted by their correlation where the 90th
        percentile of plants watched in a plot is more than 4 times the 10th.
    against, pairs, population, level
        As for ``survivor.contrasts``.

    Returns
    -------
    Comparison

    Raises
    ------
    IntervalsError, ModelError, EffectError
        As ``survivor.fit`` and ``survivor.contrasts``.

    Examples
    --------
    >>> found = compare(intervals, at=365)
    >>> found.table[["method", "against", "estimate"]].round(1).values.tolist()
    [['auger', 'usual', 10.9], ['rip', 'usual', 25.3]]
    >>> found.fit.by_period is None  # one ratio of hazards holds all season
    True
    """
    check_name(by)
    frame = own_frame(intervals)
    check_intervals(frame)
    said: list[str] = []
    if working is None:
        working, said = working_of(frame)
    if by in frame.columns:
        joined, apart = joined_by_places(frame, strata, by)
        said += apart
    else:
        joined = frame
    plain = fit(joined, formula, cluster=cluster, strata=strata, pieces=pieces, working=working)
    chosen = ratios_of(plain, by)
    alive = survival(chosen.fit, by, at, population, level)
    between = _between(frame, formula, strata, pieces, working)
    differences = contrasts(chosen.fit, by, at, against, pairs, population, between, level=level)
    heard = [*map(sentence, plain.noticed), *said, chosen.said, *alive.noticed, *differences.noticed]
    checks = tuple(dict.fromkeys(part for part in heard if part))
    return Comparison(by, float(at), chosen.fit, chosen.test, alive, differences, checks)


def joined_by_places(
    frame: pd.DataFrame, strata: Columns, by: str = "method"
) -> tuple[pd.DataFrame, list[str]]:
    """Keep the levels that some site joins to the first, the usual practice, and name the others.

    A level that shares no site with the rest cannot be distinguished from its sites by a model with
    site levels; it is compared between sites only.
    """
    if strata is None or frame[by].nunique() < 2:
        return frame, []
    places, absent = whole_names(frame, strata)
    if absent:
        return frame, []  # the fit refuses them by name
    parts = layout(frame, by, places).parts()
    first = parts[0]
    apart = [str(level) for part in parts[1:] for level in part]
    if not apart:
        return frame, []
    it = "it" if len(apart) == 1 else "them"
    joined = say(en.NOT_JOINED, names=Names(tuple(apart)), others=Names(tuple(map(str, first))))
    said = [str(joined), en.LEFT_OUT.format(them=it)]
    return of_levels(frame, by, first), said


def _between(
    frame: pd.DataFrame, formula: str, strata: Columns, pieces: Pieces, working: Working
) -> Fit | None:
    """Model of differences between sites, for pairs that share none; None where there is none to be had."""
    if strata is None or "site" not in frame.columns or frame["site"].nunique() < 2:
        return None
    try:
        return fit(frame, formula, strata=None, cluster="site", pieces=pieces, working=working)
    except SurvivorError:
        return None  # such pairs are then refused by name


def ratios_of(plain: Fit, by: str) -> Ratios:
    """Give the model with ratios by period where the F test rejects one ratio for the whole season.

    Parameters
    ----------
    plain
        A grouped fit that holds ``by``; others are given back as they are.
    by
        Column of levels.
    """
    test = one_ratio(plain, by)
    differ = said_of_turning(test, by)
    if not differ:
        return Ratios(plain, test)
    try:
        varying = fit_varying(plain, by)
        alive = survival(varying, by, at=float(plain.data["stop_day"].max())).table
    except SurvivorError as fault:
        failed = f"{differ}. A model with a ratio for each period failed: {fault.what}."
        return Ratios(plain, test, failed, unfitted=True)
    if not np.isfinite(alive["std_error"].to_numpy(dtype=float)).all():
        return Ratios(plain, test, f"{differ}. A model with a ratio for each period has no limits.", True)
    said = f"{differ}. Survival and differences come from the model with a ratio for each period."
    return Ratios(varying, test, said)


def working_of(intervals: pd.DataFrame) -> tuple[Working, list[str]]:
    """Choose how much seedlings of large and small plots count, and say so where it is not alike.

    It goes by how many plants are watched, never by who died. See ``survivor.fit``, ``working``.
    """
    if "plot" not in intervals.columns:
        return INDEPENDENCE, []
    plots = cluster_columns(intervals, "plot")
    watched = entries(intervals).groupby(plots, observed=True, dropna=False)["at_risk"].sum()
    low, high = np.percentile(watched.to_numpy(dtype=float), [10, 90])
    if not high > _UNEQUAL * low:
        return INDEPENDENCE, []
    said = (
        f"Plots differ much in how many plants are watched (10th percentile {low:.0f}, 90th {high:.0f}), so "
        "a seedling of a large plot counts for less in the models as far as seedlings of one plot are alike; "
        "if survival goes with the size of plots, survival and differences speak less of the seedlings "
        "planted and more of the plots."
    )
    return PLOT_CORRELATION, [said]
