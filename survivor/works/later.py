"""Works after planting: the hazard after their day against before, in plots of the same age without them.

A plot that got a follow-up spray on day 400 had not had it on day 399, and plants that died before
could not have had it at all. To count the plot as treated from planting on would give the treatment
the days that its plants had to live to get it (immortal time; Crowley and Hu 1977, Journal of the
American Statistical Association 72, 27-36). So risk intervals are split at the day of the work.

Where deaths are known by the visit at which they were found, an interval that spans the day of the work
does not tell on which side of it they fell. Such intervals of treated plots are left out: what follows
begins with the plants seen alive at the next visit, which no later hazard depends on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.arrays import Floats
from survivor.effects.cells import study_cells
from survivor.errors import EffectError, SurvivorError
from survivor.intervals import tally
from survivor.models.paths import PATH, Path
from survivor.models.result import Fit
from survivor.vocabulary import PLOT_KEY
from survivor.words import counted
from survivor.works.parts import Question
from survivor.works.support import per_100

SINCE: Final = "since_the_work"  # 0 before the day of the work and in plots without it, 1 after
EVER: Final = "plots_with_the_work"  # 0 or 1 from planting on: never an answer, only to hold plots equal
_KEYS: Final = list(PLOT_KEY)
_SAME_TRIP: Final = 3.0  # days within which a work and a visit are of one trip
_APART: Final = 30.0  # days between visits that bound pieces of the baseline
_MOST_PIECES: Final = 8


@dataclass(frozen=True)
class Later:
    """What a work after planting goes with.

    Attributes
    ----------
    work
        Its name.
    day
        Median day of the work since planting, in the plots that got it.
    at_day
        Day that survival is told for.
    ratio, ratio_lower, ratio_upper, log_ratio, log_error, df, p_value
        Hazard after its day against that of plots of the same age without it.
    estimate, std_error, lower, upper
        More alive per 100 planted on ``at_day`` had every plot got it on ``day``, against none.
    before, before_lower, before_upper
        Ratio of hazards before its day between the plots that were to get it and the others: far from
        1, the plots were different to begin with. Blank where it cannot be determined.
    adjusted
        Whether plots that got it are held equal to the others as they were before (where it was not
        allocated at random).
    left_out
        Seedlings in the intervals that span its day, and deaths in them, which are left out.
    fewest_plots, n_seedlings, n_plots, n_sites
        What it rests on.
    checks
        Sentences.
    """

    work: str
    day: float
    at_day: float
    ratio: float
    ratio_lower: float
    ratio_upper: float
    log_ratio: float
    log_error: float
    df: float
    p_value: float
    estimate: float
    std_error: float
    lower: float
    upper: float
    before: float
    before_lower: float
    before_upper: float
    adjusted: bool
    left_out: tuple[int, int]
    fewest_plots: int
    n_seedlings: int
    n_plots: int
    n_sites: int
    checks: tuple[str, ...] = ()


def split_at(frame: pd.DataFrame, day: Floats, *, exact: bool = False) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Split risk intervals at the day of a work.

    Parameters
    ----------
    frame
        Risk intervals, n rows.
    day
        Day of the work in the plot of each row, days since planting; NaN where it never got it. Shape (n,).
    exact
        Whether deaths fell on ``stop_day`` itself, as where days of death are known: then a row that
        spans the day becomes two. Else it is left out, unless the day lies within three days of one of
        its visits, which are then taken as of one trip.

    Returns
    -------
    split, left_out
        Rows with ``since_the_work`` (0 or 1) and ``plots_with_the_work``; and the rows that span the day.
    """
    rows = frame.reset_index(drop=True)
    start, stop = (rows[name].to_numpy(dtype=float) for name in ("start_day", "stop_day"))
    got = np.isfinite(day)
    since = np.where(got & (start >= day), 1.0, 0.0)
    spans = got & (start < day) & (day < stop)
    rows = rows.assign(**{SINCE: since, EVER: got.astype(float)})
    if exact:
        first = rows[spans].assign(stop_day=day[spans], died=0)
        second = rows[spans].assign(start_day=day[spans], **{SINCE: 1.0})
        both = pd.concat([rows[~spans], first, second])
        return both.sort_index(kind="stable").reset_index(drop=True), rows.iloc[:0]
    begun = spans & (day - start <= _SAME_TRIP)
    rows.loc[begun, SINCE] = 1.0
    left_out = spans & ~begun & (stop - day > _SAME_TRIP)
    return rows[~left_out].reset_index(drop=True), rows[left_out]


