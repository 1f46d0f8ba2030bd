"""Reference evapotranspiration against the printed examples of FAO-56, and the latitude trap.

Source of the examples: Allen, Pereira, Raes and Smith 1998, Crop evapotranspiration, FAO
Irrigation and Drainage Paper 56. The printed answers were read in copies by others of the
paper, not in the paper itself; `RUN` values were computed from the paper's equations by
code written apart from this package.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pyet
import pytest

from survivor.errors import SeasonError
from survivor.season.evapotranspiration import (
    hargreaves,
    penman_monteith,
    radians,
    reference_evapotranspiration,
    wind_at_two_metres,
)


def one_day(date: str, **values: float) -> pd.DataFrame:
    return pd.DataFrame({name: [value] for name, value in values.items()}, index=pd.DatetimeIndex([date]))


def test_example_17_bangkok_in_april():
    # Source: FAO-56 example 17 (monthly). Printed Ra 38.06 and ETo 5.72; RUN 38.0577 and 5.71612.
    # The month's mean temperature is (34.8 + 25.6) / 2; its soil heat .14; 15 April is day 105.
    latitude = 13 + 44 / 60
    day = one_day("2023-04-15", tmin_c=25.6, tmax_c=34.8, vapour_kpa=2.85, wind_m_s=2.0, sunshine_h=8.5)
    ra = pyet.extraterrestrial_r(day.index, radians(latitude))
    eto = penman_monteith(day, latitude=latitude, elevation_m=2, soil_heat_mj=0.14)
    assert ra.iloc[0] == pytest.approx(38.0577, abs=5e-5)
    assert round(ra.iloc[0], 2) == 38.06
    assert round(eto.iloc[0], 2) == 5.72
    assert eto.iloc[0] == pytest.approx(5.71612, abs=5e-5)


def test_example_18_uccle_on_6_july():
    # Source: FAO-56 example 18. Printed u2 2.078, Ra 41.09 and ETo 3.88 (3.9); RUN 41.0884 and 3.88031.
    # Wind 10 km/h, printed as 2.78 m/s, was measured at 10 m; 6 July is day 187.
    latitude = 50 + 48 / 60
    day = one_day(
        "2023-07-06", tmin_c=12.3, tmax_c=21.5, rh_max=84.0, rh_min=63.0, wind_m_s=2.78, sunshine_h=9.25
    )
    assert round(wind_at_two_metres(day["wind_m_s"], 10).iloc[0], 2) == 2.08
    assert round(wind_at_two_metres(pd.Series([10 / 3.6]), 10).iloc[0], 3) == 2.078
    assert round(pyet.extraterrestrial_r(day.index, radians(latitude)).iloc[0], 2) == 41.09
    eto = penman_monteith(day, latitude=latitude, elevation_m=100, wind_height_m=10)
    assert round(eto.iloc[0], 2) == 3.88
    # RUN has u2 = 2.078; unrounded wind moves the fifth figure.
    rounded = penman_monteith(day.assign(wind_m_s=2.078), latitude=latitude, elevation_m=100)
    assert rounded.iloc[0] == pytest.approx(3.88031, abs=2e-4)


def test_example_20_lyon_in_july_from_temperature_only():
    # Source: FAO-56 example 20 and eq. 48, 50. Printed Ra 40.55, Rs 22.29, ETo 4.56 (4.6); RUN 40.5548,
    # 22.2896, 4.56044. Moist at the lowest temperature; Rs = .16 sqrt(Tmax - Tmin) Ra; 15 July is day 196.
    latitude = 45 + 43 / 60
    day = one_day("2023-07-15", tmin_c=14.8, tmax_c=26.6, wind_m_s=2.0)
    ra = pyet.extraterrestrial_r(day.index, radians(latitude))
    assert ra.iloc[0] == pytest.approx(40.5548, abs=5e-5)
    rs = 0.16 * np.sqrt(26.6 - 14.8) * ra
    assert rs.iloc[0] == pytest.approx(22.2896, abs=5e-5)
    eto = penman_monteith(day.assign(radiation_mj=rs), latitude=latitude, elevation_m=200)
    assert round(eto.iloc[0], 2) == 4.56
    assert eto.iloc[0] == pytest.approx(4.56044, abs=5e-5)


def test_example_20_lyon_by_hargreaves():
    # Source: FAO-56 example 20. Printed 5.03 (5.0). RUN 5.03306 turns MJ into mm with 0.408; pyet with the
    # latent heat at the day's temperature (2.4521 MJ per kg at 20.7 degrees): 5.0307.
    day = one_day("2023-07-15", tmin_c=14.8, tmax_c=26.6)
    eto = hargreaves(day["tmin_c"], day["tmax_c"], latitude=45 + 43 / 60)
    assert round(eto.iloc[0], 2) == 5.03
    latent = 2.501 - 0.002361 * 20.7
    assert eto.iloc[0] * latent * 0.408 == pytest.approx(5.03306, abs=5e-5)


def year(low: float = 8.0, high: float = 20.0) -> pd.DataFrame:
    dates = pd.date_range("2023-01-01", "2023-12-31", freq="D")
    return pd.DataFrame({"date": dates, "tmin_c": low, "tmax_c": high})


def test_latitude_is_given_in_degrees():
    # pyet takes radians: -35 handed on as it stands gave 0.0 mm on every day of the year, and no warning.
    import pyet

    table = reference_evapotranspiration(year(), latitude=-35.0).table
    assert table["eto_mm"].min() > 1
    by_month = table.groupby(table["date"].dt.month)["eto_mm"].mean()
    assert by_month.idxmax() in (12, 1)
    assert by_month.idxmin() == 6
    north = reference_evapotranspiration(year(), latitude=35.0).table
    assert north.groupby(north["date"].dt.month)["eto_mm"].mean().idxmax() == 6
    rows = year().set_index("date")
    in_radians = pyet.hargreaves(
        (rows["tmin_c"] + rows["tmax_c"]) / 2, rows["tmax_c"], rows["tmin_c"], -35 * np.pi / 180
    )
    np.testing.assert_allclose(table["eto_mm"], in_radians)


@pytest.mark.parametrize("latitude", [-90.5, 91, float("nan"), -3600])
def test_a_latitude_that_cannot_be_true_is_refused(latitude):
    with pytest.raises(SeasonError, match="cannot be true"):
        radians(latitude)
    with pytest.raises(SeasonError, match="degrees from -90 to 90"):
        reference_evapotranspiration(year(), latitude=latitude)


def full(days: int = 4) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "date": pd.date_range("2023-01-01", periods=days, freq="D"),
            "tmin_c": 12.0,
            "tmax_c": 28.0,
            "wind_m_s": 2.0,
            "sunshine_h": 9.0,
            "rh_mean": 55.0,
            "eto_mm": 6.1,
        }
    )


@pytest.mark.parametrize(
    ("drop", "elevation", "method"),
    [
        ([], 100.0, "supplied"),
        (["eto_mm"], 100.0, "penman-monteith"),
        (["eto_mm"], None, "hargreaves"),
        (["eto_mm", "sunshine_h"], 100.0, "hargreaves"),
        (["eto_mm", "rh_mean"], 100.0, "hargreaves"),
    ],
)
def test_the_best_method_that_the_columns_allow(drop, elevation, method):
    found = reference_evapotranspiration(full().drop(columns=drop), latitude=-36.0, elevation_m=elevation)
    assert found.method == method
    assert found.table["eto_mm"].between(4, 9).all()


@pytest.mark.parametrize("method", ["supplied", "penman-monteith", "hargreaves"])
@pytest.mark.parametrize("lost", ["eto_mm", "tmax_c", "sunshine_h"])
def test_a_day_not_known_stays_not_known_and_is_said(method, lost):
    daily = full()
    daily.loc[2, lost] = np.nan
    found = reference_evapotranspiration(daily, latitude=-36.0, elevation_m=100.0, method=method)
    used = {"supplied": {"eto_mm"}, "penman-monteith": {"tmax_c", "sunshine_h"}, "hargreaves": {"tmax_c"}}
    assert found.table["eto_mm"].isna().tolist() == [False, False, lost in used[method], False]
    assert any("not known for 1 of the 4 days" in note for note in found.notes) == (lost in used[method])


@pytest.mark.parametrize("method", ["penman-monteith", "hargreaves"])
def test_nothing_known_gives_nothing(method):
    daily = full().assign(tmin_c=np.nan)
    found = reference_evapotranspiration(daily, latitude=-36.0, elevation_m=100.0, method=method)
    assert found.table["eto_mm"].isna().all()


def test_a_lowest_above_the_highest_is_not_known():
    daily = full().assign(tmin_c=[12.0, 30.0, 12.0, 12.0])
    found = reference_evapotranspiration(daily, latitude=-36.0, method="hargreaves")
    assert found.table["eto_mm"].isna().tolist() == [False, True, False, False]


def test_without_what_a_method_needs_the_error_names_it():
    with pytest.raises(SeasonError, match="tmin_c and tmax_c; latitude"):
        reference_evapotranspiration(full()[["date", "tmin_c"]], latitude=-36.0)
    with pytest.raises(SeasonError, match="latitude"):
        reference_evapotranspiration(full().drop(columns="eto_mm"))
    with pytest.raises(SeasonError, match="by FAO Penman-Monteith is not possible"):
        reference_evapotranspiration(full(), latitude=-36.0, method="penman-monteith")
