"""A survival curve as a callable step that refuses what it cannot know."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survivor.errors import CurveError

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Step:
    """Survival of one group by day since planting; call it with a day.

    Attributes
    ----------
    label
        The group.
    days
        Days at which something is known, ascending; the first is where the curve begins.
    survival, lower, upper
        From 0 to 1 at ``days``, with 95 % limits (NaN where there are none).
    last_day
        Last visit of the group; the curve says nothing after it, unless all had died.
    gaps
        Open intervals (days) inside which the curve falls by an unknown path.
    rounds
        First and last day of visits taken as one round; a day inside reads as the last.

    Examples
    --------
    >>> step = curves["ripped"]          # doctest: +SKIP
    >>> step(365), step.limits(365)      # doctest: +SKIP
    """

    label: str
    days: FloatArray
    survival: FloatArray
    lower: FloatArray
    upper: FloatArray
    last_day: float
    gaps: tuple[tuple[float, float], ...] = ()
    rounds: tuple[tuple[float, float], ...] = ()

    def __call__(self, day: float) -> float:
        """Share alive (0 to 1) at ``day``.

        Raises
        ------
        CurveError
            When the day is before the curve begins, after the last visit, or inside
            an interval in which deaths are known but not their day.
        """
        return float(self.survival[self._place(day)])

    def limits(self, day: float) -> tuple[float, float]:
        """95 % limits at ``day``; refuses as calling does."""
        place = self._place(day)
        return float(self.lower[place]), float(self.upper[place])

    def bounds(self, day: float) -> tuple[float, float]:
        """Range in which the curve itself lies at ``day``: one value, save inside a gap."""
        self._watched(day)
        day = self._in_round(day)
        place = int(np.searchsorted(self.days, day, side="right")) - 1
        after = place + 1 if self._gap(day) else place
        return float(self.survival[after]), float(self.survival[place])

    def _place(self, day: float) -> int:
        self._watched(day)
        day = self._in_round(day)
        gap = self._gap(day)
        if gap is not None:
            low, high = self.bounds(day)
            raise CurveError(
                f"the curve is not determined on day {day:g}: between days {gap[0]:g} and {gap[1]:g} it "
                f"falls from {100 * high:.1f} to {100 * low:.1f} per 100, and no visit tells when",
                where=f"curve of {self.label}",
                mend=f"ask for day {gap[0]:g} or {gap[1]:g}, or for bounds({day:g})",
            )
        return int(np.searchsorted(self.days, day, side="right")) - 1

    def _watched(self, day: float) -> None:
        # Where nobody is left alive nobody is alive later.
        if self.days[0] <= day and (day <= self.last_day or self.survival[-1] == 0):
            return
        if day < self.days[0]:
            raise CurveError(
                f"the watch begins on day {self.days[0]:g}; day {day:g} is before it",
                where=f"curve of {self.label}",
                mend="survival from planting is not known to those who were tagged later",
            )
        raise CurveError(
            f"the last visit was on day {self.last_day:g}; nothing is known of day {day:g}",
            where=f"curve of {self.label}",
            mend=f"ask for day {self.last_day:g} or before",
        )

    def _in_round(self, day: float) -> float:
        found = next((last for first, last in self.rounds if first <= day < last), day)
        return min(found, self.last_day)

    def _gap(self, day: float) -> tuple[float, float] | None:
        return next((gap for gap in self.gaps if gap[0] < day < gap[1]), None)
