"""Identities between the models, and between their limits and formulas that can be worked by hand."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from survivor.models.clusters import by_cluster, sandwich
from survivor.models.fit import fit
from survivor.models.grouped import arranged
from survivor.simulate.cohort import Cohort
from survivor.simulate.drawing import draw_intervals
from tests.calibration.layouts import balanced
from tests.models.cohorts import counts


@pytest.mark.slow
@pytest.mark.parametrize(("sites", "blocks"), [(3, 2), (6, 2), (4, 4)])
def test_jackknife_over_cr2_is_what_balance_makes_it(sites, blocks):
    # Source: Bell and McCaffrey (2002), Survey Methodology 28, 169-181: leaving out a cluster of leverage h
    # divides its residual by 1 - h, CR2 by the root of 1 - h. On balanced plots h is parameters between
    # plots over plots (a level each site, one method). Plots are balanced where they tell as much as one
    # another: equal numbers, and chances of death that hardly differ.
    layout = balanced(sites, blocks, effects=(-0.1,), plot_sd=0.1, site_effects=(0.0,) * sites)
    layout = replace(layout, size=np.full(len(layout.site), 200))
    plots = len(layout.site)
    leverage = (sites + 1) / plots
    expected = np.sqrt((1 - 1 / plots) / (1 - leverage))
    for frame in layout.draw(np.random.default_rng(12), 3):
        fitted = fit(frame, "method")
        plot = frame.groupby(["site", "block", "plot"], observed=True).ngroup()
        rest = [fit(frame[plot != out], "method").table["estimate"].iloc[0] for out in range(plots)]
        # CR2 itself: the table's is never below that of independent seedlings.
        pick = np.eye(1, len(fitted.engine.parameters), fitted.engine.offset)
        cr2 = np.sqrt(fitted.engine.covariance.covariance_of(pick)[0, 0])
        estimate = fitted.table["estimate"].iloc[0]
        jackknife = np.sqrt((1 - 1 / plots) * np.sum((np.array(rest) - estimate) ** 2))
        assert jackknife / cr2 == pytest.approx(expected, rel=0.03)


def test_two_arms_of_equal_plots_by_hand():
    # Source: Imbens and Kolesar (2016), Review of Economics and Statistics 98, 701-712: for a difference of
    # two means CR2 is the sum of s^2 / n, and the degrees of freedom are Bell and McCaffrey's
    # (n1 + n2)^2 (n1 - 1) (n2 - 1) / (n1^2 (n1 - 1) + n2^2 (n2 - 1)).
    first, second = np.array([3.1, 4.0, 2.2]), np.array([5.3, 6.1, 4.9, 7.7, 5.0])
    arm = np.repeat([0.0, 1.0], [3, 5])
    design = np.column_stack([np.ones(8), arm])
    residual = np.concatenate([first - first.mean(), second - second.mean()])
    found = sandwich(*by_cluster(np.arange(8), 8, design, residual, np.ones(8)), "CR2")
    picks = np.array([[0.0, 1.0]])
    by_hand = first.var(ddof=1) / 3 + second.var(ddof=1) / 5
    assert found.covariance_of(picks)[0, 0] == pytest.approx(by_hand, rel=1e-12)
    assert found.degrees(picks)[0] == pytest.approx(8**2 * 2 * 4 / (9 * 2 + 25 * 4), rel=1e-9)
    # Rows of a plot at their plot's mean are as one row.
    codes = np.repeat(np.arange(8), 4)
    rows = sandwich(*by_cluster(codes, 8, design[codes], residual[codes] / 4, np.full(32, 0.25)), "CR2")
    assert rows.covariance_of(picks)[0, 0] == pytest.approx(by_hand, rel=1e-12)
    assert rows.degrees(picks)[0] == pytest.approx(8**2 * 2 * 4 / (9 * 2 + 25 * 4), rel=1e-9)


@pytest.mark.parametrize("model", ["grouped", "cox", "logistic"])
def test_splitting_and_merging_equal_rows_changes_nothing(model):
    at = 365 if model == "logistic" else None
    frame = counts()
    half = frame["at_risk"] // 2
    dead = np.minimum(frame["died"], half)
    parts = pd.concat(
        [
            frame.assign(at_risk=half, died=dead),
            frame.assign(at_risk=frame["at_risk"] - half, died=frame["died"] - dead),
        ],
        ignore_index=True,
    )
    parts = parts[parts["at_risk"] > 0].sample(frac=1, random_state=1)
    numbers = ["estimate", "std_error", "df", "lower", "upper", "p_value"]
    whole, split = (fit(rows, "method", model, at=at).table[numbers] for rows in (frame, parts))
    np.testing.assert_allclose(split, whole, rtol=1e-7)


@pytest.mark.parametrize("strata", ["site", None])
def test_unspecified_baseline_is_pieces_at_the_innermost_intervals(strata):
    # Visits differ from site to site and some are skipped, so that stretches overlap. An innermost interval
    # starts at a start and ends at a stop with neither between; elsewhere there is no hazard. Pieces cut at
    # both ends of each then have the same maximum.
    cohort = Cohort(
        methods=(("usual practice", 0.0), ("alternative", -0.5)),
        sites=3,
        visit_days=((40, 150, 300, 365), (60, 150, 290, 365), (40, 180, 310, 365)),
        p_skip=0.2,
    )
    frame = draw_intervals(cohort, 5)
    free = fit(frame, "method", baseline="unspecified", strata=strata)
    ends = np.unique(frame[["start_day", "stop_day"]].to_numpy(float))
    pieces = fit(frame, "method", pieces=list(ends[1:-1]), strata=strata)
    assert pieces.log_likelihood == pytest.approx(free.log_likelihood, abs=1e-5)
    np.testing.assert_allclose(pieces.table["estimate"], free.table["estimate"], atol=1e-4)


def test_days_to_years_moves_only_the_baseline():
    frame = counts()
    years = frame.assign(start_day=frame["start_day"] / 365.25, stop_day=frame["stop_day"] / 365.25)
    days, other = (
        fit(frame, "method", pieces=(40, 150)),
        fit(years, "method", pieces=(40 / 365.25, 150 / 365.25)),
    )
    numbers = ["estimate", "std_error", "df", "lower", "upper", "p_value"]
    np.testing.assert_allclose(other.table[numbers], days.table[numbers], rtol=1e-8)
    # A hazard a year is 365.25 a day: the level of each site is the log hazard of the first piece.
    moved = arranged(other).solution.level - arranged(days).solution.level
    np.testing.assert_allclose(moved, np.log(365.25), rtol=1e-8)
    np.testing.assert_allclose(arranged(other).solution.alpha, arranged(days).solution.alpha, atol=1e-8)
