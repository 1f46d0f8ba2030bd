"""Log-rank tests beside other libraries, and under plots that differ; medians with limits or not reached."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from statsmodels.duration.survfunc import survdiff

import survivor
from survivor.errors import CurveError, EffectError
from tests.curves.making import freireich
from tests.peers import KaplanMeierFitter, median_survival_times, multivariate_logrank_test
from tests.public.making import METHODS, F


def spelt_out(frame: pd.DataFrame) -> pd.DataFrame:
    """One row a seedling that entered: its last day, and whether it had died."""
    rows = []
    for (site, method), own in frame.groupby(["site", "method"], observed=True):
        for _, plot in own.groupby("plot"):
            dead = [
                day for day, died in zip(plot["stop_day"], plot["died"], strict=True) for _ in range(died)
            ]
            left = int(plot["at_risk"].iloc[0]) - len(dead)
            rows += [(site, method, day, 1) for day in dead] + [(site, method, 365, 0)] * left
    return pd.DataFrame(rows, columns=["site", "method", "day", "died"])


@pytest.mark.parametrize(
    ("mine", "theirs"),
    [("log-rank", None), ("wilcoxon", "wilcoxon"), ("tarone-ware", "tarone-ware"), ("peto", "peto")],
)
def test_independent_seedlings_are_as_in_lifelines(mine, theirs):
    rows = spelt_out(F)
    other = multivariate_logrank_test(rows["day"], rows["method"], rows["died"], weightings=theirs)
    found = survivor.log_rank(F, cluster=None, strata=None, weights=mine).test
    assert found.statistic * found.df1 == pytest.approx(other.test_statistic, rel=1e-6)
    assert found.p_value == pytest.approx(other.p_value, rel=1e-6)


def test_strata_are_as_in_statsmodels():
    rows = spelt_out(F)
    statistic, p_value = survdiff(rows["day"], rows["died"], rows["method"].astype(str), strata=rows["site"])
    found = survivor.log_rank(F, cluster=None, strata="site").test
    assert found.statistic * found.df1 == pytest.approx(statistic, rel=1e-6)
    assert found.p_value == pytest.approx(p_value, rel=1e-5)


def test_freireich_as_R_prints_it():
    # survdiff of R survival: chi-square 16.8 on 1, observed 9 and 21, expected 19.3 and 10.7.
    frame = freireich()
    found = survivor.log_rank(frame, by="treat", cluster=None, strata=None)
    assert found.test.statistic == pytest.approx(16.8, abs=0.05)
    told = found.counts.set_index("treat")
    assert told["observed"].sort_values().tolist() == [9, 21]
    assert sorted(told["expected"].round(1)) == [10.7, 19.3]


def drawn(seed: int, plots: int = 24, spread: float = 0.7) -> pd.DataFrame:
    """Plots that differ, groups given to them without effect."""
    rng = np.random.default_rng(seed)
    rows = []
    for plot in range(plots):
        alive, effect = 20, rng.normal(0, spread)
        for start, stop in ((0, 120), (120, 240), (240, 365)):
            died = int(rng.binomial(alive, -np.expm1(-0.0015 * np.exp(effect) * (stop - start))))
            if alive:
                rows.append((f"S{plot // 6}", f"p{plot}", METHODS[plot % 3], start, stop, alive, died))
            alive -= died
    names = ["site", "plot", "method", "start_day", "stop_day", "at_risk", "died"]
    return pd.DataFrame(rows, columns=names)


@pytest.mark.slow
def test_plots_that_differ_raise_no_false_alarms():
    # 5 of 100 wanted; with 120 seasons 3 standard errors are 6. Independent seedlings raise over 30.
    seasons = [drawn(seed) for seed in range(120)]
    by_plot = [survivor.log_rank(season).test.p_value < 0.05 for season in seasons]
    alone = [survivor.log_rank(season, cluster=None).test.p_value < 0.05 for season in seasons]
    assert np.mean(by_plot) < 0.11
    assert np.mean(alone) > 0.25


@pytest.mark.slow
def test_the_randomisation_test_is_uniform_under_no_effect():
    found = [survivor.log_rank(drawn(seed)).randomised(99)["p_value"].iloc[0] for seed in range(60)]
    assert 0.35 < np.mean(found) < 0.65
    assert np.mean(np.array(found) < 0.05) < 0.15


def test_pairs_are_tests_of_two_groups_with_holm():
    found = survivor.log_rank(F)
    shuffled = found.randomised(199)
    assert shuffled["method"].tolist() == ["all", "auger", "rip", "rip"]
    # Two ways to the same question: by the spread between plots and by the allocation.
    assert np.abs(np.log(shuffled["p_value"][1:].to_numpy() / found.table["p_value"])).max() < 1.3
    with pytest.raises(EffectError, match="no plots"):
        survivor.log_rank(F, cluster=None).randomised()
    assert list(zip(found.table["method"], found.table["against"], strict=True)) == [
        ("auger", "usual"), ("rip", "usual"), ("rip", "auger"),
    ]  # fmt: skip
    alone = survivor.log_rank(F[F["method"] != "auger"])
    assert found.table["p_value"].iloc[1] == pytest.approx(alone.test.p_value)
    p_value = found.table["p_value"].to_numpy()
    order = np.argsort(p_value)
    expected = np.empty(3)
    expected[order] = np.minimum(np.maximum.accumulate(p_value[order] * [3, 2, 1]), 1)
    np.testing.assert_allclose(found.table["p_adjusted"], expected)
    assert found.counts["observed"].sum() == pytest.approx(found.counts["expected"].sum())


def test_tagged_seedlings_and_counts_give_one_test():
    rows = F.loc[F.index.repeat(F["at_risk"])].reset_index(drop=True)
    place = rows.groupby(["plot", "start_day"]).cumcount()
    tagged = rows.assign(died=(place < rows["died"]).astype(int), at_risk=1)
    assert survivor.log_rank(tagged).test.statistic == pytest.approx(survivor.log_rank(F).test.statistic)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: survivor.log_rank(F, by="Method"), "no column Method"),
        (lambda: survivor.log_rank(F, weights="early"), "weights='early'"),
        (lambda: survivor.log_rank(F[F["method"] == "rip"]), "one level of method only"),
        (lambda: survivor.log_rank(F.assign(died=0)), "nobody died"),
        (lambda: survivor.log_rank(F, strata="gauge"), "no column gauge"),
        (lambda: survivor.log_rank(F.assign(plot="p")), "is of two groups"),
        (lambda: survivor.log_rank(F[F["plot"].isin(["p0", "p1"])]), "too few plots"),
        (lambda: survivor.log_rank(F.assign(method=F["method"].where(F.index > 0))), "row 0 has no method"),
    ],
)
def test_what_cannot_be_compared_is_refused(call, said):
    with pytest.raises(EffectError) as fault:
        call()
    assert said in str(fault.value)
    assert fault.value.mend


def test_medians_and_their_limits_are_those_of_lifelines():
    frame = freireich()
    found = survivor.median_days(survivor.curve(frame, by="treat", cluster=None)).table.set_index("treat")
    for arm, own in frame.groupby("treat"):
        fitter = KaplanMeierFitter().fit(own["stop_day"], own["died"])
        assert found.loc[arm, "day"] == fitter.median_survival_time_
        low, high = median_survival_times(fitter.confidence_interval_).iloc[0]
        assert found.loc[arm, "lower"] == low
        assert found.loc[arm, "upper"] == high or (np.isinf(high) and np.isnan(found.loc[arm, "upper"]))


def test_a_median_that_is_not_reached_says_so():
    found = survivor.median_days(survivor.curve(F, by="method")).table.set_index("method")
    assert np.isnan(found.loc["rip", "day"])
    assert found.loc["rip", "note"] == "not reached by day 365"
    for wrong in (0, 1.5, "half", True):
        with pytest.raises(CurveError, match="no share"):
            survivor.median_days(survivor.curve(F), wrong)
    with pytest.raises(CurveError, match="takes curves"):
        survivor.median_days(F)
