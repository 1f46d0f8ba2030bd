"""Confidence bands: how many errors wide, by a published formula, and how often they hold a whole curve."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from survivor.curves import curve
from survivor.errors import CurveError, ModelError
from tests.curves.making import freireich, plots


def times_of(table):
    """How many standard errors a band lies to either side on log(-log)."""
    s, lower, error = (table[name].to_numpy(float) for name in ("survival", "lower", "std_error"))
    inside = (s > 0) & (s < 1) & ~np.isnan(lower)
    s, lower, error = s[inside], lower[inside], error[inside]
    return (np.log(-np.log(lower)) - np.log(-np.log(s))) / (error / (s * np.abs(np.log(s))))


@pytest.mark.slow
def test_errors_of_a_fine_curve_are_nairs():
    """Tail of the equal-precision band of Nair (1984) by the formula of Miller and Siegmund (1982).

    Biometrics 38, 1011-1016, written down from memory: for a bridge looked at from a to b the largest
    standardised deviation is above c with probability
    4 f(c) / c + f(c) (c - 1 / c) log(b (1 - a) / (a (1 - b))).
    """
    # Looked at from the day by which 100 of 2,000 had died to that of the 1,000th death.
    dead = np.arange(100, 1001)
    frame = pd.concat(
        [
            pd.DataFrame({"start_day": 0.0, "stop_day": dead.astype(float), "at_risk": 1, "died": 1}),
            pd.DataFrame({"start_day": 0.0, "stop_day": 100.0, "at_risk": [99], "died": [99]}),
            pd.DataFrame({"start_day": 0.0, "stop_day": 1000.0, "at_risk": [1000], "died": [0]}),
        ],
        ignore_index=True,
    )
    curves = curve(frame, cluster=None).band()
    times = times_of(curves.table)
    np.testing.assert_allclose(times, times[0], rtol=1e-6)
    share = [100 / 2000, 1000 / 2000]  # without censoring a = 1 - S
    odds = share[1] * (1 - share[0]) / (share[0] * (1 - share[1]))
    c, f = times[0], stats.norm.pdf(times[0])
    assert 4 * f / c + f * (c - 1 / c) * np.log(odds) == pytest.approx(0.05, abs=0.006)


def test_a_band_of_one_visit_is_its_limits():
    frame = plots(np.random.default_rng(3), (0.4,), (365,), plot_sd=0.5)
    for cluster in ("plot", None):
        curves = curve(frame, cluster=cluster)
        assert curves.band()["all"].limits(365) == pytest.approx(curves["all"].limits(365), abs=0.004)


def test_the_band_of_freireich_is_wider_and_stays_within_0_and_1():
    curves = curve(freireich(), by="treat", cluster=None)
    band = curves.band()
    inside = band.table["lower"].notna() & (band.table["survival"] > 0) & (band.table["survival"] < 1)
    assert inside.sum() > 15
    assert (band.table["lower"] <= curves.table["lower"])[inside].all()
    assert (band.table["upper"] >= curves.table["upper"])[inside].all()
    assert band.table["upper"].max() <= 1
    assert band.limits.startswith("95 % confidence band")
    wider = curves.band(level=0.99).table["lower"]
    assert (wider <= band.table["lower"])[inside].all()
    pd.testing.assert_frame_equal(curves.band().table, band.table)
    band.plot()


@pytest.mark.slow
def test_a_band_holds_the_whole_curve():
    """Eight plots of 30 that differ, four visits; 250 seasons; the truth by averaging over plots' factors."""
    hazards, runs = (0.1, 0.3, 0.15, 0.1), 250
    rng = np.random.default_rng(11)
    seasons = [plots(rng, hazards, number=8, size=30, plot_sd=0.4).assign(run=run) for run in range(runs)]
    curves = curve(pd.concat(seasons, ignore_index=True), by="run")
    factor = np.exp(0.4 * np.random.default_rng(2).standard_normal(200_000))
    truth = np.array([np.exp(-factor * total).mean() for total in np.cumsum(hazards)])

    def held(found):
        ends = found.table[found.table["day"] > 0].groupby("run")[["lower", "upper"]]
        return np.array([((own["lower"] <= truth) & (truth <= own["upper"])).all() for _, own in ends]).mean()

    assert held(curves.band()) >= 0.95 - 2.5 * np.sqrt(0.05 * 0.95 / runs)
    assert held(curves) < held(curves.band())


def test_bands_are_of_kaplan_meier_and_of_a_level_that_is_one():
    with pytest.raises(CurveError, match="bands are of Kaplan-Meier curves"):
        curve(freireich(), estimator="turnbull", cluster=None).band()
    with pytest.raises(ModelError, match="95 is no confidence level"):
        curve(freireich(), cluster=None).band(level=95)


def test_standard_errors_by_plots_are_what_the_limits_rest_on():
    frame = plots(np.random.default_rng(8), plot_sd=0.6)
    found = curve(frame).table.iloc[1:]
    s = found["survival"]
    half = stats.t.ppf(0.975, 7) * found["std_error"] / (s * -np.log(s))
    np.testing.assert_allclose(found["lower"], s ** np.exp(half), rtol=1e-9)
    np.testing.assert_allclose(found["upper"], s ** np.exp(-half), rtol=1e-9)
