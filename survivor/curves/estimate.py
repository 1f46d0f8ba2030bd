"""The front door of curves: intervals in, frozen curves out.

What a reader needs to be told beside a curve, in plain sentences.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import pairwise
from typing import Final, get_args

import numpy as np
import pandas as pd

from survivor.arguments import is_one_of
from survivor.arrays import Codes, Floats
from survivor.curves import between_visits
from survivor.curves.limits import (
    Scale,
    at_edges,
    by_plots,
    correlation,
    effect_of_plots,
    jackknife,
    never_rising,
    on_scale,
    replicates,
)
from survivor.curves.product_limit import (
    band_ends,
    exposures,
    greenwood,
    of_all,
    product_limit,
    refuse_short_exposure,
    risk_sets,
)
from survivor.curves.result import Curves, Estimator, Step, whole
from survivor.curves.rounds import in_rounds
from survivor.curves.samples import Sample, collect
from survivor.curves.turnbull import survival_variance, undetermined
from survivor.errors import CurveError
from survivor.frames import Table, own_frame
from survivor.intervals import check_intervals, refuse_blank_places
from survivor.words import counted

_TELLING: Final = 0.01  # a difference from Turnbull's estimate worth a sentence
_ROWS_TO_COMPARE: Final = 50_000
_SURVIVAL: Final = ("survival", "lower", "upper")
_COUNTS: Final = ("at_risk", "died")


def remarks(name: str, sample: Sample, survival: Floats, estimator: Estimator) -> list[str]:
    """Say what a reader would not see in the curve."""
    said = []
    first = float(sample.start.min())
    if first > 0:
        said.append(
            f"the watch begins on day {first:g}; survival is of those alive then, not of those planted"
        )
    _, day, count = sample.net(sample.cluster)
    late = -float(count[(count < 0) & (day > first)].sum())
    if late:
        said.append(
            f"{counted(late, 'seedling')} entered the watch after day {first:g} and "
            f"{'counts from the day it' if late == 1 else 'count from the day they'} did"
        )
    order = np.argsort(sample.start, kind="stable")
    begins, reached = sample.start[order][1:], np.maximum.accumulate(sample.stop[order])[:-1]
    for gap in np.flatnonzero(begins > reached):
        said.append(
            f"nobody was watched between days {reached[gap]:g} and {begins[gap]:g}; the curve is flat"
        )
    if sample.clustered:
        two = sample.two_plots_until
        if sample.df < 1:
            said.append("one plot only, so no limits can be given")
        elif two < sample.last_day:
            said.append(f"no limits after day {two:g}, the last on which two plots were watched")
        if sample.lonely:
            said.append(_put_together(sample.lonely))
    if estimator == "kaplan-meier":
        said += _ragged(name, sample, survival)
    return said


def _put_together(lonely: int) -> str:
    """Say how many strata hold one plot of a group only, and what was done with them."""
    if lonely == 1:
        return "1 stratum holds one plot only and was put together with others"
    return f"{lonely} strata hold one plot each and were put together with others"


def _ragged(name: str, sample: Sample, survival: Floats) -> list[str]:
    """Say where visits on different days lead Kaplan-Meier astray, with Turnbull's value beside it.

    ``estimator="turnbull"`` gives that estimate; ``align`` takes visits a few days apart as one round.
    """
    span = between_visits.ragged_end(sample)
    _, day, count = sample.net(sample.cluster)
    if (
        span is None
        or len(sample.start) > _ROWS_TO_COMPARE
        or np.any((count < 0) & (day > sample.start.min()))
    ):
        return []
    whole_curve = between_visits.fit(sample, name).estimate
    turnbull = float(whole_curve.survival(np.array([sample.last_day]))[0])
    if abs(turnbull - survival[-1]) < _TELLING:
        return []
    said = (
        f"some were last seen from day {span[0]:g} on while deaths over the same weeks were found "
        f"later, up to day {span[1]:g}: by day {sample.last_day:g} this curve says "
        f"{100 * survival[-1]:.1f} alive per 100, Turnbull's estimate, made for this, {100 * turnbull:.1f}"
    )
    return [said]


def _said_of(
    notes: tuple[str, ...], groups: Sequence[tuple[str, Sample, Floats]], estimator: Estimator
) -> tuple[str, ...]:
    """Give notes on curves, and remarks on each group."""
    said = [(name, remarks(name, sample, survival, estimator)) for name, sample, survival in groups]
    return (*notes, *together(said))


def together(said: Sequence[tuple[str, Sequence[str]]]) -> tuple[str, ...]:
    """Join what is said of several groups in the same words; one curve alone needs no name.

    Parameters
    ----------
    said
        Name of each group, and its remarks.
    """
    names: dict[str, list[str]] = {}
    for name, texts in said:
        for text in texts:
            names.setdefault(text, []).append(name)
    alone = len(said) == 1
    return tuple(text if alone else f"{'; '.join(of)}: {text}" for text, of in names.items())


def limits_in_words(
    cluster: str | Sequence[str] | None,
    strata: str | Sequence[str] | None,
    scale: Scale,
    icc: float | None,
    estimator: Estimator,
) -> str:
    """Say how the limits were made; ``icc`` is named where a curve stands at 0 or 100 %."""
    if cluster is None:
        source = "the observed information" if estimator == "turnbull" else "Greenwood's variance"
        return f"95 % CI ({scale}) from {source}, which takes seedlings as independent"
    unit = cluster if isinstance(cluster, str) else ", ".join(cluster)
    within = "" if strata is None else f" within {strata if isinstance(strata, str) else ', '.join(strata)}"
    words = (
        f"95 % CI from leaving out one {unit} at a time{within}, by t on log(-log). They are never narrower "
        "than with seedlings independent"
    )
    if icc is not None:
        words += (
            ". At 0 and 100 % they are Wilson limits on the effective number, with a correlation of "
            f"seedlings within a {unit} of {icc:.2f}"
        )
    return words


@dataclass(frozen=True)
class _Fitted:
    """One group: its rows of the table, the first being where the watch begins, and what to say."""

    table: Mapping[str, Floats]
    gaps: tuple[tuple[float, float], ...] = ()
    masses: tuple[tuple[float, float, float], ...] = ()
    gradient: float = float("nan")

    @property
    def survival(self) -> Floats:
        """Survival after the first day."""
        return self.table["survival"][1:]


def curve(
    intervals: Table,
    by: str | None = None,
    estimator: Estimator = "kaplan-meier",
    cluster: str | Sequence[str] | None = "plot",
    strata: str | Sequence[str] | None = None,
    *,
    limits: Scale = "log-log",
    align: float | None = None,
    bands: Sequence[float] | None = None,
) -> Curves:
    """Survival curves of risk intervals, with limits that respect plots.

    Keep to one cohort before calling: infill plants have a clock of their own.

    Parameters
    ----------
    intervals
        Risk intervals: ``start_day, stop_day`` (days since planting), ``at_risk,
        died`` (seedlings), and the columns named below. At risk on (start, stop]. A pandas,
        polars or Arrow table.
    by
        Column to draw curves by; None draws one.
    estimator
        ``kaplan-meier``: at visit dates, late entry allowed. ``turnbull``: deaths lie
        anywhere in (start, stop], for visits on different days. ``life-table``:
        actuarial, in ``bands``.
    cluster
        Column(s) of a plot; ``plot`` means site, block and plot where present. None:
        seedlings independent, with Greenwood's variance (for Turnbull, that of the
        observed information).
    strata
        Column(s) within which plots are compared, such as ``site``; None: one stratum.
        Limits then hold differences between sites too.
    limits
        Scale of the limits where ``cluster`` is None; with plots always ``log-log``.
    align
        Visits that follow one another by this many days or fewer are taken as one
        round on its last day; asked of a day inside a round, a curve answers for the
        round. None: days as recorded.
    bands
        Life table only: days at which bands end; None: quarters of a year.

    Returns
    -------
    Curves

    Raises
    ------
    IntervalsError
        When the table is not one of risk intervals.
    CurveError
        When a column is absent, an option is not known or does not go with another,
        or Turnbull's estimate is asked of seedlings that entered late.

    Notes
    -----
    With plots: delete-one-plot jackknife of log(-log S) within strata, t on plots less
    strata, and never narrower than the limits of independent seedlings. Where survival is
    0 or 1, Wilson limits on the effective number stand instead. No limits are given after
    the last day on which two plots were watched.

    Examples
    --------
    >>> survivor.curve(intervals, by="method").read(365)[["method", "survival"]].round(2)
      method  survival
    0  usual      0.50
    1  auger      0.62
    2    rip      0.76
    """
    intervals = own_frame(intervals)
    _check_options(intervals, estimator, cluster, limits, bands)
    refuse_blank_places(intervals, CurveError, cluster, strata)
    notes: list[str] = []
    spans: list[tuple[float, float]] = []
    if align is not None:
        intervals, spans = in_rounds(intervals, align)
        if spans:
            notes.append("visits close together are taken as one round, on the last of its days")
    labels, samples = collect(intervals, by, cluster, strata)
    names = [str(label) for label in labels]
    icc = correlation(samples) if cluster is not None else 0.0
    fitted = [
        _turnbull(sample, name, limits, icc)
        if estimator == "turnbull"
        else _product(sample, estimator, bands, limits, icc)
        for name, sample in zip(names, samples, strict=True)
    ]
    groups = tuple(zip(names, samples, (f.survival for f in fitted), strict=True))
    edges = any(np.isin(f.survival, (0.0, 1.0)).any() for f in fitted)
    masses = pd.DataFrame([mass for f in fitted for mass in f.masses], columns=["left", "right", "mass"])
    return Curves(
        table=_labelled(labels, [len(f.survival) + 1 for f in fitted], _whole_counts(fitted)),
        by=by,
        estimator=estimator,
        limits=limits_in_words(cluster, strata, limits, icc if edges else None, estimator),
        steps=tuple(
            _step(name, s, f, tuple(spans)) for name, s, f in zip(names, samples, fitted, strict=True)
        ),
        masses=_labelled(labels, [len(f.masses) for f in fitted], masses),
        largest_gradient=tuple(f.gradient for f in fitted) if estimator == "turnbull" else (),
        _samples=tuple(samples),
        _said=partial(_said_of, tuple(notes), groups, estimator),
    )


def at_last_visits(intervals: pd.DataFrame, by: str) -> pd.DataFrame:
    """Survival of each group at its own last visit, as a Kaplan-Meier curve of that group alone has it.

    Limits go by plot, as those of :func:`curve`. Nothing else of the curves is made, so that
    thousands of groups take seconds.

    Parameters
    ----------
    intervals
        Risk intervals.
    by
        Column of the groups.

    Returns
    -------
    DataFrame
        ``<by>, day, survival, lower, upper`` (0 to 1; NaN where there are no limits), one row a group.
    """
    check_intervals(intervals)
    labels, samples = collect(intervals, by, "plot", None)
    rows = [(sample.last_day, *_at_the_last(sample)) for sample in samples]
    found = pd.DataFrame(rows, columns=["day", *_SURVIVAL])
    found.insert(0, by, labels.to_numpy())
    return found


def _at_the_last(sample: Sample) -> tuple[float, float, float]:
    """Survival and its limits at the last visit."""
    days = np.unique(sample.stop)
    at_risk, died = of_all(sample, days)
    survival = product_limit(at_risk, died)
    last = float(survival[-1])
    if sample.df < 1 or sample.two_plots_until < sample.last_day:
        return last, float("nan"), float("nan")
    if last in (0.0, 1.0):
        known = at_risk if last > 0 else np.cumsum(died)
        effect = effect_of_plots(sample, correlation([sample]))
        ends = at_edges(survival[-1:], known[-1:], np.array([True]), effect, sample.df)
    else:
        without = replicates(sample, lambda s, unit, units: risk_sets(s, days, unit, units))
        varied = jackknife(survival, without, sample)
        ends = by_plots(survival, varied, sample.df, greenwood(at_risk, died))[1:]
    return last, float(ends[0][-1]), float(ends[1][-1])


def _check_options(
    intervals: pd.DataFrame,
    estimator: str,
    cluster: str | Sequence[str] | None,
    limits: str,
    bands: Sequence[float] | None,
) -> None:
    check_intervals(intervals)
    for name, value, known in (
        ("estimator", estimator, get_args(Estimator)),
        ("limits", limits, get_args(Scale)),
    ):
        if not is_one_of(value, known):
            raise CurveError(f"{name} = {value!r} is not known", mend=f"use one of: {', '.join(known)}")
    if cluster is not None and limits != "log-log":
        raise CurveError(
            f"limits by plot are on the log-log scale, not {limits}",
            mend="leave limits out, or set cluster=None",
        )
    if bands is not None and estimator != "life-table":
        raise CurveError("only a life table has bands", mend='leave bands out, or use estimator="life-table"')


def _product(
    sample: Sample, estimator: Estimator, bands: Sequence[float] | None, scale: Scale, icc: float
) -> _Fitted:
    """Kaplan-Meier or life table: both are products over columns of at risk and died."""
    gaps: tuple[tuple[float, float], ...] = ()
    life_table = estimator == "life-table"
    edges = band_ends(sample, bands) if life_table else np.unique(sample.stop)
    days = edges[1:] if life_table else edges
    count: Callable[[Sample, Floats, Codes, int], tuple[Floats, Floats]] = (
        exposures if life_table else risk_sets
    )

    def tabulate(s: Sample, unit: Codes, units: int) -> tuple[Floats, Floats]:
        return count(s, edges, unit, units)

    at_risk, died = (x[0] for x in tabulate(sample, np.zeros(len(sample.cluster), dtype=np.intp), 1))
    survival = product_limit(at_risk, died)
    if life_table:
        refuse_short_exposure(days, at_risk, died)
        gaps = tuple((float(a), float(b)) for (a, b), d in zip(pairwise(edges), died, strict=True) if d > 0)
    known = np.where(survival > 0, at_risk, np.cumsum(died))
    variance = None
    if sample.clustered and sample.df > 0:
        variance = jackknife(survival, replicates(sample, tabulate), sample)
    found = _Survival(days, survival, known, variance, greenwood(at_risk, died))
    ends = _limits(sample, sample.df, found, icc, scale)
    return _Fitted(_table(sample, days, survival, *ends, at_risk, died), gaps)


def _turnbull(sample: Sample, label: str, scale: Scale, icc: float) -> _Fitted:
    fit = between_visits.fit(sample, label)
    best = fit.estimate
    masses = tuple(
        (float(q), float(p), float(m))
        for q, p, m in zip(best.left, best.right, best.mass, strict=True)
        if m > 1e-9
    )
    first = float(sample.start.min())
    ends = {end for q, p, _ in masses for end in (q, p)} | {sample.last_day}
    days = np.array(sorted(end for end in ends if first < end < np.inf))
    survival = best.survival(days)
    known = fit.known(days)
    inside = (survival > 0) & (survival < 1)
    plain = survival_variance(fit.problem, fit.weight, best, days) / np.where(inside, survival, 1.0) ** 2
    variance, df = None, sample.df
    if sample.clustered:
        dealt = between_visits.grouped(sample)
        df = dealt.df
        if sample.df > 0:
            variance = jackknife(survival, between_visits.replicates(fit, dealt, days), dealt)
    error, lower, upper = _limits(sample, df, _Survival(days, survival, known, variance, plain), icc, scale)
    limits = never_rising(lower, upper)
    table = _table(sample, days, survival, error, *limits, *of_all(sample, days))
    return _Fitted(table, undetermined(masses), masses, best.largest_gradient)


@dataclass(frozen=True)
class _Survival:
    """Survival on days, and what its limits rest on.

    ``known``: seedlings that it rests on. ``variance``: of log(-log S) by the jackknife; None where there
    is none. ``plain``: of log S with seedlings independent.
    """

    days: Floats
    survival: Floats
    known: Floats
    variance: Floats | None
    plain: Floats


def _limits(
    sample: Sample, df: int, found: _Survival, icc: float, scale: Scale
) -> tuple[Floats, Floats, Floats]:
    """Give standard errors and limits."""
    survival, known, variance, plain = found.survival, found.known, found.variance, found.plain
    edge = np.isin(survival, (0.0, 1.0))
    if not sample.clustered:
        error = np.where(edge, np.nan, survival * np.sqrt(np.where(edge, 0.0, plain)))
        limits, ends = on_scale(survival, plain, scale), at_edges(survival, known, edge, 1.0, None)
    elif variance is None:
        none = np.full_like(survival, np.nan)
        return none, none, none
    else:
        error, lower, upper = by_plots(survival, variance, df, plain)
        limits = lower, upper
        ends = at_edges(survival, known, edge, effect_of_plots(sample, icc), df)
    limited = (found.days <= sample.two_plots_until) | (not sample.clustered)
    lower, upper = (
        np.where(limited, np.where(edge, end, limit), np.nan) for limit, end in zip(limits, ends, strict=True)
    )
    return np.where(limited, error, np.nan), lower, upper


def _table(sample: Sample, days: Floats, *columns: Floats) -> dict[str, Floats]:
    """Rows of one group from where the watch begins: survival, its error, limits, at risk, died."""
    first = float(sample.start.min())
    begin = float(sample.at_risk[sample.start == first].sum())
    names, starts = (
        ("day", "survival", "std_error", "lower", "upper", "at_risk", "died"),
        (first, 1.0, 0.0, 1.0, 1.0, begin, 0.0),
    )
    parts = zip(names, starts, (days, *columns), strict=True)
    return {name: np.concatenate([[start], values]) for name, start, values in parts}


def _step(name: str, sample: Sample, fitted: _Fitted, rounds: tuple[tuple[float, float], ...]) -> Step:
    day, survival, lower, upper = (fitted.table[name] for name in ("day", *_SURVIVAL))
    return Step(name, day, survival, lower, upper, sample.last_day, fitted.gaps, rounds)


def _whole_counts(fitted: Sequence[_Fitted]) -> pd.DataFrame:
    """Tables of groups as one, whole counts as whole numbers."""
    columns = {name: np.concatenate([f.table[name] for f in fitted]) for name in fitted[0].table}
    return pd.DataFrame({name: whole(c) if name in _COUNTS else c for name, c in columns.items()})


def _labelled(labels: pd.Series, sizes: Sequence[int], table: pd.DataFrame) -> pd.DataFrame:
    """Put the label of each row's group first; groups have so many rows each."""
    groups = labels.iloc[np.repeat(np.arange(len(sizes)), sizes)]
    table.insert(0, str(labels.name), groups.reset_index(drop=True))
    return table
