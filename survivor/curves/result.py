"""What a curve call gives back: frozen, with a table, callable steps, and what is known at risk."""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd

from survivor.curves.restricted import restricted_mean
from survivor.curves.samples import FloatArray, Sample
from survivor.curves.steps import Step
from survivor.errors import CurveError

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_SHOWN = 40  # rows of a table that are printed whole

Estimator = Literal["kaplan-meier", "turnbull", "life-table"]


@dataclass(frozen=True, repr=False)
class Curves:
    """Survival curves, one a group.

    Attributes
    ----------
    table
        A row per group and day: the column drawn by (``group`` where there is none),
        ``day`` (since planting), ``survival, lower, upper`` (0 to 1; 95 % limits, NaN
        where none can be given), ``at_risk`` (watched up to that day; on the first day
        those who begin; exposed, by halves, in a life table) and ``died`` (found dead
        since the row before).
    by
        The column drawn by, or None.
    estimator
        ``kaplan-meier``, ``turnbull`` or ``life-table``.
    limits
        How the limits were made, in words.
    notes
        Plain sentences a reader needs beside the curves.
    masses
        Turnbull only: group, ``left, right, mass`` of the innermost intervals that hold
        mass; ``right`` is inf for those alive after the last visit.
    largest_gradient
        Turnbull only: a number a group, at most 1 + 1e-8, that certifies the maximum.

    Examples
    --------
    >>> curves = survivor.curve(intervals, by="method")     # doctest: +SKIP
    >>> curves.at(365, "ripped"), curves["ripped"].limits(365)   # doctest: +SKIP
    >>> curves.read(365)                                    # doctest: +SKIP
    """

    table: pd.DataFrame
    by: str | None
    estimator: Estimator
    limits: str
    notes: tuple[str, ...]
    steps: tuple[Step, ...]
    masses: pd.DataFrame
    largest_gradient: tuple[float, ...] = ()
    _samples: tuple[Sample, ...] = field(default=(), repr=False)

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

        Raises
        ------
        CurveError
            When the day is outside the watch or inside an interval in which the curve is
            not determined, there is no such group, or none is named and there are several.
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
        """
        rows = []
        for step in self.steps:
            try:
                low, high = step.limits(day)
                rows.append((step(day), low, high, ""))
            except CurveError as refusal:
                rows.append((np.nan, np.nan, np.nan, refusal.what))
        found = pd.DataFrame(rows, columns=["survival", "lower", "upper", "note"])
        found.insert(0, "day", float(day))
        found.insert(
            5 - 1, "at_risk", [_watched(sample, np.array([day], dtype=float))[0] for sample in self._samples]
        )
        found.insert(0, self.column, self._labels(range(len(self.steps))))
        return found

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
        """
        asked = np.asarray(list(days), dtype=float)
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
        """
        rows = [
            (_reaches(step, step.survival), _reaches(step, step.lower), _reaches(step, step.upper))
            for step in self.steps
        ]
        found = pd.DataFrame(rows, columns=["median", "lower", "upper"]).assign(unit="days since planting")
        found.insert(0, self.column, self._labels(range(len(self.steps))))
        return found

    def restricted_mean(self, day: float) -> pd.DataFrame:
        """Mean days alive up to ``day``: the area under each Kaplan-Meier curve.

        A death counts on the day it was found, so the mean is up to a visit's gap too long.

        Returns
        -------
        pandas.DataFrame
            The group, ``day, estimate, std_error, lower, upper`` and ``unit``.

        Raises
        ------
        CurveError
            When the estimator is not Kaplan-Meier, or the day is outside a group's watch
            while some of it are alive.
        """
        if self.estimator != "kaplan-meier":
            raise CurveError(
                "the area is not determined where days of death are not", mend='use estimator="kaplan-meier"'
            )
        rows = []
        for step, sample in zip(self.steps, self._samples, strict=True):
            if not (day > step.last_day and step.survival[-1] == 0):
                step(day)  # refuses days outside the watch
            mean, error, _, lower, upper = restricted_mean(sample, float(day))
            rows.append((float(day), mean, error, lower, upper))
        columns = ["day", "estimate", "std_error", "lower", "upper"]
        found = pd.DataFrame(rows, columns=columns).assign(unit="days alive")
        found.insert(0, self.column, self._labels(range(len(self.steps))))
        return found

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
        from html import escape

        words = "".join(f"<p>{escape(text)}</p>" for text in (self.limits, *self.notes))
        return str(self.table.to_html(index=False, float_format=lambda x: f"{x:.3f}", na_rep="")) + words

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


def _reaches(step: Step, level: FloatArray) -> float:
    low = np.flatnonzero(level <= 0.5)
    return float(step.days[low[0]]) if len(low) else float("nan")


def _watched(sample: Sample, days: FloatArray) -> FloatArray:
    first = float(sample.start.min())
    at = np.where(days == first, np.nextafter(first, np.inf), days)
    covers = (sample.start[:, None] < at[None, :]) & (at[None, :] <= sample.stop[:, None])
    return whole(sample.at_risk @ covers)


def whole(counts: FloatArray) -> FloatArray:
    """Turn counts into whole numbers where all are."""
    rounded = np.round(counts)
    return rounded.astype(np.int64) if np.allclose(counts, rounded, atol=1e-9, rtol=0) else counts
