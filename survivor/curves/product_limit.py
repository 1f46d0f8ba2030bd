"""Kaplan-Meier on risk intervals, for tags and counts alike.

Convention: a seedling is at risk on (start, stop]. One found dead at ``stop`` died
then, as far as this curve is concerned; one tagged on day 20 is not at risk on day 20
but is on any later day up to its last. The number at risk may therefore rise.

Reference: Kaplan and Meier 1958 (Journal of the American Statistical Association 53,
457-481); delayed entry as in Klein and Moeschberger 2003, section 4.6.

The actuarial life table: deaths in bands of days, half a band for those who came or went.

For records too coarse or too ragged for visit days. Within a band the seedlings that
left alive, or entered late, count as half exposed. Where the bands are the visits
nobody does either within one, and the table is the product limit.

Reference: Cutler and Ederer 1958 (Journal of Chronic Diseases 8, 699-712).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from survivor.arguments import amount, several
from survivor.arrays import Codes, Floats
from survivor.curves.samples import Sample, sums
from survivor.errors import CurveError
from survivor.vocabulary import DAYS_PER_YEAR


def risk_sets(sample: Sample, days: Floats, unit: Codes, units: int) -> tuple[Floats, Floats]:
    """Seedlings at risk and found dead at each of ``days``, by unit.

    Parameters
    ----------
    sample
        Risk intervals of one group.
    days
        Ascending; hold every stop day of the sample for a product limit.
    unit, units
        Unit of each row (a plot, a stratum, or 0 for all), and how many there are.
        A unit of -1 leaves the row out.

    Returns
    -------
    at_risk, died
        Shape (units, days).
    """
    kept = unit >= 0
    wide = len(days) + 1
    at = unit[kept] * wide
    enters = np.searchsorted(days, sample.start[kept], side="right")
    leaves = np.searchsorted(days, sample.stop[kept], side="right")
    size = units * wide
    steps = sums(at + enters, sample.at_risk[kept], size) - sums(at + leaves, sample.at_risk[kept], size)
    at_risk = steps.reshape(units, wide).cumsum(axis=1)[:, :-1]
    found = np.searchsorted(days, sample.stop[kept], side="left")
    died = sums(at + found, sample.died[kept], size).reshape(units, wide)[:, :-1]
    return at_risk, died


def of_all(sample: Sample, days: Floats) -> tuple[Floats, Floats]:
    """Seedlings at risk and found dead at each of ``days``, all units together, shape (days,)."""
    at_risk, died = risk_sets(sample, days, np.zeros(len(sample.cluster), dtype=np.intp), 1)
    return at_risk[0], died[0]


def product_limit(at_risk: Floats, died: Floats) -> Floats:
    """Product over days of the share that lived through each; days run along the last axis.

    A day on which nobody was at risk leaves the curve as it was.
    """
    watched = at_risk > 1e-9
    share: Floats = np.ones_like(at_risk)
    np.divide(at_risk - died, at_risk, out=share, where=watched)
    share[share < 1e-12] = 0.0
    share[np.abs(share - 1) < 1e-12] = 1.0
    return np.cumprod(share, axis=-1, dtype=np.float64)


def greenwood(at_risk: Floats, died: Floats) -> Floats:
    """Variance of log survival with seedlings independent: sum of d / (n (n - d)).

    Greenwood 1926. NaN from the day on which nobody is left.
    """
    alive = at_risk - died
    watched = at_risk > 1e-9
    left = watched & (alive > 1e-9)
    term = np.where(left, died / np.where(left, at_risk * alive, 1.0), np.where(watched, np.nan, 0.0))
    return np.cumsum(term)


_BANDS_A_YEAR: Final = 4


def band_ends(sample: Sample, bands: Sequence[float] | None) -> Floats:
    """Lay out the ends of the bands in days, the first being where the watch begins.

    Parameters
    ----------
    sample
        Risk intervals of one group.
    bands
        Days at which bands end; None: quarters of a year. The last is cut to the last visit.

    Raises
    ------
    CurveError
        When the days given do not rise.
    """
    first, last = float(sample.start.min()), sample.last_day
    if bands is None:
        quarters = np.arange(1, np.ceil(last * _BANDS_A_YEAR / DAYS_PER_YEAR) + 1)
        given = np.round(quarters * DAYS_PER_YEAR / _BANDS_A_YEAR)
    else:
        mend = "give days in ascending order"
        listed = several(bands, "bands", CurveError, mend)
        given = np.array([amount(day, "bands", CurveError, mend) for day in listed])
    if given.ndim != 1 or not np.all(np.isfinite(given)) or np.any(np.diff(given, prepend=0.0) <= 0):
        raise CurveError(
            "the ends of the bands do not rise", where="bands", mend="give days in ascending order"
        )
    return np.concatenate([[first], given[(given > first) & (given < last)], [last]])


def exposures(sample: Sample, ends: Floats, unit: Codes, units: int) -> tuple[Floats, Floats]:
    """Exposed seedlings and deaths by unit and band.

    Parameters
    ----------
    sample
        Risk intervals of one group.
    ends
        From :func:`band_ends`, shape (bands + 1,).
    unit, units
        As for the risk sets of Kaplan-Meier.

    Returns
    -------
    exposed, died
        Shape (units, bands); exposed = present at the start of the band, and half of
        those who entered or left alive before its end.
    """
    kept = unit >= 0
    bands = len(ends) - 1
    wide = bands + 1
    of = unit[kept] * wide
    # Present at the start of a band: start <= edge < stop.
    from_edge = np.searchsorted(ends[:-1], sample.start[kept], side="left")
    to_edge = np.searchsorted(ends[:-1], sample.stop[kept], side="left")
    weight = sample.at_risk[kept]
    steps = sums(of + from_edge, weight, units * wide) - sums(of + to_edge, weight, units * wide)
    present = steps.reshape(units, wide).cumsum(axis=1)[:, :-1]
    in_band = np.searchsorted(ends, sample.stop[kept], side="left") - 1
    died = sums(of + in_band, sample.died[kept], units * wide).reshape(units, wide)[:, :-1]
    who, day, count = sample.net(sample.cluster)
    place = np.searchsorted(ends, day, side="left") - 1
    # Arrivals on the last day of a band, or on the first of all, are exposed from the next band's start.
    inside = (place >= 0) & (place < bands) & (day < ends[np.minimum(place + 1, bands)])
    owner = np.full(sample.plots, -1, dtype=np.intp)
    owner[sample.cluster] = unit
    inside &= owner[who] >= 0
    half = sums(owner[who[inside]] * wide + place[inside], -0.5 * count[inside], units * wide)
    return present + half.reshape(units, wide)[:, :-1], died


def refuse_short_exposure(ends: Floats, exposed: Floats, died: Floats) -> None:
    """Raise where more died in a band than count as exposed, which late entry can bring about.

    Raises
    ------
    CurveError
        Naming the first such band.
    """
    short = np.flatnonzero(died > exposed + 1e-9)
    if len(short):
        band = short[0]
        raise CurveError(
            f"{died[band]:g} died in the band to day {ends[band]:g} and only {exposed[band]:g} count as "
            "exposed: many entered after it began",
            mend='end a band on the day they entered, or use estimator="kaplan-meier"',
        )
