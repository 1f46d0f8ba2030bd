"""The daily water balance of the weed-free patch (FAO-56 ch. 8).

A day's rain enters first; the root zone then gives what the air asks of it, less as it
dries; what it cannot hold drains. Depletion is the water missing below field capacity.

A day that is not known is not made up. From it on the balance follows two paths, the
wettest and the driest that the day allows, until they meet again (within 0.05 mm), as
they do when rain fills the soil on both or when both have dried out. A day is called
stressed, or not, where both paths agree.

Effective rain: the part of the rain that plants can use.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from survivor.arguments import columns_of, dates, is_number, must_be, numbers
from survivor.arrays import Floats
from survivor.errors import SeasonError
from survivor.season.soil import Patch

if TYPE_CHECKING:
    from matplotlib.axes import Axes


LOST_BELOW: Final = 0.2  # of the day's reference evapotranspiration


def effective_rain(rain_mm: ArrayLike, eto_mm: ArrayLike) -> Floats:
    """Rain of single days that enters the soil, mm.

    A fall below a fifth of the day's reference evapotranspiration wets leaves and crust
    and is gone the same day; any other enters whole (FAO-56, Allen and others 1998, ch. 8,
    on the water balance by day).

    Parameters
    ----------
    rain_mm, eto_mm
        mm a day, of the same length; NaN where not known.

    Returns
    -------
    numpy.ndarray
        mm a day; NaN where either is not known, unless no rain fell.

    Raises
    ------
    SeasonError
        When one is no number, is below 0, or the two differ in length.

    Examples
    --------
    >>> effective_rain([0.5, 12.0], [5.0, 5.0]).tolist()  # less than a fifth of the day's demand is lost
    [0.0, 12.0]
    """
    rain, eto = (
        numbers(value, name, SeasonError, "give mm a day")
        for name, value in (("rain_mm", rain_mm), ("eto_mm", eto_mm))
    )
    if rain.shape != eto.shape and 1 not in (rain.size, eto.size):
        raise SeasonError(
            f"rain of {rain.size} days and evapotranspiration of {eto.size}",
            where="rain_mm, eto_mm",
            mend="give both of the same days",
        )
    if (rain < 0).any() or (eto < 0).any():
        raise SeasonError(
            "an amount below 0 cannot be true", where="rain_mm, eto_mm", mend="leave it blank (NaN)"
        )
    effective = np.where(rain < LOST_BELOW * eto, 0.0, rain)
    return np.where(rain == 0, 0.0, np.where(np.isnan(rain) | np.isnan(eto), np.nan, effective))


MOST_ETO: Final = 15.0  # mm; a day whose evapotranspiration is not known had no more
COLUMNS: Final = (
    "date",
    "rain_mm",
    "effective_rain_mm",
    "eto_mm",
    "et_mm",
    "depletion_mm",
    "wettest_mm",
    "driest_mm",
    "drainage_mm",
    "ks",
    "stressed",
)
_FLOOD: Final = 1e6  # mm; what may have fallen on a day not read: it fills any soil
_MET: Final = 0.05  # mm; paths as near as this go on as one, the wetter: no gauge tells them apart
_SAME: Final = 1e-9  # mm
_LEFT_OUT: Final = (
    "Water running off or on, and water rising from below, are not modelled; the soil is one store, as deep "
    "as the root zone, from the first day on"
)


@dataclass(frozen=True)
class Balance:
    """Soil water of one patch, day by day.

    Attributes
    ----------
    patch
        The root zone.
    table
        One row a day: ``date``; ``rain_mm``; ``effective_rain_mm``, the part that entered
        the soil; ``eto_mm``, reference evapotranspiration; ``et_mm``, what the root zone
        gave; ``depletion_mm`` at the end of the day; ``wettest_mm, driest_mm``, between
        which it lies where it is not known; ``drainage_mm``; ``ks``, the stress
        coefficient (1: water enough, 0: none); ``stressed``, whether ``ks`` was below 1.
        NaN, or NA in ``stressed``: not known. On days known at both ends, effective rain =
        ``et_mm`` + ``drainage_mm`` + fall of ``depletion_mm``.
    notes
        Plain sentences: what is not known, and what the balance leaves out.
    """

    patch: Patch
    table: pd.DataFrame
    notes: tuple[str, ...]

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the water left in the root zone."""
        from survivor.figures.season import draw_water

        return draw_water(self.table, ax, total_mm=self.patch.total_mm, ready_mm=self.patch.ready_mm)

    def __repr__(self) -> str:
        return self.table.to_string(index=False)

    def _repr_html_(self) -> str:
        return str(self.table.to_html(index=False, float_format=lambda x: f"{x:.1f}", na_rep=""))


