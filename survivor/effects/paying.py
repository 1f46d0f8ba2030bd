"""Where more of the patch stops paying, from the gain for each 10 cm."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from survivor.effects.limits import Floats

State = Literal["reached", "not reached", "not shown"]


@dataclass(frozen=True)
class StopsPaying:
    """Smallest radius from which the gain stays under the gain worth having.

    Attributes
    ----------
    value
        Metres; None where it is not reached within the data, or not shown.
    lower, upper
        Limits in metres; None where beyond the data, or not told.
    gain
        The gain worth having, per 100 planted per 10 cm.
    sentence
        The answer in words.
    state
        ``reached``; ``not reached``: the gain is still worth having at the edge of the
        data; ``not shown``: the records do not tell whether there is such a radius.
    """

    value: float | None
    lower: float | None
    upper: float | None
    gain: float
    sentence: str
    state: State = "reached"


@dataclass(frozen=True)
class AlongLine:
    """Mean gain for each 10 cm along a straight line, per 100 planted, with 95 % limits, and where."""

    estimate: float
    lower: float
    upper: float
    from_m: float
    to_m: float

    def __str__(self) -> str:
        more = "more" if self.estimate >= 0 else "fewer"
        if self.lower < 0 <= self.upper:
            ends = f"{-self.lower:.1f} fewer to {self.upper:.1f} more"
        else:
            near, far = sorted((abs(self.lower), abs(self.upper)))
            ends = f"{near:.1f} to {far:.1f} {more}"
        return (
            f"along a straight line each further 10 cm, from {self.from_m:.2f} m ({area(self.from_m)}) to "
            f"{self.to_m:.2f} m ({area(self.to_m)}), went with {abs(self.estimate):.1f} {more} alive per 100 "
            f"planted (95 % limits {ends})"
        )


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


def stops_paying(points: Floats, gains: Floats, worth: float, least: Floats, most: Floats) -> StopsPaying:
    """Answer with limits.

    Parameters
    ----------
    points, gains, worth
        As for :func:`crossing`.
    least, most
        95 % limits of ``gains``.

    Notes
    -----
    A radius is outside the limits where the gain there is shown to differ from the one
    worth having: the lower limit is where the lower limits of the gain come to stay
    under ``worth``, the upper one where the upper limits do. This turns the test of
    each gain round (as Fieller 1954, Journal of the Royal Statistical Society B 16,
    175-185, does for ratios). Limits therefore run on beyond the data where the data
    do not hold them, which limits built on a standard error of the radius cannot.
    """
    value = crossing(points, gains, worth)
    lower, upper = crossing(points, least, worth), crossing(points, most, worth)
    low, high = float(points[0]), float(points[-1])
    if value is None:
        return _not_reached(high, worth, low, lower)
    if value <= low:
        words = (
            f"From the smallest radius looked at, {low:.2f} m ({area(low)}), a further 10 cm went with "
            f"less than {worth:g} more alive per 100 planted"
        )
    else:
        words = (
            f"From a radius of {value:.2f} m ({area(value)}) a further 10 cm went with less than "
            f"{worth:g} more alive per 100 planted"
        )
    below = lower is None or lower <= low
    said = f"{low:.2f} m or less" if below else f"{lower:.2f} m"
    till = "beyond the data" if upper is None else f"{upper:.2f} m"
    return StopsPaying(
        value, None if below else lower, upper, worth, f"{words} (95 % limits {said} to {till})."
    )


def _not_reached(high: float, worth: float, low: float, lower: float | None) -> StopsPaying:
    """Say that the gain is still worth having at the edge, and where its lower limits are not."""
    words = (
        f"Not reached within the data: up to a radius of {high:.2f} m ({area(high)}) a further 10 cm "
        f"still went with {worth:g} or more alive per 100 planted"
    )
    if lower is None:
        said = f"{words}, also by the lower limit of the gain there."
        return StopsPaying(None, high, None, worth, said, "not reached")
    if lower <= low:
        return StopsPaying(
            None, None, None, worth, f"{words}, though within the limits none might.", "not reached"
        )
    said = f"{words} (95 % limits {lower:.2f} m, where the limits allow less, to beyond the data)."
    return StopsPaying(None, lower, None, worth, said, "not reached")


def not_shown(p_value: float, worth: float) -> StopsPaying:
    """Answer where the response cannot be told from none, nor shown to be too small to pay."""
    words = (
        f"Not shown: survival does not clearly change with the radius (p {written(p_value)}), and a gain of "
        f"{worth:g} per 100 planted for a further 10 cm cannot be ruled out."
    )
    return StopsPaying(None, None, None, worth, words, "not shown")


def no_turn_shown(line_p_value: float, worth: float, along: AlongLine) -> StopsPaying:
    """Answer where survival changes with the radius, but a straight line fits about as well as a curve."""
    why = (
        f"a straight line fits about as well as a curve that levels off (p {written(line_p_value)})"
        if math.isfinite(line_p_value)
        else "a straight line was fitted, which never levels off"
    )
    line = str(along)
    words = (
        f"Not shown: {why}, so the records do not tell from which radius a further 10 cm goes with less than "
        f"{worth:g} more alive per 100 planted. {line[0].upper()}{line[1:]}."
    )
    return StopsPaying(None, None, None, worth, words, "not shown")


def written(p_value: float) -> str:
    """Write a p-value to two places, three under 0.1, never as nought."""
    if not math.isfinite(p_value):
        return "not known"
    if p_value < 0.001:
        return "under 0.001"
    return f"{p_value:.{3 if p_value < 0.0995 else 2}f}"


def area(radius: float) -> str:
    """Write the area of a round patch of a radius in metres."""
    return f"{math.pi * radius**2:.2f} m²"
