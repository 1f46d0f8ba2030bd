"""The front door of curves: intervals in, frozen curves out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import get_args

import numpy as np
import pandas as pd

from survivor.curves import between_visits
from survivor.curves.edges import correlation, effect_of_plots
from survivor.curves.kaplan_meier import greenwood, product_limit, risk_sets
from survivor.curves.life_table import band_ends, exposures, refuse_short_exposure
from survivor.curves.limits import Scale, Tabulate, at_edges, by_plots, jackknife, on_scale, replicates
from survivor.curves.remarks import limits_in_words, remarks, together
from survivor.curves.result import Curves, Estimator, whole
from survivor.curves.rounds import in_rounds
from survivor.curves.samples import Codes, FloatArray, Sample, collect
from survivor.curves.steps import Step
from survivor.curves.turnbull import survival_variance, undetermined
from survivor.errors import CurveError
from survivor.intervals import check_intervals


@dataclass(frozen=True)
class _Fitted:
    """One group: values at days after the first, and what to say."""

    days: FloatArray
    survival: FloatArray
    lower: FloatArray
    upper: FloatArray
    at_risk: FloatArray
    died: FloatArray
    gaps: tuple[tuple[float, float], ...] = ()
    masses: tuple[tuple[float, float, float], ...] = ()
    gradient: float = float("nan")


def curve(
    intervals: pd.DataFrame,
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
        died`` (seedlings), and the columns named below. At risk on (start, stop].
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
    0 or 1, or all plots are exactly alike, Wilson limits on the effective number stand
    instead. No limits are given after the last day on which two plots were watched.
    """
    _check_options(intervals, estimator, cluster, limits, bands)
    notes: list[str] = []
    spans: list[tuple[float, float]] = []
    if align is not None:
        intervals, spans = in_rounds(intervals, align)
        notes += [f"visits on days {a:g} to {b:g} are taken as one round, on day {b:g}" for a, b in spans]
    labels, samples = collect(intervals, by, cluster, strata)
    names = [str(label) for label in labels]
    icc = correlation(samples) if cluster is not None else 0.0
    fitted, said = [], []
    for name, sample in zip(names, samples, strict=True):
        if estimator == "turnbull":
            fitted.append(_turnbull(sample, name, limits, icc))
        else:
            fitted.append(_product(sample, estimator, bands, limits, icc))
        said.append((name, remarks(name, sample, fitted[-1].survival, estimator)))
    edges = any(np.isin(f.survival, (0.0, 1.0)).any() for f in fitted)
    return Curves(
        table=_table(labels, samples, fitted),
        by=by,
        estimator=estimator,
        limits=limits_in_words(cluster, strata, limits, icc if edges else None, estimator),
        notes=(*notes, *together(said)),
        steps=tuple(
            _step(name, s, f, tuple(spans)) for name, s, f in zip(names, samples, fitted, strict=True)
        ),
        masses=_masses(labels, fitted),
        largest_gradient=tuple(f.gradient for f in fitted) if estimator == "turnbull" else (),
        _samples=tuple(samples),
    )


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
        if value not in known:
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
    tabulate: Tabulate
    if estimator == "life-table":
        ends = band_ends(sample, bands)
        days = ends[1:]

        def tabulate(s: Sample, unit: Codes, units: int) -> tuple[FloatArray, FloatArray]:
            return exposures(s, ends, unit, units)
    else:
        days = np.unique(sample.stop)

        def tabulate(s: Sample, unit: Codes, units: int) -> tuple[FloatArray, FloatArray]:
            return risk_sets(s, days, unit, units)

    at_risk, died = (x[0] for x in tabulate(sample, np.zeros(len(sample.cluster), dtype=np.intp), 1))
    survival = product_limit(at_risk, died)
    if estimator == "life-table":
        refuse_short_exposure(days, at_risk, died)
        gaps = tuple((float(a), float(b)) for a, b, d in zip(ends[:-1], ends[1:], died, strict=True) if d > 0)
    known = np.where(survival > 0, at_risk, np.cumsum(died))
    plain = greenwood(at_risk, died)
    if sample.clustered:
        variance = jackknife(survival, replicates(sample, tabulate), sample) if sample.df > 0 else None
        lower, upper = _clustered(sample, sample.df, days, survival, (variance, plain), known, icc)
    else:
        lower, upper = _independent(survival, plain, known, scale)
    return _Fitted(days, survival, lower, upper, at_risk, died, gaps)


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
    if sample.clustered:
        dealt = between_visits.grouped(sample)
        variance = None
        if sample.df > 0:
            variance = jackknife(survival, between_visits.replicates(fit, dealt, days), dealt)
        lower, upper = _clustered(sample, dealt.df, days, survival, (variance, plain), known, icc)
    else:
        lower, upper = _independent(survival, plain, known, scale)
    at_risk, died = (x[0] for x in risk_sets(sample, days, np.zeros(len(sample.cluster), dtype=np.intp), 1))
    return _Fitted(
        days, survival, lower, upper, at_risk, died, undetermined(masses), masses, best.largest_gradient
    )