def water_balance(daily: pd.DataFrame, patch: Patch, *, start_mm: float | None = None) -> Balance:
    """Reckon the daily soil water of one patch.

    Parameters
    ----------
    daily
        ``date, rain_mm, eto_mm`` (mm a day; NaN or no row: not known).
    patch
        The root zone.
    start_mm
        Depletion before the first day, mm; 0 for soil that has just drained. None: not known.

    Returns
    -------
    Balance
        ``table``, a row a day.

    Raises
    ------
    SeasonError
        When a column is absent, a date stands twice, an amount is below 0, or the soil
        cannot be depleted by ``start_mm``.

    Examples
    --------
    >>> days = pd.date_range("2024-01-01", periods=3)
    >>> daily = pd.DataFrame({"date": days, "rain_mm": [20.0, 0.0, 0.0], "eto_mm": [5.0, 5.0, 5.0]})
    >>> found = water_balance(daily, Patch(0.12, 0.05, depth_m=0.5), start_mm=30)
    >>> found.table["depletion_mm"].round(1).tolist()  # 30 less 20 of rain, then 0.4 of 5 a day
    [12.0, 14.0, 16.0]

    Notes
    -----
    With D the depletion, P effective rain, E the reference evapotranspiration times the
    patch's coefficient, and S = D - P the depletion after the rain: Ks = (TAW - S) / (TAW - RAW),
    1 where S is below RAW (eq. 84); the day's use is Ks E, and never more than TAW - S; D of
    the evening = S + Ks E (eq. 85), what is below 0 being drainage (eq. 88).
    """
    must_be(
        patch, Patch, "a Patch", "patch", SeasonError, "give Patch(field_capacity, wilting_point, depth_m)"
    )
    return water_balances(daily, [patch], start_mm=start_mm)[0]


def water_balances(
    daily: pd.DataFrame, patches: Sequence[Patch], *, start_mm: float | None = None
) -> list[Balance]:
    """Reckon :func:`water_balance` for several patches under one sky, all at a time."""
    given = _every_day(daily)
    rain, eto = given["rain_mm"].to_numpy(), given["eto_mm"].to_numpy()
    total = np.array([patch.total_mm for patch in patches])
    if start_mm is not None and not (is_number(start_mm) and 0 <= start_mm <= total.min(initial=np.inf)):
        raise SeasonError(
            f"the soil cannot be depleted by {start_mm} mm",
            where="start_mm",
            mend=f"give 0 (full) to {total.min():g} mm (nothing left for plants), or None",
        )
    ready = np.array([patch.ready_mm for patch in patches])
    coefficient = np.array([patch.coefficient for patch in patches])
    wettest, driest = _walk(rain, eto, total, ready, coefficient, start_mm)
    entered = effective_rain(rain, eto)
    return [
        Balance(patch, table, _notes(table))
        for place, patch in enumerate(patches)
        for table in [_table(given, entered, wettest[:, :, place], driest[:, :, place])]
    ]


def _every_day(daily: pd.DataFrame) -> pd.DataFrame:
    """Return a row for each day from the first to the last; a day without a row is not known."""
    names = ["rain_mm", "eto_mm"]
    table = columns_of(daily, ["date", *names], "daily", SeasonError, "give date, rain_mm and eto_mm, in mm")
    amounts = {name: numbers(table[name], f"column {name}", SeasonError, "give mm") for name in names}
    days = dates(table["date"], "column date", SeasonError, "give a date a row")
    rows = pd.DataFrame(amounts, index=days.normalize())
    if rows.empty or rows.index.hasnans or not rows.index.is_unique:
        raise SeasonError(
            "there are no days, or a date is blank or stands twice", where="daily", mend="give one row a day"
        )
    if (rows < 0).any(axis=None):
        raise SeasonError("an amount below 0 cannot be true", where="daily", mend="leave it blank")
    return rows.sort_index().asfreq("D").rename_axis("date").reset_index()


