"""What a reader needs to be told beside a curve, in plain sentences."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from survivor.curves import between_visits
from survivor.curves.limits import Scale
from survivor.curves.result import Estimator
from survivor.curves.samples import FloatArray, Sample
from survivor.figures.words import many

_TELLING: Final = 0.01  # a difference from Turnbull's estimate worth a sentence
_ROWS_TO_COMPARE: Final = 50_000


def remarks(name: str, sample: Sample, survival: FloatArray, estimator: Estimator) -> list[str]:
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
            f"{many(late, 'seedling')} entered the watch after day {first:g} and "
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


def _ragged(name: str, sample: Sample, survival: FloatArray) -> list[str]:
    """Say where visits on different days lead Kaplan-Meier astray, with Turnbull's value beside it."""
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
    return [f'{said}; use estimator="turnbull", or align= to take visits a few days apart as one round']


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
        return f"95 % limits ({scale}) from {source}, which takes seedlings as independent"
    unit = cluster if isinstance(cluster, str) else ", ".join(cluster)
    within = "" if strata is None else f" within {strata if isinstance(strata, str) else ', '.join(strata)}"
    words = (
        f"95 % limits from leaving out one {unit} at a time{within}, by t on log(-log), never narrower than "
        "with seedlings independent"
    )
    if icc is not None:
        words += (
            "; at 0 and 100 %, Wilson limits on the effective number, with a correlation of seedlings "
            f"within a {unit} of {icc:.2f}"
        )
    return words
