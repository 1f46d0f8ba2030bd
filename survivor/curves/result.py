"""What a curve call gives back: frozen, with a table, callable steps, and what is known at risk.

A survival curve as a callable step that refuses what it cannot know.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from html import escape
from numbers import Real
from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd

from survivor.arguments import amount, seed_of, several
from survivor.arrays import Floats
from survivor.curves.bands import band
from survivor.curves.mean_days import restricted_mean
from survivor.curves.samples import Sample
from survivor.errors import CurveError
from survivor.limits import check_level, with_level
from survivor.shown import tidy
from survivor.vocabulary import CONFIDENCE

if TYPE_CHECKING:
    from matplotlib.axes import Axes


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
        From 0 to 1 at ``days``, with 95 % CI (NaN where there are none).
    last_day
        Last visit of the group; the curve says nothing after it, unless all had died.
    gaps
        Open intervals (days) inside which the curve falls by an unknown path.
    rounds
        First and last day of visits taken as one round; a day inside reads as the last.

    Examples
    --------
    >>> step = survivor.curve(intervals, by="method")["rip"]
    >>> round(step(365), 3), [round(end, 2) for end in step.limits(365)]
    (0.763, [0.66, 0.84])
    """

    label: str
    days: Floats
    survival: Floats
    lower: Floats
    upper: Floats
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
        """95 % CI at ``day``; refuses as calling does."""
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
        if not isinstance(day, Real) or not np.isfinite(float(day)):
            raise CurveError(f"{day!r} is no day", where="day", mend="for example 365")
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


_NO_BAND = {
    "turnbull": (
        "no band is known for Turnbull's curve: its errors have no normal limit where visits fall on any day",
        'read limits day by day, or take visits as rounds: curve(..., estimator="kaplan-meier", align=10)',
    ),
    "life-table": (
        "a life table has limits at the ends of its bands only, each by itself",
        'use estimator="kaplan-meier"',
    ),
}
_SHOWN = 40  # rows of a table that are printed whole

Estimator = Literal["kaplan-meier", "turnbull", "life-table"]


