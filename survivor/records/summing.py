"""Seedlings of a plot summed stretch by stretch: what an analysis of a register reads.

Most answers read only how many were seen alive on one day and looked at again on another, and how many of
these had died. A few follow a seedling: to the visit nearest to a milestone, to the day on which it was
first seen. Where all seedlings of a plot, species and planting are followed from planting, and no two
visits lie close together or within one milestone's window, these answers are those of the sums as well.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.arrays import Codes
from survivor.entry import watched_late
from survivor.frames import same_histories
from survivor.intervals import ENTRY_GROUP, row_codes
from survivor.records.frames import INTERVAL_ORDER, likely_causes
from survivor.records.renaming import ordered
from survivor.settings import Milestone
from survivor.vocabulary import FIRST_PLANTING, PLANTS, PLOT_KEY

_CLOSE: Final = 30.0  # days; visits of a plot nearer to each other are told apart seedling by seedling
_TOGETHER: Final = tuple(name for name in ENTRY_GROUP if name != "tag")
_SUMMED: Final = ("at_risk", "died")
_OF_STRETCH: Final = ("start_day", "stop_day", "start_date", "stop_date")
_OF_RECORD: Final = ("tag", "row", PLANTS)


def one_a_past(table: pd.DataFrame, facts: Codes) -> pd.DataFrame:
    """Keep one seedling for those of a plot with the same stretches, and how many they are.

    Parameters
    ----------
    table
        entry, start_day, stop_day, at_risk, died of tagged seedlings; the rows of one stand together, in
        order.
    facts
        What else tells seedlings apart, a number an entry (0, 1, ...).
    """
    if table.empty:
        return table
    entry = table["entry"].to_numpy()
    unit = np.cumsum(np.append(False, entry[1:] != entry[:-1]))
    rows = [facts[entry], table["start_day"], table["stop_day"], table["died"] > 0]
    history, first, _ = same_histories(unit, row_codes(rows, in_order=False)[0])
    opening = np.concatenate([[True], unit[1:] != unit[:-1]])
    number = np.bincount(history, weights=table["at_risk"].to_numpy(float)[opening]).astype(np.int64)
    kept = np.zeros(len(history), dtype=bool)
    kept[first] = True
    mine = kept[unit]
    out: pd.DataFrame = table[mine].reset_index(drop=True)
    times = number[history[unit[mine]]]
    return out.assign(at_risk=times, died=times * (out["died"].to_numpy() > 0))


def may_be_summed(table: pd.DataFrame) -> bool:
    """Whether survival is told from planting; else every seedling counts from the day it was first seen."""
    first = table[table["cohort"] == FIRST_PLANTING]
    return not first.empty and not watched_late(first)


def summed(table: pd.DataFrame, milestones: Iterable[Milestone]) -> pd.DataFrame:
    """Sum the rows of a plot, species and planting over its seedlings, where no answer needs to follow one.

    Parameters
    ----------
    table
        Risk intervals of tagged seedlings, in order.
    milestones
        Those of the study file.

    Returns
    -------
    DataFrame
        As ``table``, in its order; summed rows have a blank tag. Where seedlings of a plot are followed
        from different days, differ in a trait, or were visited twice within 30 days or within the window of
        a milestone, their rows are left as they are.
    """
    if table.empty:
        return table
    group = row_codes([table[name] for name in _TOGETHER], in_order=False)[0]
    apart = _followed_apart(table, group) | _visited_close(table, group, milestones)
    free = ~apart[group]
    plain = table[free].assign(tag="")
    code, first = row_codes([group[free], plain["start_day"], plain["stop_day"]], in_order=False)
    joined = plain.iloc[first]
    both = pd.concat([table[~free], joined.assign(**_sums(plain, code))], ignore_index=True)
    return ordered(both, (*INTERVAL_ORDER, "stop_day"))


def visits_summed(visits: pd.DataFrame, last_day: float, milestones: Iterable[Milestone]) -> pd.DataFrame:
    """Sum the visits of a plot over its seedlings, where no answer needs to follow one.

    Parameters
    ----------
    visits
        Tidy visits of tagged seedlings, with ``plants``.
    last_day
        Last day on which one of their risk intervals ends.
    milestones
        Those of the study file.

    Returns
    -------
    DataFrame
        As ``visits``, in their order; summed rows have a blank tag and the first row of the sheet. Left as
        they are: visits of plots with a height, with two visits within 30 days, or two in the window of a
        milestone.
    """
    if visits.empty:
        return visits
    plot = row_codes([visits[name] for name in PLOT_KEY], in_order=False)[0]
    apart = _visited_near(visits, plot, last_day, milestones)
    if "height_cm" in visits.columns:
        apart[plot[visits["height_cm"].notna().to_numpy()]] = True
    free = ~apart[plot]
    plain = visits[free]
    alike = [plain[name] for name in visits.columns if name not in _OF_RECORD]
    code, first = row_codes(alike, in_order=False)
    number = np.bincount(code, weights=plain[PLANTS].to_numpy(float)).astype(np.int64)
    summed_up = plain.iloc[first].assign(tag="", **{PLANTS: number})
    return pd.concat([visits[~free], summed_up]).sort_index(ignore_index=True)


def _visited_near(
    visits: pd.DataFrame, plot: Codes, last_day: float, milestones: Iterable[Milestone]
) -> np.ndarray[Any, Any]:
    """Find plots with two visits close together, or in what may be the window of a milestone."""
    first = (visits["cohort"] == FIRST_PLANTING).to_numpy() & visits["date"].notna().to_numpy()
    once = np.flatnonzero(first)[row_codes([plot[first], visits["date"][first], visits["day"][first]])[1]]
    own, day = plot[once], visits["day"].to_numpy(float)[once]
    apart = _close(own, day, int(plot.max()) + 1)
    # Of one planting day: else one visit is of two ages.
    planted = visits["date"].to_numpy()[once] - day.astype("timedelta64[D]")
    apart[own[1:][(own[1:] == own[:-1]) & (planted[1:] != planted[:-1])]] = True
    for milestone in milestones:
        at, window = float(milestone.day), milestone.window_days
        inside = np.abs(day - at) <= window
        if at > last_day:  # then it may be answered for the last visit of all, on this day or later
            inside |= day >= last_day - window
        apart |= np.bincount(own[inside], minlength=len(apart)) > 1
    return apart


def _close(plot: Codes, day: np.ndarray[Any, Any], plots: int) -> np.ndarray[Any, Any]:
    order = np.lexsort((day, plot))
    plot, day = plot[order], day[order]
    apart = np.zeros(plots, dtype=bool)
    apart[plot[1:][(plot[1:] == plot[:-1]) & (np.diff(day) <= _CLOSE)]] = True
    return apart


def deaths_summed(table: pd.DataFrame, visits: pd.DataFrame) -> pd.DataFrame:
    """Sum the rows on which seedlings died by preparation, stretch and likely cause.

    Parameters
    ----------
    table, visits
        Risk intervals and visits of tagged seedlings, with the tags of those that stand for others.

    Returns
    -------
    DataFrame
        As ``table``, with ``cause``; none where no visit tells a cause.
    """
    died = table[table["died"] > 0]
    if "cause" not in visits.columns:
        return died[:0].assign(cause="")
    return summed_by_cause(died.assign(tag="", cause=likely_causes(died, visits)))


def summed_by_cause(died: pd.DataFrame) -> pd.DataFrame:
    """Sum rows of deaths, each with its likely cause, by preparation, stretch and cause."""
    if died.empty:
        return died
    alike = ("method", "cohort", "planted_date", "start_day", "stop_day", "cause")
    code, first = row_codes([died[name] for name in alike], in_order=False)
    return died.iloc[first].reset_index(drop=True).assign(**_sums(died, code))


def _sums(rows: pd.DataFrame, code: Codes) -> dict[str, Any]:
    return {name: np.bincount(code, weights=rows[name].to_numpy(float)).astype(np.int64) for name in _SUMMED}


def _followed_apart(table: pd.DataFrame, group: Codes) -> np.ndarray[Any, Any]:
    """Find groups with a seedling not followed from planting, or one that differs in a trait from another."""
    apart = np.zeros(int(group.max()) + 1, dtype=bool)
    unit = row_codes([group, table["tag"]], in_order=False)[0]
    begins = np.full(int(unit.max()) + 1, np.inf)
    np.minimum.at(begins, unit, table["start_day"].to_numpy(float))
    apart[group[begins[unit] > 0]] = True
    opening = np.full(len(apart), len(table))
    np.minimum.at(opening, group, np.arange(len(table)))
    same = {*ENTRY_GROUP, *_SUMMED, *_OF_STRETCH}
    for name in (name for name in table.columns if name not in same):
        code = row_codes([table[name]], in_order=False)[0]
        apart[group[code != code[opening][group]]] = True
    return apart


def _visited_close(
    table: pd.DataFrame, group: Codes, milestones: Iterable[Milestone]
) -> np.ndarray[Any, Any]:
    """Find groups with two visits close together, or in one window of a milestone."""
    stop = table["stop_day"].to_numpy(float)
    once = row_codes([group, table["stop_day"]], in_order=False)[1]
    own, day = group[once], stop[once]
    apart = _close(own, day, int(group.max()) + 1)
    for milestone in milestones:
        # A milestone that is not reached is answered for the last visit.
        for at in {float(milestone.day), min(float(milestone.day), float(stop.max()))}:
            inside = np.abs(day - at) <= milestone.window_days
            apart |= np.bincount(own[inside], minlength=len(apart)) > 1
    return apart
