"""Where more of the patch stops paying, from the gain for each 10 cm."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import stats

from survivor.effects.limits import Floats
from survivor.vocabulary import CONFIDENCE


@dataclass(frozen=True)
class StopsPaying:
    """Smallest radius from which the gain stays under the gain worth having.

    Attributes
    ----------
    value
        Metres; None where it is not reached within the data, or not shown.
    lower, upper
        Limits in metres; None where beyond the data, or not computed. Where the turn
        is not reached, ``lower`` is the radius from which the lower limits of the gain
        stay under the gain worth having.
    gain
        The gain worth having, per 100 planted per 10 cm.
    sentence
        The answer in words.
    """

    value: float | None
    lower: float | None
    upper: float | None
    gain: float
    sentence: str


def crossing(points: Floats, gains: Floats, worth: float) -> float | None:
    """Smallest radius from which every gain up to the edge of the data is under ``worth``.

    Parameters
    ----------
    points
        Radii of the grid in order, metres, shape (k,).
    gains
        Gain for each 10 cm between neighbours, shape (k - 1,).
    worth
        Gain worth having, in the unit of ``gains``.

    Returns
    -------
    float or None
        Between two steps the gain is taken to change linearly. The first radius of
        the grid where no gain is worth having; None where the last one still is.
    """
    enough = np.flatnonzero(gains >= worth)
    if not len(enough):
        return float(points[0])
    last = int(enough[-1])
    if last == len(gains) - 1:
        return None
    middle = (points[:-1] + points[1:]) / 2
    part = (gains[last] - worth) / (gains[last] - gains[last + 1])
    return float(middle[last] + part * (middle[last + 1] - middle[last]))


def stops_paying(
    points: Floats,
    gains: Floats,
    worth: float,
    values: Floats | None,
    df: float,
    least: Floats | None = None,
) -> StopsPaying:
    """Answer with limits.

    Parameters
    ----------
    points, gains, worth
        As for :func:`crossing`.
    values
        The answer with each set of plots left out, an answer beyond the data at its
        edge; None where not computed.
    df
        Degrees of freedom of the limits.
    least
        Lower limits of ``gains``, for an answer beyond the data.
    """
    value = crossing(points, gains, worth)
    low, high = float(points[0]), float(points[-1])
    if value is None:
        return _not_reached(points, worth, least)
    if value <= low:
        words = (
            f"From the smallest radius looked at, {low:.2f} m ({_area(low)}), a further 10 cm went with "
            f"less than {worth:g} more alive per 100 planted"
        )
    else:
        words = (
            f"From a radius of {value:.2f} m ({_area(value)}) a further 10 cm went with less than "
            f"{worth:g} more alive per 100 planted"
        )
    if values is None:
        return StopsPaying(value, None, None, worth, f"{words}; limits were not computed.")
    lower, upper = _jackknife_limits(value, values, df)
    if math.isnan(lower):
        return StopsPaying(value, None, None, worth, f"{words}; the plots are too few for limits.")
    below = lower <= low
    beyond = upper >= high
    said = f"{low:.2f} m or less" if below else f"{lower:.2f} m"
    till = "beyond the data" if beyond else f"{upper:.2f} m"
    return StopsPaying(
        value,
        None if below else lower,
        None if beyond else upper,
        worth,
        f"{words} (95 % limits {said} to {till}).",
    )


def _not_reached(points: Floats, worth: float, least: Floats | None) -> StopsPaying:
    """Say that the gain is still worth having at the edge, and where its lower limits are not.

    The jackknife cannot help here: without each plot the answer stays beyond the data.
    """
    high = float(points[-1])
    words = (
        f"Not reached within the data: up to a radius of {high:.2f} m ({_area(high)}) each further 10 cm "
        f"still went with {worth:g} or more alive per 100 planted"
    )
    if least is None:
        return StopsPaying(None, None, None, worth, f"{words}.")
    found = crossing(points, least, worth)
    lower = high if found is None else found
    if lower <= points[0]:
        return StopsPaying(None, None, None, worth, f"{words}, though within the limits none might.")
    return StopsPaying(
        None,
        lower,
        None,
        worth,
        f"{words} (95 % limits {lower:.2f} m, where the limits allow less, to beyond the data).",
    )


def not_shown(p_value: float, worth: float) -> StopsPaying:
    """Answer where the response cannot be told from none, nor shown to be too small to pay."""
    words = (
        f"Not shown: survival does not clearly change with the radius (p = {p_value:.2f}), and a gain of "
        f"{worth:g} per 100 planted for a further 10 cm cannot be ruled out."
    )
    return StopsPaying(None, None, None, worth, words)


def _jackknife_limits(value: float, values: Floats, df: float) -> tuple[float, float]:
    """Limits by the delete-one jackknife (Efron and Tibshirani 1993, chapter 11), t on ``df``."""
    count = len(values)
    if count < 2 or not df > 0:
        return math.nan, math.nan
    spread = float(np.sqrt((count - 1) / count * np.sum((values - values.mean()) ** 2)))
    width = float(stats.t.ppf(0.5 + CONFIDENCE / 2, df)) * spread
    return value - width, value + width


def _area(radius: float) -> str:
    return f"{math.pi * radius**2:.2f} m²"