def _walk(
    rain: Floats, eto: Floats, total: Floats, ready: Floats, coefficient: Floats, start_mm: float | None
) -> tuple[Floats, Floats]:
    """Follow the wettest and the driest path; each (days, 4: depletion, use, drainage, Ks; patches)."""
    wettest, driest = (np.empty((len(rain), 4, len(total))) for _ in range(2))
    low = np.full(len(total), 0.0 if start_mm is None else start_mm)
    high = total.copy() if start_mm is None else low.copy()
    for day, (fell, asked) in enumerate(zip(rain, eto, strict=True)):
        unknown = np.isnan(asked)
        # More evapotranspiration means a drier evening and, at most, a small fall that is lost.
        least, most = (0.0, MOST_ETO) if unknown else (asked, asked)
        if np.isnan(fell):
            wettest[day] = _one_day(low, _FLOOD, least * coefficient, total, ready)
            driest[day] = _one_day(high, 0.0, most * coefficient, total, ready)
        else:
            gained = [0.0 if fell < LOST_BELOW * eto_mm else fell for eto_mm in (least, most)]
            wettest[day] = _one_day(low, gained[0], least * coefficient, total, ready)
            driest[day] = _one_day(high, gained[1], most * coefficient, total, ready)
        low, high = wettest[day, 0], driest[day, 0]
        met = high - low <= _MET
        driest[day, 0] = high = np.where(met, low, high)
    return wettest, driest


def _one_day(before: Floats, entered: float, asked: Floats, total: Floats, ready: Floats) -> Floats:
    """One day of a path: depletion in the evening, use, drainage (mm) and Ks."""
    after_rain = before - entered
    left = np.maximum(total - after_rain, 0.0)  # rounding may leave a dry soil a hair below nothing
    ks = np.minimum(left / (total - ready), 1.0)
    used = np.minimum(ks * asked, left)
    evening = after_rain + used
    return np.stack([np.maximum(evening, 0.0), used, np.maximum(-evening, 0.0), ks])


def _table(given: pd.DataFrame, entered: Floats, wettest: Floats, driest: Floats) -> pd.DataFrame:
    read = (given["rain_mm"].notna() & given["eto_mm"].notna()).to_numpy()
    depletion, used, drained, ks = (
        np.where(np.abs(dry - wet) <= _SAME, wet, np.nan)
        for wet, dry in zip(wettest.T, driest.T, strict=True)
    )
    stressed = pd.array(np.full(len(given), pd.NA, dtype=object), dtype="boolean")
    stressed[wettest[:, 3] < 1 - _SAME] = True
    stressed[driest[:, 3] >= 1 - _SAME] = False
    return given.assign(
        effective_rain_mm=entered,
        et_mm=np.where(read, used, np.nan),
        depletion_mm=depletion,
        wettest_mm=wettest[:, 0],
        driest_mm=driest[:, 0],
        drainage_mm=np.where(read, drained, np.nan),
        ks=np.where(read, ks, np.nan),
        stressed=stressed,
    )[list(COLUMNS)]


def _notes(table: pd.DataFrame) -> tuple[str, ...]:
    days = len(table)
    notes = [_LEFT_OUT]
    for name, words in (("rain_mm", "rain"), ("eto_mm", "evapotranspiration")):
        count = int(table[name].isna().sum())
        if count:
            notes.append(f"{words} is not known on {count} of {days} days".capitalize())
    unknown = int(table["depletion_mm"].isna().sum())
    if unknown:
        doubtful = int(table["stressed"].isna().sum())
        notes.append(
            f"Soil water is known within limits only on {unknown} of {days} days, and on {doubtful} of them "
            "that is too little to say whether plants were short of it"
        )
    return tuple(notes)
