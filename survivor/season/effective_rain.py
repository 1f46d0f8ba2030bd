"""Effective rain: the part of the rain that plants can use."""

from __future__ import annotations

from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survivor.errors import SeasonError

FloatArray = NDArray[np.float64]
Rule = Literal["fao", "usda-scs"]

LOST_BELOW: Final = 0.2  # of the day's reference evapotranspiration


def effective_rain(rain_mm: ArrayLike, eto_mm: ArrayLike) -> FloatArray:
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
    """
    rain, eto = np.asarray(rain_mm, dtype=float), np.asarray(eto_mm, dtype=float)
    known = np.where(rain < LOST_BELOW * eto, 0.0, rain)
    return np.where(rain == 0, 0.0, np.where(np.isnan(rain) | np.isnan(eto), np.nan, known))


def monthly_effective_rain(rain_mm: ArrayLike, rule: Rule = "fao") -> FloatArray:
    """Effective rain of months whose days are not known, by a rule of thumb.

    Parameters
    ----------
    rain_mm
        Rain of each month, mm; NaN where not known.
    rule
        ``fao``: 0.8 P - 25 above 75 mm, else 0.6 P - 10, not below 0 (Brouwer and
        Heibloem 1986, FAO Irrigation Water Management Training Manual 3; for slopes of
        at most 4 or 5 %). ``usda-scs``: P (125 - 0.2 P) / 125 up to 250 mm, 125 + 0.1 P above
        (USDA Soil Conservation Service).

    Returns
    -------
    numpy.ndarray
        mm a month.

    Raises
    ------
    SeasonError
        When an amount is below 0, or the rule has another name.
    """
    rain = np.asarray(rain_mm, dtype=float)
    if (rain < 0).any():
        raise SeasonError("rain below 0 mm cannot be true", mend="leave a month that is not known blank")
    if rule == "fao":
        return np.maximum(np.where(rain > 75, 0.8 * rain - 25, 0.6 * rain - 10), 0.0)
    if rule == "usda-scs":
        return np.where(rain <= 250, rain * (125 - 0.2 * rain) / 125, 125 + 0.1 * rain)
    raise SeasonError(f"{rule!r} is no rule for effective rain", mend="use fao or usda-scs")