@dataclass(frozen=True, repr=False)
class Curves:
    """Survival curves, one a group.

    Attributes
    ----------
    table
        A row per group and day: the column drawn by (``group`` where there is none),
        ``day`` (since planting), ``survival, std_error, lower, upper`` (0 to 1; 95 % CI;
        NaN where none can be given, and no standard error at 0 and 100 %), ``at_risk``
        (watched up to that day; on the first day those who begin; exposed, by halves, in a
        life table) and ``died`` (found dead since the row before).
    by
        The column drawn by, or None.
    estimator
        ``kaplan-meier``, ``turnbull`` or ``life-table``.
    limits
        How the limits were made, in words.
    masses
        Turnbull only: group, ``left, right, mass`` of the innermost intervals that hold
        mass; ``right`` is inf for those alive after the last visit.
    largest_gradient
        Turnbull only: a number a group, at most 1 + 1e-8, that certifies the maximum.

    Examples
    --------
    >>> curves = survivor.curve(intervals, by="method")
    >>> curves.read(365)[["method", "survival", "at_risk"]].round(3)
      method  survival  at_risk
    0  usual     0.500      120
    1  auger     0.619      125
    2    rip     0.763      138
    """

    table: pd.DataFrame
    by: str | None
    estimator: Estimator
    limits: str
    steps: tuple[Step, ...]
    masses: pd.DataFrame
    largest_gradient: tuple[float, ...] = ()
    _samples: tuple[Sample, ...] = field(default=(), repr=False)
    _said: Callable[[], tuple[str, ...]] = field(default=tuple, repr=False)

    @cached_property
    def notes(self) -> tuple[str, ...]:
        """Plain sentences a reader needs beside the curves; they take estimates more, made when asked for."""
        return self._said()

    @property
    def column(self) -> str:
        """Name of the first column of the tables."""
        return str(self.table.columns[0])

    @property
    def groups(self) -> tuple[str, ...]:
        """The groups in the order of the table."""
        return tuple(step.label for step in self.steps)

    def __getitem__(self, group: Hashable) -> Step:
        """Return the callable step of one group.

        Raises
        ------
        CurveError
            When there is no such group.
        """
        return self.steps[self._place(group)]

    def at(self, day: float, group: Hashable | None = None) -> float:
        """Survival (0 to 1) of one group at ``day``.

        Parameters
        ----------
        day
            Days since planting.
        group
            Name of a group; None where there is one.

        Raises
        ------
        CurveError
            When the day is outside the watch or inside an interval in which the curve is
            not determined, there is no such group, or none is named and there are several.

        Examples
        --------
        >>> round(survivor.curve(intervals, by="method").at(365, "rip"), 4)
        0.7625
        """
        if group is None and len(self.steps) > 1:
            raise CurveError(
                f"there are {len(self.steps)} curves",
                mend=f"name a group ({', '.join(self.groups)}), or use read({day:g})",
            )
        return self.steps[0 if group is None else self._place(group)](day)

    def read(self, day: float) -> pd.DataFrame:
        """Survival of every group at ``day``, with limits and numbers at risk.

        A group whose curve says nothing at that day has NaN and the reason in ``note``.

        Parameters
        ----------
        day
            Days since planting.

        Returns
        -------
        pandas.DataFrame
            The group, ``day, survival, lower, upper`` (0 to 1), ``at_risk`` (seedlings), ``note``.

        Raises
        ------
        CurveError
            When the day is none.

        Examples
        --------
        >>> survivor.curve(intervals, by="method").read(365)[["method", "survival"]].round(2)
          method  survival
        0  usual      0.50
        1  auger      0.62
        2    rip      0.76
        """
        if not isinstance(day, Real):
            raise CurveError(f"{day!r} is no day", where="day", mend="for example 365")
        rows = []
        for step in self.steps:
            try:
                low, high = step.limits(day)
                rows.append((step(day), low, high, ""))
            except CurveError as refusal:
                rows.append((np.nan, np.nan, np.nan, refusal.what))
        found = pd.DataFrame(rows, columns=["survival", "lower", "upper", "note"])
        found.insert(0, "day", float(day))
        asked = np.array([day], dtype=float)
        found.insert(4, "at_risk", [_watched(sample, asked)[0] for sample in self._samples])
        return self._by_group(found)

    def at_risk(self, days: Iterable[float]) -> pd.DataFrame:
        """Seedlings at risk, as a table: a row a group and day.

        Parameters
        ----------
        days
            Days since planting.

        Returns
        -------
        pandas.DataFrame
            The group, ``day`` and ``at_risk``: those watched over an interval
            (start, stop] that holds the day. On the first day of the watch, those who
            begin it; after the last visit, 0.

        Raises
        ------
        CurveError
            When these are no days.

        Examples
        --------
        >>> survivor.curve(intervals).at_risk([100, 365])["at_risk"].tolist()
        [480, 383]
        """
        mend = "give days since planting, for example [0, 180, 365]"
        asked = np.array(
            [amount(day, "days", CurveError, mend) for day in several(days, "days", CurveError, mend)]
        )
        counts = [_watched(sample, asked) for sample in self._samples]
        return pd.DataFrame(
            {
                self.column: self._labels(np.repeat(np.arange(len(self.steps)), len(asked))),
                "day": np.tile(asked, len(self.steps)),
                "at_risk": np.concatenate(counts),
            }
        )

    def median(self) -> pd.DataFrame:
        """First day on which half or fewer are alive, a row a group, with limits.

        Returns
        -------
        pandas.DataFrame
            The group, ``median, lower, upper`` (days; NaN: not reached within the watch)
            and ``unit``. The limits are the days on which the limits of the curve reach
            one half (Brookmeyer and Crowley 1982, Biometrics 38, 29-41).

        Examples
        --------
        >>> survivor.curve(intervals, by="method").median()["median"].tolist()
        [365.0, nan, nan]
        """
        rows = [
            tuple(first_at(step.days, level, 0.5) for level in (step.survival, step.lower, step.upper))
            for step in self.steps
        ]
        found = pd.DataFrame(rows, columns=["median", "lower", "upper"]).assign(unit="days since planting")
        return self._by_group(found)

    def restricted_mean(self, day: float, level: float = CONFIDENCE) -> pd.DataFrame:
        """Mean days alive up to ``day``: the area under each Kaplan-Meier curve.

        A death counts on the day it was found, so the mean is up to a visit's gap too long.

        Parameters
        ----------
        day
            Days since planting.
        level
            Of the limits; 0.95 by itself.

        Returns
        -------
        pandas.DataFrame
            The group, ``day, estimate, std_error, lower, upper`` and ``unit``; at another level
            than 0.95 also ``level``.

        Raises
        ------
        CurveError
            When the estimator is not Kaplan-Meier, or the day is outside a group's watch
            while some of it are alive.

        Examples
        --------
        >>> survivor.curve(intervals, by="method").restricted_mean(365)["estimate"].round(0).tolist()
        [319.0, 325.0, 340.0]
        """
        if self.estimator != "kaplan-meier":
            raise CurveError(
                "the area is not determined where days of death are not", mend='use estimator="kaplan-meier"'
            )
        day = amount(day, "day", CurveError, "for example 365")
        level = check_level(level)
        rows = []
        for step, sample in zip(self.steps, self._samples, strict=True):
            if not (day > step.last_day and step.survival[-1] == 0):
                step(day)  # refuses days outside the watch
            mean, error, _, lower, upper = restricted_mean(sample, float(day), level)
            rows.append((float(day), mean, error, lower, upper))
        columns = ["day", "estimate", "std_error", "lower", "upper"]
        found = pd.DataFrame(rows, columns=columns).assign(unit="days alive")
        return with_level(self._by_group(found), level)

    def band(self, level: float = CONFIDENCE, seed: int = 1) -> Curves:
        """Give the same curves with a confidence band: limits that hold every day at once.

        Parameters
        ----------
        level
            Probability that the whole curve lies inside the band.
        seed
            Of the 20,000 draws from which the band's width is read.

        Returns
        -------
        Curves
            With the band in ``lower, upper``, from the first day with a death to the last on which
            some were alive and two plots watched; see ``survivor.curves.bands`` for the method.

        Raises
        ------
        CurveError
            When the curves are not Kaplan-Meier ones. Turnbull's estimate nears the truth by the cube
            root of the seedlings where visits fall on any day, and its errors are then not normal
            (Groeneboom and Wellner 1992, Information Bounds and Nonparametric Maximum Likelihood
            Estimation): what a band rests on is not there. With ``align`` such visits become rounds,
            of which Kaplan-Meier curves have a band.

        Examples
        --------
        >>> curves = survivor.curve(intervals, by="method")
        >>> [round(end, 2) for end in curves.band()["rip"].limits(365)]
        [0.65, 0.85]
        """
        if self.estimator != "kaplan-meier":
            what, mend = _NO_BAND[self.estimator]
            raise CurveError(what, where=f"band of a {self.estimator} curve", mend=mend)
        check_level(level)
        parts = [part for _, part in self.table.groupby(self.column, sort=False, observed=True, dropna=False)]
        seed = seed_of(seed, CurveError)
        ends = [band(sample, part, level, seed) for sample, part in zip(self._samples, parts, strict=True)]
        lower, upper = (np.concatenate([each[place] for each in ends]) for place in (0, 1))
        steps = tuple(
            replace(step, lower=low, upper=high) for step, (low, high) in zip(self.steps, ends, strict=True)
        )
        words = f"{100 * level:g} % confidence band, holding every day at once; day by day: {self.limits}"
        table = with_level(self.table.assign(lower=lower, upper=upper), level)
        return replace(self, table=table, limits=words, steps=steps)

    @property
    def df(self) -> Floats:
        """Degrees of freedom of the limits, one a row of ``table``; infinite with seedlings independent.

        Examples
        --------
        >>> survivor.curve(intervals, strata="site").df.tolist()  # 24 plots less 4 sites
        [20.0, 20.0, 20.0]
        """
        sizes = self.table.groupby(self.column, sort=False, observed=True, dropna=False).size()
        degrees = [float(sample.df) if sample.clustered else np.inf for sample in self._samples]
        return np.repeat(degrees, sizes.to_numpy())

    def tidy(self) -> pd.DataFrame:
        """Give the table in the columns that all results share; see ``survivor.shown.tidy``.

        Examples
        --------
        >>> survivor.curve(intervals, by="method").tidy()[["group", "estimate"]].round(3).tail(1)
                  group  estimate
        8  rip; 365.0     0.763
        """
        return tidy(self.table)

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the curves; returns the matplotlib Axes."""
        from survivor.figures.curves import draw_curves

        return draw_curves(self.table, ax)

    def __repr__(self) -> str:
        """Show the table and how its limits were made."""
        by = f" by {self.by}" if self.by is not None else ""
        table = self.table.to_string(index=False, float_format=lambda x: f"{x:.3f}", max_rows=_SHOWN)
        return f"Survival{by} ({self.estimator}), 0 to 1 by day since planting\n{table}\n{self.limits}"

    def _repr_html_(self) -> str:
        """Show the table, its limits and its notes in a notebook."""
        words = "".join(f"<p>{escape(text)}</p>" for text in (self.limits, *self.notes))
        return str(self.table.to_html(index=False, float_format=lambda x: f"{x:.3f}", na_rep="")) + words

    def _by_group(self, found: pd.DataFrame) -> pd.DataFrame:
        """Name the group of each row of a table with a row a group."""
        found.insert(0, self.column, self._labels(range(len(self.steps))))
        return found

    def _labels(self, places: Iterable[int]) -> pd.Series:
        first = self.table.drop_duplicates(self.column)[self.column].reset_index(drop=True)
        return first.iloc[list(places)].reset_index(drop=True)

    def _place(self, group: Hashable) -> int:
        wanted = str(group)
        if wanted not in self.groups:
            raise CurveError(
                f"there is no curve of {wanted!r}", mend=f"name one of: {', '.join(self.groups)}"
            )
        return self.groups.index(wanted)


def first_at(days: Floats, curve: Floats, level: float) -> float:
    """First day on which a curve is at a level or below; NaN where it never is."""
    low = np.flatnonzero(curve <= level + 1e-12)
    return float(days[low[0]]) if len(low) else float("nan")


def _watched(sample: Sample, days: Floats) -> Floats:
    first = float(sample.start.min())
    at = np.where(days == first, np.nextafter(first, np.inf), days)
    covers = (sample.start[:, None] < at[None, :]) & (at[None, :] <= sample.stop[:, None])
    return whole(sample.at_risk @ covers)


def noting(curves: Curves, said: tuple[str, ...]) -> Curves:
    """Return curves with notes before their own."""
    return replace(curves, _said=partial(_before, said, curves._said))


def _before(said: tuple[str, ...], own: Callable[[], tuple[str, ...]]) -> tuple[str, ...]:
    return (*said, *own())


def whole(counts: Floats) -> Floats:
    """Turn counts into whole numbers where all are."""
    rounded = np.round(counts)
    return rounded.astype(np.int64) if np.allclose(counts, rounded, atol=1e-9, rtol=0) else counts
