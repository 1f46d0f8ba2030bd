"""Confidence bands: how many errors wide, by the tail of a Brownian bridge; how often they hold a curve."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import linalg, optimize, stats

from survivor.curves import curve
from survivor.errors import CurveError, ModelError
from tests.curves.making import freireich, plots


def times_of(table):
    """How many standard errors a band lies to either side on log(-log)."""
    s, lower, error = (table[name].to_numpy(float) for name in ("survival", "lower", "std_error"))
    inside = (s > 0) & (s < 1) & ~np.isnan(lower)
    s, lower, error = s[inside], lower[inside], error[inside]
    return (np.log(-np.log(lower)) - np.log(-np.log(s))) / (error / (s * np.abs(np.log(s))))


def beyond(c: float, a: float, b: float, cells: int = 400) -> float:
    """Probability that a standardised Brownian bridge leaves (-c, c) somewhere between a and b.

    Computed, not remembered: in time log(t / (1 - t)) / 2 the standardised bridge is an
    Ornstein-Uhlenbeck process, whose survival between two walls solves u' = u'' - x u' with u = 0 on
    them. The equation on ``cells`` points, made symmetric by the normal density.
    """
    x = np.linspace(-c, c, cells + 2)[1:-1]
    step = x[1] - x[0]
    middle = (x[1:] + x[:-1]) / 2
    beside = np.exp((x[1:] ** 2 + x[:-1] ** 2) / 4 - middle**2 / 2) / step**2
    ends = np.exp((x**2 - (x + step / 2) ** 2) / 2), np.exp((x**2 - (x - step / 2) ** 2) / 2)
    values, vectors = linalg.eigh_tridiagonal(-(ends[0] + ends[1]) / step**2, beside)
    root = np.sqrt(stats.norm.pdf(x) * step)
    length = np.log(b * (1 - a) / (a * (1 - b))) / 2
    return float(1 - np.exp(values * length) @ (root @ vectors) ** 2)


def test_the_computed_tail_gives_the_printed_value():
    """Klein and Moeschberger 2003, table C.3, 95 % from 0.1 to 0.6: 2.8826 (memory).

    The table is by the formula of Miller and Siegmund (1982), Biometrics 38, 1011-1016 (memory), which
    gives it to the printed digits and lies near the exact tail where that is small.
    """

    def formula(c, a, b):
        f = stats.norm.pdf(c)
        return 4 * f / c + f * (c - 1 / c) * np.log(b * (1 - a) / (a * (1 - b)))

    printed = optimize.brentq(lambda c: formula(c, 0.1, 0.6) - 0.05, 2, 4)
    assert round(printed, 4) == 2.8826
    assert beyond(printed, 0.1, 0.6) == pytest.approx(0.05, abs=0.001)
    assert beyond(3.6, 0.1, 0.9) == pytest.approx(formula(3.6, 0.1, 0.9), rel=0.02)


@pytest.mark.slow
def test_the_computed_tail_is_that_of_drawn_bridges():
    drawn = np.random.default_rng(4).standard_normal((4000, 2000))
    time = np.linspace(0, 1, 2001)[1:]
    walk = np.cumsum(drawn, axis=1) / np.sqrt(2000)
    bridge = (walk - time * walk[:, -1:])[:, 200:1200] / np.sqrt(time * (1 - time))[200:1200]
    assert (np.abs(bridge).max(axis=1) > 2.5).mean() == pytest.approx(beyond(2.5, 0.1, 0.6), abs=0.018)


@pytest.mark.slow
def test_errors_of_a_fine_curve_are_those_of_a_brownian_bridge():
    """Nair's (1984) band: as wide as the standardised bridge asks for, by the tail computed above."""
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
    assert beyond(times[0], *share) == pytest.approx(0.05, abs=0.005)


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
    with pytest.raises(CurveError, match="no band is known for Turnbull's curve: its errors have no normal"):
        curve(freireich(), estimator="turnbull", cluster=None).band()
    with pytest.raises(CurveError, match="a life table has limits at the ends of its bands only"):
        curve(freireich(), estimator="life-table", cluster=None).band()
    with pytest.raises(ModelError, match="95 is no confidence level"):
        curve(freireich(), cluster=None).band(level=95)


def test_standard_errors_by_plots_are_what_the_limits_rest_on():
    frame = plots(np.random.default_rng(8), plot_sd=0.6)
    found = curve(frame).table.iloc[1:]
    s = found["survival"]
    half = stats.t.ppf(0.975, 7) * found["std_error"] / (s * -np.log(s))
    np.testing.assert_allclose(found["lower"], s ** np.exp(half), rtol=1e-9)
    np.testing.assert_allclose(found["upper"], s ** np.exp(-half), rtol=1e-9)