def _clustered(
    sample: Sample,
    df: int,
    days: FloatArray,
    survival: FloatArray,
    variances: tuple[FloatArray | None, FloatArray],
    known: FloatArray,
    icc: float,
) -> tuple[FloatArray, FloatArray]:
    """Limits by plot; ``variances``: of log(-log S) by the jackknife, of log S with seedlings independent."""
    variance, plain = variances
    if variance is None:
        return np.full_like(survival, np.nan), np.full_like(survival, np.nan)
    lower, upper = by_plots(survival, variance, df, plain)
    # Plots exactly alike show no spread, which is luck and no certainty.
    edge = np.isin(survival, (0.0, 1.0)) | (variance < 1e-18)
    edge_lower, edge_upper = at_edges(survival, known, edge, effect_of_plots(sample, icc), df)
    lower, upper = np.where(edge, edge_lower, lower), np.where(edge, edge_upper, upper)
    told = days <= sample.two_plots_until
    return np.where(told, lower, np.nan), np.where(told, upper, np.nan)


def _independent(
    survival: FloatArray, log_variance: FloatArray, known: FloatArray, scale: Scale
) -> tuple[FloatArray, FloatArray]:
    lower, upper = on_scale(survival, log_variance, scale)
    edge = np.isin(survival, (0.0, 1.0))
    edge_lower, edge_upper = at_edges(survival, known, edge, 1.0, None)
    return np.where(edge, edge_lower, lower), np.where(edge, edge_upper, upper)


def _step(name: str, sample: Sample, fitted: _Fitted, rounds: tuple[tuple[float, float], ...]) -> Step:
    def from_one(values: FloatArray) -> FloatArray:
        return np.concatenate([[1.0], values])

    return Step(
        name,
        np.concatenate([[sample.start.min()], fitted.days]),
        from_one(fitted.survival),
        from_one(fitted.lower),
        from_one(fitted.upper),
        sample.last_day,
        fitted.gaps,
        rounds,
    )


def _table(labels: pd.Series, samples: Sequence[Sample], fitted: Sequence[_Fitted]) -> pd.DataFrame:
    parts = []
    for sample, f in zip(samples, fitted, strict=True):
        first = float(sample.start.min())
        begin = float(sample.at_risk[sample.start == first].sum())
        parts.append(
            pd.DataFrame(
                {
                    "day": np.concatenate([[first], f.days]),
                    "survival": np.concatenate([[1.0], f.survival]),
                    "lower": np.concatenate([[1.0], f.lower]),
                    "upper": np.concatenate([[1.0], f.upper]),
                    "at_risk": np.concatenate([[begin], f.at_risk]),
                    "died": np.concatenate([[0.0], f.died]),
                }
            )
        )
    table = pd.concat(parts, ignore_index=True)
    for name in ("at_risk", "died"):
        table[name] = whole(table[name].to_numpy())
    groups = labels.iloc[np.repeat(np.arange(len(parts)), [len(part) for part in parts])].reset_index(
        drop=True
    )
    table.insert(0, str(labels.name), groups)
    return table


def _masses(labels: pd.Series, fitted: Sequence[_Fitted]) -> pd.DataFrame:
    table = pd.DataFrame([mass for f in fitted for mass in f.masses], columns=["left", "right", "mass"])
    groups = labels.iloc[np.repeat(np.arange(len(fitted)), [len(f.masses) for f in fitted])].reset_index(
        drop=True
    )
    table.insert(0, str(labels.name), groups)
    return table
