"""Does it matter when: lead time of weed control, its passes, and ripping dry against wet.

Only plots of the same works in the same stratum are set against each other: every cell of works and
stratum has its own level, so nothing is learned from works that usually begin early. Where plots of the
same works all had the same time, the question is refused with its reason.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.effects.contrasts import LEAST_PLOTS, contrasts
from survivor.effects.response import Answer, ResponseModel, Spread, choose_curve, spread_of
from survivor.errors import EffectError
from survivor.intervals import entries, tally
from survivor.models.fit import fit
from survivor.vocabulary import PLOT_KEY, REFUSED
from survivor.works.columns import LEAD, PASSES, PATTERN, RIP_SOIL
from survivor.works.parts import Question
from survivor.works.support import per_100

DRY, WET = "dry", "wet"
_LEAST_SPREAD: Final = {LEAD: 0.5, PASSES: 0.3}  # months, passes: standard deviation within cells
_STEP: Final = 1.0  # month
_DISTINCT: Final = 4  # times, from which a curve can be told from a line
_FEWEST: Final = 2 * LEAST_PLOTS  # plots in cells where the time differs


@dataclass(frozen=True)
class Timing:
    """What a time, or a state of the soil, goes with.

    Attributes
    ----------
    key
        ``lead_months``, ``passes`` or ``rip_soil``.
    low, high
        The values compared: the difference is of the second less the first.
    estimate, std_error, df, lower, upper, p_value
        Difference in survival per 100 planted between them.
    curve
        ``<key>, estimate, lower, upper`` per 100 planted, where a time is a number; else empty.
    shape
        ``spline``, ``line`` or ``groups``.
    n_seedlings, n_plots, n_sites, fewest_plots
        What it rests on; plots of the arm with fewer.
    checks
        Sentences.
    """

    key: str
    low: Any
    high: Any
    estimate: float
    std_error: float
    df: float
    lower: float
    upper: float
    p_value: float
    shape: str
    n_seedlings: int
    n_plots: int
    n_sites: int
    fewest_plots: int
    curve: pd.DataFrame = field(default_factory=pd.DataFrame)
    checks: tuple[str, ...] = ()


def lead_time(frame: pd.DataFrame, question: Question) -> Timing:
    """Tell how survival goes with the months from the first weed control to planting.

    Raises
    ------
    EffectError
        When plots of the same works in one stratum all had the same lead.
    """
    return _along(frame, LEAD, question, "weed control begun at the same time before planting")


def passes(frame: pd.DataFrame, question: Question) -> Timing:
    """Tell how survival goes with the passes of weed control before planting.

    Raises
    ------
    EffectError
        When plots of the same works in one stratum all had as many.
    """
    return _along(frame, PASSES, question, "as many passes of weed control")


def _along(frame: pd.DataFrame, column: str, question: Question, alike: str) -> Timing:
    known = frame[frame[column].notna()].reset_index(drop=True)
    if known.empty:
        raise EffectError(
            "no plot has a day of weed control before planting",
            where="works diary",
            mend="write the days of weed control into the diary",
        )
    cells = (*question.sites, PATTERN)
    known = _overlapping(known, column, cells)
    spread = spread_of(known, column, cells) if len(known) else None
    if spread is None or len(spread.plots) < _FEWEST or spread.within_sd_m < _LEAST_SPREAD[column]:
        raise EffectError(
            f"plots of the same works in one {question.sites[-1]} had {alike}, or nearly so",
            where="works diary",
            mend=f"vary it between plots of the same works in one {question.sites[-1]}",
        )
    enough = column == LEAD and len(spread.distinct) >= _DISTINCT
    beside = [LEAD] if column == PASSES and known[LEAD].notna().all() else []
    curve, _ = choose_curve(spread, column, "spline" if enough else "line")
    said = ("The lead time is held equal between numbers of passes.",) if beside else ()
    model = ResponseModel("grouped", (*question.others, *beside), cells, question.cluster, None, None, ())
    points = _points(spread, column)
    answer = Answer(model, curve, points, question.at, question.population)
    fitted = model.fit(known, curve)
    terms = [term for term in map(str, fitted.table["term"]) if term.split("[")[0] in curve.terms]
    bends = [term for term in terms if term in curve.bends]
    if bends and not fitted.test(bends).p_value < 0.05:  # a bend that is not shown is noise
        curve = type(curve)("line", column, ())
        answer = replace(answer, curve=curve)
        fitted = model.fit(known, curve)
        said = (*said, "A curve fits no better than a straight line, which is what is told.")
    found = answer.last_less_first(fitted)
    response = answer.response(fitted).rename(columns={curve.column: column})
    counts = tally(known)
    values = spread.plots[column].to_numpy(dtype=float)
    middle = (points[0] + points[-1]) / 2
    return Timing(
        key=column,
        low=float(points[0]),
        high=float(points[-1]),
        **per_100(found),
        shape=curve.shape,
        **{f"n_{unit}": counts[unit] for unit in ("seedlings", "plots", "sites")},
        fewest_plots=int(min((values <= middle).sum(), (values > middle).sum())),
        curve=response[[column, "estimate", "lower", "upper"]],
        checks=(*said, *fitted.noticed),
    )


def _overlapping(frame: pd.DataFrame, column: str, cells: Sequence[str]) -> pd.DataFrame:
    """Keep the cells of works and stratum whose plots differ in something: the others tell nothing of it."""
    names = list(cells)
    plots = entries(frame).drop_duplicates(list(PLOT_KEY))
    differ = plots.groupby([plots[name].astype(str) for name in names])[column].nunique() > 1
    keys = pd.MultiIndex.from_arrays([frame[name].astype(str) for name in names])
    own = differ.index if len(names) > 1 else pd.MultiIndex.from_arrays([differ.index])
    return frame[keys.isin(own[differ.to_numpy()])].reset_index(drop=True)


def _points(spread: Spread, column: str) -> Any:
    """Months to answer for, within the 5 to 95 % range of plots; or the fewest passes and one more."""
    if column == PASSES:
        return spread.distinct[0] + np.array([0.0, 1.0])
    low, high = spread.range()
    inner = np.arange(np.ceil(low / _STEP), np.floor(high / _STEP) + 1) * _STEP
    return inner if len(inner) > 1 else np.array([low, high])


def dry_or_wet(frame: pd.DataFrame, question: Question) -> Timing:
    """Compare ripping when the soil was dry with ripping when it was wet, plots of the same works.

    Raises
    ------
    EffectError
        When no stratum has plots of the same works ripped dry and wet.
    """
    told = frame[frame[RIP_SOIL].isin((DRY, WET))].reset_index(drop=True)
    if told.empty or told[RIP_SOIL].nunique() < 2:
        only = "" if told.empty else f": all were {told[RIP_SOIL].iloc[0]}"
        raise EffectError(
            f"the diary does not tell of plots ripped dry and of others ripped wet{only}",
            where="works diary",
            mend="write the state of the soil when ripped: dry, moist or wet",
        )
    cells = (*question.sites, PATTERN)
    told = _overlapping(told, RIP_SOIL, cells)
    if told.empty:
        raise EffectError(
            f"no {question.sites[-1]} has plots of the same works ripped dry and others ripped wet",
            where="works diary",
            mend=f"rip plots of the same works in one {question.sites[-1]} dry and wet, drawn at random",
        )
    told[RIP_SOIL] = pd.Categorical(told[RIP_SOIL], categories=[WET, DRY])
    fitted = fit(
        told, " + ".join([RIP_SOIL, *question.others]), strata=list(cells), cluster=list(question.cluster)
    )
    found = contrasts(fitted, by=RIP_SOIL, at=question.at, against=WET, population=question.population)
    line = found.table.iloc[0]
    if line["basis"] == REFUSED:
        raise EffectError(str(line["reason"]), where="works diary")
    names = ("estimate", "std_error", "df", "lower", "upper", "p_value")
    counts = ("n_seedlings", "n_plots", "n_sites", "fewest_plots")
    numbers: dict[str, Any] = {name: float(line[name]) for name in names}
    numbers |= {name: int(line[name]) for name in counts}
    checks = (*fitted.noticed, *found.checks)
    return Timing(key=RIP_SOIL, low=WET, high=DRY, shape="groups", checks=checks, **numbers)