def effect_of(
    frame: pd.DataFrame,
    later: pd.DataFrame,
    work: str,
    terms: Sequence[str],
    question: Question,
    at_random: bool,
) -> Later:
    """Tell what a work after planting goes with.

    Parameters
    ----------
    frame
        Risk intervals.
    later
        site, block, plot, work, day.
    work
        Which of them.
    terms
        Terms held equal, such as those of works before planting.
    question
        The day, strata, clusters and further terms.
    at_random
        Whether it was drawn which plots got it; else they are held equal to the others as they were before.

    Raises
    ------
    EffectError
        When no stratum has plots with the work and others of the same age without it, or nothing was
        seen after its day.
    """
    own = later[later["work"] == work].set_index(_KEYS)["day"]
    keys = pd.MultiIndex.from_frame(frame[_KEYS].astype(str))
    day = pd.Series(own.reindex(keys).to_numpy(dtype=float))
    split, left_out = split_at(frame, day.to_numpy())
    here = _compared(split, question)
    after = here[here[SINCE] == 1]
    if after.empty:
        raise EffectError(
            f"no {question.place} has plots with {work} and others of the same age without it, watched after "
            "its day",
            where="works diary",
            mend=f"leave some plots of every {question.place} without it, drawn at random",
        )
    usual = float(own.median())
    at = _day_told(after, question.at, usual)
    pieces = _pieces(here, own[own <= at].to_numpy(dtype=float))
    more = [] if at_random else [EVER]
    fitted = question.fit(here, [*terms, *more, SINCE], pieces=pieces)
    line = _term(fitted, SINCE)
    before = _before(here, own, terms, question)
    counts = tally(here)
    plots = here.drop_duplicates(_KEYS)[EVER]
    lost = (int(left_out["at_risk"].sum()), int(left_out["died"].sum()))
    return Later(
        work=work,
        day=usual,
        at_day=at,
        ratio=float(np.exp(line["estimate"])),
        ratio_lower=float(np.exp(line["lower"])),
        ratio_upper=float(np.exp(line["upper"])),
        log_ratio=line["estimate"],
        log_error=line["std_error"],
        df=line["df"],
        p_value=line["p_value"],
        **_standardised(fitted, usual, at, question),
        before=before[0],
        before_lower=before[1],
        before_upper=before[2],
        adjusted=not at_random,
        left_out=lost,
        fewest_plots=int(min(plots.sum(), len(plots) - plots.sum())),
        n_seedlings=counts["seedlings"],
        n_plots=counts["plots"],
        n_sites=counts["sites"],
        checks=(*_said(lost), *fitted.noticed),
    )


def _term(fitted: Fit, term: str) -> dict[str, float]:
    """Numbers of one term of a fit, on the log scale."""
    row = fitted.table[fitted.table["term"] == term].iloc[0]
    return {name: float(row[name]) for name in ("estimate", "std_error", "df", "lower", "upper", "p_value")}


def _said(lost: tuple[int, int]) -> tuple[str, ...]:
    if not lost[0]:
        return ()
    return (
        "Intervals between visits that span the day of the work are left out: "
        f"{counted(lost[0], 'seedling')} at risk in them; {lost[1]} of these died on a side of it "
        "that nobody knows.",
    )


def _compared(split: pd.DataFrame, question: Question) -> pd.DataFrame:
    """Keep the strata that hold plots with the work, seen after it, and plots without."""
    names = list(question.strata)
    if not names:
        return split if split[EVER].nunique() > 1 else split.iloc[:0]
    groups = split.groupby([split[name].astype(str) for name in names])
    both = (groups[EVER].transform("nunique") > 1) & (groups[SINCE].transform("max") > 0)
    return split[both].reset_index(drop=True)


def _day_told(after: pd.DataFrame, asked: float, usual: float) -> float:
    """Return the day asked for where it lies after the work; else the last that half of the plots reached."""
    last = after.groupby(_KEYS, observed=True)["stop_day"].max()
    return asked if asked > usual and asked <= last.max() else float(last.median())


def _pieces(frame: pd.DataFrame, days: Floats) -> list[float]:
    """Boundaries of the baseline: visits some weeks apart, and the day of the work.

    Hazards change with age, and what follows the work is set beside plots of the same age: the baseline
    has to follow age as finely as the visits do.
    """
    stops = np.unique(frame["stop_day"].to_numpy(dtype=float))
    marks = [float(np.median(days))] if len(days) else []
    for stop in stops[:-1]:
        if all(abs(stop - mark) >= _APART for mark in marks):
            marks.append(float(stop))
    marks = sorted(mark for mark in marks if 0 < mark < stops[-1])
    while len(marks) > _MOST_PIECES:
        gaps = np.diff(marks)
        marks.pop(int(gaps.argmin()) + 1)
    return marks


def _standardised(fitted: Fit, day: float, at: float, question: Question) -> dict[str, float]:
    """More alive per 100 at ``at`` had all plots got the work on ``day``, against none of them."""
    cells = study_cells(fitted, [SINCE], question.population)
    source = pd.DataFrame({SINCE: [0.0, 1.0]})
    with_it = Path(source, (day, np.inf), (0, 1), (), "")
    without = Path(source, (np.inf,), (0,), (), "")
    share = cells.plants / cells.plants.sum()
    stacked = pd.concat([cells.frame, cells.frame], ignore_index=True)
    stacked[PATH] = pd.Series([with_it] * len(share) + [without] * len(share), dtype=object)
    found = fitted.average_survival(stacked, np.concatenate([share, -share])[None], at)
    told = per_100(found)
    return {name: told[name] for name in ("estimate", "std_error", "lower", "upper")}


def _before(
    frame: pd.DataFrame, days: pd.Series[Any], terms: Sequence[str], question: Question
) -> tuple[float, float, float]:
    """Ratio of hazards before the work between the plots that were to get it and the others."""
    early = frame[(frame[SINCE] == 0) & (frame["stop_day"] <= days.min() + _SAME_TRIP)].reset_index(drop=True)
    unknown = (np.nan, np.nan, np.nan)
    if early.empty or early[EVER].nunique() < 2:
        return unknown
    try:
        fitted = question.fit(early, [*terms, EVER])
    except SurvivorError:  # too few died before the work: the check is printed as not known
        return unknown
    line = _term(fitted, EVER)
    ratio, lower, upper = (float(np.exp(line[name])) for name in ("estimate", "lower", "upper"))
    return ratio, lower, upper
