"""Where more of the patch stops paying, from the gain for each 10 cm."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from survivor.arrays import Floats
from survivor.effects import english as en
from survivor.vocabulary import PER_100
from survivor.words import chance, number, plain

State = Literal["reached", "not reached", "not shown"]


@dataclass(frozen=True)
class Plateau:
    """Smallest radius from which the gain stays under the gain that matters.

    Attributes
    ----------
    value
        Metres; None where it is not reached within the data, or not shown.
    lower, upper
        Limits in metres; None where beyond the data, or not told.
    gain
        The gain that matters, per 100 planted per 10 cm.
    sentence
        The answer in words.
    state
        ``reached``; ``not reached``: the gain still matters at the edge of the
        data; ``not shown``: the records do not tell whether there is such a radius.
    """

    value: float | None
    lower: float | None
    upper: float | None
    gain: float
    sentence: str
    state: State = "reached"

    @property
    def marks(self) -> tuple[float, float, float] | None:
        """The radius and its limits as a chart takes them: NaN for an end that is not known."""
        if self.value is None:
            return None
        lower, upper = (math.nan if end is None else end for end in (self.lower, self.upper))
        return self.value, lower, upper


@dataclass(frozen=True)
class AlongLine:
    """Mean gain for each 10 cm along a straight line, per 100 planted, with 95 % CI, and where."""

    estimate: float
    lower: float
    upper: float
    from_m: float
    to_m: float
    per: str = PER_100

    def __str__(self) -> str:
        more = "more" if self.estimate >= 0 else "fewer"
        if self.lower < 0 <= self.upper:
            ends = f"{number(-self.lower, 1)} fewer to {number(self.upper, 1)} more"
        else:
            near, far = sorted((abs(self.lower), abs(self.upper)))
            ends = f"{number(near, 1)} to {number(far, 1)} {more}"
        said = en.ALONG.format(
            first=metres(self.from_m),
            last=metres(self.to_m),
            size=number(abs(self.estimate), 1),
            more=more,
            per=self.per,
            span=ends,
        )
        return f"{said} {en.REVERSED}" if self.upper < 0 else said


def crossing(points: Floats, gains: Floats, worth: float) -> float | None:
    """Smallest radius from which every gain up to the edge of the data is under ``worth``.

    Parameters
    ----------
    points
        Radii of the grid in order, metres, shape (k,).
    gains
        Gain for each 10 cm between neighbours, shape (k - 1,).
    worth
        Gain that matters, in the unit of ``gains``.

    Returns
    -------
    float or None
        Between two steps the gain is taken to change linearly. The first radius of
        the grid where no gain matters; None where the last one still is.
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
    points: Floats, gains: Floats, worth: float, least: Floats, most: Floats, per: str = PER_100
) -> Plateau:
    """Answer with limits.

    Parameters
    ----------
    points, gains, worth
        As for :func:`crossing`.
    least, most
        95 % CI of ``gains``.

    Notes
    -----
    A radius is outside the limits where the gain there is shown to differ from the
    gain that matters: the lower limit is where the lower limits of the gain come to stay
    under ``worth``, the upper one where the upper limits do. This turns the test of
    each gain round (as Fieller 1954, Journal of the Royal Statistical Society B 16,
    175-185, does for ratios). Limits therefore run on beyond the data where the data
    do not hold them, which limits built on a standard error of the radius cannot.
    """
    value = crossing(points, gains, worth)
    lower, upper = crossing(points, least, worth), crossing(points, most, worth)
    low, high = float(points[0]), float(points[-1])
    if value is None:
        return _not_reached(high, worth, low, lower, per)
    below = lower is None or lower <= low
    said = (en.SMALLEST if value <= low else en.FROM).format(
        radius=metres(max(value, low)),
        gain=plain(worth),
        per=per,
        low=en.OR_LESS.format(radius=metres(low)) if lower is None or lower <= low else metres(lower),
        high=en.BEYOND if upper is None else metres(upper),
    )
    return Plateau(value, None if below else lower, upper, worth, said)


def _not_reached(high: float, worth: float, low: float, lower: float | None, per: str) -> Plateau:
    """Say that the gain still matters at the edge, and where its lower limits are not."""
    still = en.STILL.format(radius=metres(high), gain=plain(worth), per=per)
    if lower is None:
        return Plateau(None, high, None, worth, f"{still} {en.STILL_SURE}", "not reached")
    if lower <= low:
        return Plateau(None, None, None, worth, f"{still} {en.STILL_OPEN}", "not reached")
    said = f"{still} {en.STILL_FROM.format(low=metres(lower))}"
    return Plateau(None, lower, None, worth, said, "not reached")


def not_shown(p_value: float, worth: float, per: str = PER_100) -> Plateau:
    """Answer where the response cannot be distinguished from none, nor shown to be too small to pay."""
    words = en.NO_CHANGE.format(p=chance(p_value), gain=plain(worth), per=per)
    return Plateau(None, None, None, worth, words, "not shown")


def no_turn_shown(line_p_value: float, worth: float, along: AlongLine) -> Plateau:
    """Answer where survival changes with the radius, but a straight line fits about as well as a curve."""
    fits = (
        en.NO_TURN_LINE.format(p=chance(line_p_value)) if math.isfinite(line_p_value) else en.NO_TURN_NO_CURVE
    )
    return Plateau(None, None, None, worth, f"{along} {en.NO_TURN} {fits}", "not shown")


def metres(radius: float) -> str:
    """Write a radius in metres."""
    return f"{number(radius, 2)} m"
