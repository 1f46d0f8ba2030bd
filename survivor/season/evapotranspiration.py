"""Reference evapotranspiration: what a cover of short green grass in water enough would use in a day.

The arithmetic is pyet's. Latitude comes in degrees here and goes to pyet in radians in one
place; a day on which anything needed is not known stays not known.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal, get_args

import numpy as np
import pandas as pd

from survivor.arguments import amount, columns_of, dates, is_number, is_one_of, numbers
from survivor.errors import SeasonError

Method = Literal["supplied", "penman-monteith", "hargreaves"]

_HUMIDITY: Final = (("vapour_kpa",), ("rh_max", "rh_min"), ("rh_mean",))  # FAO-56 ch. 3, the best first
_SUN: Final = ("radiation_mj", "sunshine_h")
_NEEDS: Final = {
    "supplied": "a column eto_mm",
    "penman-monteith": "columns tmin_c, tmax_c, wind_m_s, radiation_mj or sunshine_h, and humidity "
    "(vapour_kpa, rh_max and rh_min, or rh_mean); latitude; elevation_m",
    "hargreaves": "columns tmin_c and tmax_c; latitude",
}
_LOWEST_WIND: Final = 0.1  # m; below it FAO-56 eq. 47 has no logarithm
_WORDS: Final = {
    "supplied": "as supplied",
    "penman-monteith": "by FAO Penman-Monteith",
    "hargreaves": "by Hargreaves, from daily lowest and highest temperature",
}


@dataclass(frozen=True)
class Reference:
    """Reference evapotranspiration, a row a day.

    Attributes
    ----------
    table
        ``date``, ``eto_mm`` (mm a day; NaN: not known).
    method
        How it came about.
    notes
        Plain sentences.
    """

    table: pd.DataFrame
    method: Method
    notes: tuple[str, ...]


def reference_evapotranspiration(
    daily: pd.DataFrame,
    *,
    latitude: float | None = None,
    elevation_m: float | None = None,
    wind_height_m: float = 2.0,
    method: Method | None = None,
) -> Reference:
    """Give reference evapotranspiration from what a weather record holds.

    Parameters
    ----------
    daily
        ``date`` and any of ``eto_mm`` (mm); ``tmin_c, tmax_c`` (degrees Celsius);
        ``wind_m_s`` (m/s); ``radiation_mj`` (MJ per m2 and day), ``sunshine_h`` (hours);
        ``vapour_kpa`` (kPa), ``rh_max, rh_min, rh_mean`` (per cent).
    latitude
        Degrees, south negative; needed unless evapotranspiration is supplied.
    elevation_m
        Height above the sea, m; needed for Penman-Monteith.
    wind_height_m
        Height at which wind was measured, m; it is brought to 2 m.
    method
        None: evapotranspiration as supplied, else Penman-Monteith where all that it needs
        is there, else Hargreaves. One method serves the whole record.

    Returns
    -------
    Reference
        ``table`` with ``date, eto_mm`` (mm a day), the ``method`` taken and ``notes``.

    Raises
    ------
    SeasonError
        When no method has what it needs, latitude is no latitude, or something is no number or date.

    Examples
    --------
    >>> days = pd.DataFrame({"date": ["2024-07-14"], "tmin_c": [14.8], "tmax_c": [26.6]})
    >>> found = reference_evapotranspiration(days, latitude=45.72)
    >>> found.method, round(float(found.table["eto_mm"].iloc[0]), 1)  # example 20 of FAO-56: 5.0
    ('hargreaves', 5.0)

    Notes
    -----
    FAO-56: Allen, Pereira, Raes and Smith 1998, FAO Irrigation and Drainage Paper 56, ch. 3, 4.
    """
    daily = columns_of(daily, ["date"], "daily", SeasonError, "give a row a day, with date")
    if method is not None and not is_one_of(method, get_args(Method)):
        named = ", ".join(map(repr, get_args(Method)))
        raise SeasonError(f"method={method!r} is not known", where="method", mend=f"use one of {named}")
    place = latitude is not None
    able = {
        "supplied": "eto_mm" in daily,
        "penman-monteith": place and elevation_m is not None and _has_all_for_penman_monteith(daily),
        "hargreaves": place and {"tmin_c", "tmax_c"} <= set(daily),
    }
    chosen = method if method is not None else next((name for name in get_args(Method) if able[name]), None)
    if chosen is None or not able[chosen]:
        raise SeasonError(
            f"evapotranspiration {_WORDS[chosen]} is not possible with these columns"
            if chosen
            else "there is nothing to reckon evapotranspiration from",
            mend=f"{chosen or 'hargreaves'} needs {_NEEDS[chosen or 'hargreaves']}",
        )
    days = dates(daily["date"], "column date", SeasonError, "give a date a row")
    rows = daily.set_index(days)
    if chosen == "supplied":
        given = numbers(rows["eto_mm"], "column eto_mm", SeasonError, "give mm a day")
        eto = pd.Series(given, rows.index)
    elif chosen == "hargreaves":
        eto = hargreaves(rows["tmin_c"], rows["tmax_c"], latitude=_known(latitude))
    else:
        eto = penman_monteith(
            rows, latitude=_known(latitude), elevation_m=_known(elevation_m), wind_height_m=wind_height_m
        )
    table = pd.DataFrame({"date": rows.index, "eto_mm": eto.to_numpy(dtype=float)})
    lacking = int(table["eto_mm"].isna().sum())
    notes = [f"Reference evapotranspiration {_WORDS[chosen]}"]
    if lacking:
        notes.append(f"it is not known for {lacking} of the {len(table)} days in the file")
    return Reference(table, chosen, tuple(notes))


def hargreaves(
    tmin_c: pd.Series[float],
    tmax_c: pd.Series[float],
    *,
    latitude: float,
    mean_c: pd.Series[float] | None = None,
) -> pd.Series[float]:
    """Reckon reference evapotranspiration from temperature alone (FAO-56 eq. 52).

    Parameters
    ----------
    tmin_c, tmax_c
        Lowest and highest temperature of the day, degrees Celsius, indexed by date.
    latitude
        Degrees, south negative.
    mean_c
        Mean temperature; None: half-way between the two.

    Returns
    -------
    pandas.Series
        mm a day; NaN where a temperature is not known or the lowest is above the highest.

    Raises
    ------
    SeasonError
        When latitude is no latitude, or temperatures are no numbers indexed by date.

    Examples
    --------
    >>> july = pd.to_datetime(["2024-07-14"])
    >>> found = hargreaves(pd.Series([14.8], july), pd.Series([26.6], july), latitude=45.72)
    >>> round(float(found.iloc[0]), 1)  # example 20 of FAO-56, for Lyon: 5.0
    5.0
    """
    import pyet

    lat = radians(latitude)
    low, high = _of_days(tmin_c, "tmin_c"), _of_days(tmax_c, "tmax_c")
    mean = (low + high) / 2 if mean_c is None else _of_days(mean_c, "mean_c")
    inputs = pd.DataFrame({"low": low, "high": high, "mean": mean})
    whole = inputs[inputs.notna().all(axis=1) & (inputs["low"] <= inputs["high"])]
    if whole.empty:
        return pd.Series(np.nan, index=inputs.index, dtype=float)
    daily: pd.Series[float] = pyet.hargreaves(whole["mean"], whole["high"], whole["low"], lat)
    return daily.reindex(inputs.index)


def penman_monteith(
    daily: pd.DataFrame,
    *,
    latitude: float,
    elevation_m: float,
    wind_height_m: float = 2.0,
    soil_heat_mj: float = 0.0,
) -> pd.Series[float]:
    """Reckon reference evapotranspiration by the FAO Penman-Monteith equation (FAO-56 eq. 6).

    Parameters
    ----------
    daily
        Indexed by date: ``tmin_c, tmax_c, wind_m_s``; ``radiation_mj`` (used where given)
        or ``sunshine_h``; ``vapour_kpa``, else ``rh_max, rh_min``, else ``rh_mean``, else
        none: the air is then taken to be moist at the lowest temperature (FAO-56 eq. 48).
    latitude, elevation_m, wind_height_m
        Degrees, south negative; m; m.
    soil_heat_mj
        Heat taken up by the soil, MJ per m2 and day: about 0 over a day (FAO-56 eq. 42).

    Returns
    -------
    pandas.Series
        mm a day; NaN where any of these is not known.

    Raises
    ------
    SeasonError
        When latitude is no latitude, a column is absent, or something is no number or not indexed by date.

    Examples
    --------
    >>> july = pd.to_datetime(["2024-07-06"])
    >>> day = pd.DataFrame({"tmin_c": 12.3, "tmax_c": 21.5, "rh_max": 84.0, "rh_min": 63.0,
    ...     "wind_m_s": 2.078, "sunshine_h": 9.25}, july)
    >>> found = penman_monteith(day, latitude=50.8, elevation_m=100)
    >>> round(float(found.iloc[0]), 1)  # example 18 of FAO-56, for Brussels: 3.9
    3.9
    """
    import pyet

    lat = radians(latitude)
    needed = ["tmin_c", "tmax_c", "wind_m_s"]
    daily = columns_of(daily, needed, "daily", SeasonError, f"give {_NEEDS['penman-monteith']}")
    sun = next((name for name in _SUN if name in daily), None)
    if sun is None:
        raise SeasonError(
            f"the table has no column {' or '.join(_SUN)}", where="daily", mend="give one of the two"
        )
    mend = "give metres"
    amount(elevation_m, "elevation_m", SeasonError, mend)
    amount(wind_height_m, "wind_height_m", SeasonError, f"{mend}, above 0.1", above=_LOWEST_WIND)
    amount(soil_heat_mj, "soil_heat_mj", SeasonError, "give MJ per m2 and day")
    humidity = next((names for names in _HUMIDITY if set(names) <= set(daily)), ())
    used = [*needed, sun, *humidity]
    inputs = pd.DataFrame({name: _of_days(daily[name], name) for name in used})
    whole = inputs[inputs.notna().all(axis=1) & (inputs["tmin_c"] <= inputs["tmax_c"])]
    if whole.empty:
        return pd.Series(np.nan, index=inputs.index, dtype=float)
    words = {"vapour_kpa": "ea", "rh_max": "rhmax", "rh_min": "rhmin", "rh_mean": "rh"}
    radiation = (
        whole["radiation_mj"] if sun == "radiation_mj" else pyet.calc_rad_sol_in(whole["sunshine_h"], lat)
    )
    found: pd.Series[float] = pyet.pm_fao56(
        (whole["tmin_c"] + whole["tmax_c"]) / 2,
        wind_at_two_metres(whole["wind_m_s"], wind_height_m),
        rs=radiation,
        g=soil_heat_mj,
        tmax=whole["tmax_c"],
        tmin=whole["tmin_c"],
        elevation=elevation_m,
        lat=lat,
        **{words[name]: whole[name] for name in humidity},
    )
    return found.reindex(inputs.index)


def _of_days(values: object, name: str) -> pd.Series[float]:
    """Numbers by date; without dates the day's sunshine would be that of another day."""
    if not isinstance(values, pd.Series) or not isinstance(values.index, pd.DatetimeIndex):
        raise SeasonError(
            f"{name} is not indexed by date", where=name, mend='give a column of daily.set_index("date")'
        )
    return pd.Series(numbers(values, name, SeasonError, "give numbers"), values.index)


def wind_at_two_metres(speed: pd.Series[float], height_m: float) -> pd.Series[float]:
    """Bring wind speed measured at another height to 2 m (FAO-56 eq. 47); m/s."""
    return speed if height_m == 2.0 else speed * (4.87 / math.log(67.8 * height_m - 5.42))


def radians(latitude: float) -> float:
    """Turn a latitude in degrees into radians; the only place where that is done.

    Raises
    ------
    SeasonError
        When it is not between -90 and 90.
    """
    if not is_number(latitude) or not -90 <= latitude <= 90:
        raise SeasonError(
            f"latitude {latitude} cannot be true", mend="give degrees from -90 to 90, south negative"
        )
    return math.radians(latitude)


def _has_all_for_penman_monteith(daily: pd.DataFrame) -> bool:
    has = set(daily)
    humid = any(set(names) <= has for names in _HUMIDITY)
    return {"tmin_c", "tmax_c", "wind_m_s"} <= has and bool(has & set(_SUN)) and humid


def _known(value: float | None) -> float:
    assert value is not None  # the method was chosen because it is there
    return value
