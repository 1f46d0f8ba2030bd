"""Within and between sites: planted truths, dense columns by hand, and what has no answer."""

import numpy as np
import pandas as pd
import pytest

from survivor.effects.confounding import WITHIN
from survivor.effects.within_between import BETWEEN, DIFFERENCE, within_between
from survivor.errors import EffectError
from survivor.models.fit import fit
from tests.models.cohorts import counts


def _sites(seed, rip_of_six, paddock, ripping=-0.7, plants=40, plot_sd=0.3):
    """Six plots at each site, some ripped; where more were ripped the paddock is the better one."""
    rng = np.random.default_rng(seed)
    rows = []
    for site, ripped in enumerate(rip_of_six):
        for plot in range(6):
            method = "rip" if plot < ripped else "usual"
            effect = rng.normal(0, plot_sd) + ripping * (method == "rip") + paddock * (ripped / 6 - 0.5)
            alive, start = plants, 0
            for stop, hazard in ((150, 0.4), (365, 0.3)):
                died = int(rng.binomial(alive, 1 - np.exp(-hazard * np.exp(effect))))
                rows.append((f"site {site:02d}", str(plot), method, start, stop, alive, died))
                alive, start = alive - died, stop
                if alive == 0:
                    break
    names = ["site", "plot", "method", "start_day", "stop_day", "at_risk", "died"]
    frame = pd.DataFrame(rows, columns=names)
    return frame.assign(method=pd.Categorical(frame["method"], ["usual", "rip"]))


MIXED = (1, 2, 3, 4, 5) * 4


def _estimates(found):
    return found.table.set_index("basis")["estimate"]


def test_a_better_paddock_shows_between_sites_and_not_within_them():
    # Ripping divides the hazard by two (-0.7); a site ripped throughout is better by another 1.5.
    found = within_between(fit(_sites(1, MIXED, paddock=-1.5, plants=300), "method"))
    estimates = _estimates(found)
    errors = found.table.set_index("basis")["std_error"]
    assert abs(estimates[WITHIN] + 0.7) < 3 * errors[WITHIN]
    assert abs(estimates[BETWEEN] + 2.2) < 3 * errors[BETWEEN]
    assert abs(estimates[DIFFERENCE] + 1.5) < 3 * errors[DIFFERENCE]
    assert found.test.p_value < 0.001
    assert found.n_sites == 20


def test_the_difference_is_that_of_the_two():
    found = within_between(fit(_sites(2, MIXED, paddock=-0.5), "method"))
    estimates = _estimates(found)
    assert estimates[DIFFERENCE] == pytest.approx(estimates[BETWEEN] - estimates[WITHIN], abs=1e-6)
    row = found.table[found.table["basis"] == DIFFERENCE].iloc[0]
    # One method: the F test is the square of the t test.
    assert found.test.statistic == pytest.approx((row["estimate"] / row["std_error"]) ** 2, rel=1e-6)
    assert found.test.p_value == pytest.approx(row["p_value"], rel=1e-6)


def test_columns_by_hand():
    frame = _sites(3, MIXED, paddock=0.0)
    found = _estimates(within_between(fit(frame, "method")))
    share = frame["site"].map({f"site {n:02d}": ripped / 6 for n, ripped in enumerate(MIXED)})
    own = (frame["method"] == "rip").astype(float)
    peer = fit(frame.assign(a=own - share, b=share), "a + b", strata=None, cluster="site").table
    assert found[WITHIN] == pytest.approx(peer["estimate"].iloc[0])
    assert found[BETWEEN] == pytest.approx(peer["estimate"].iloc[1])


def test_other_terms_stay():
    frame = _sites(4, MIXED, paddock=0.0)
    frame["slope"] = frame["site"].str[-2:].astype(float) % 7
    with_slope = within_between(fit(frame, "method + slope", strata=None))
    without = within_between(fit(frame, "method"))
    assert _estimates(with_slope)[BETWEEN] != pytest.approx(_estimates(without)[BETWEEN])


def test_equal_shares_have_nothing_between_sites():
    with pytest.raises(EffectError, match="about the same shares"):
        within_between(fit(counts(), "method"))


def test_a_method_of_equal_shares_is_named_beside_one_that_is_not():
    frame = counts(sites=6, plots=2)
    gone = (frame["method"] == "rip") & frame["site"].isin(["site 0", "site 1"]) & (frame["plot"] == "rip 1")
    more = counts(seed=9, sites=6, plots=2)
    extra = more[(more["method"] == "auger") & (more["site"] == "site 3")].assign(plot="auger 9")
    found = within_between(fit(pd.concat([frame[~gone], extra], ignore_index=True), "method"))
    basis = found.table.groupby(found.table["method"].astype(str))["basis"].agg(list)
    assert basis["rip"] == [WITHIN, BETWEEN, DIFFERENCE]
    assert WITHIN in basis["auger"]


@pytest.mark.parametrize(
    ("change", "formula", "words"),
    [
        (lambda f: f.drop(columns="site"), "method", "no column site"),
        (lambda f: f.assign(slope=np.arange(len(f)) % 3), "method * slope", "interaction"),
    ],
)
def test_what_cannot_be_split_is_refused(change, formula, words):
    frame = change(_sites(5, MIXED, paddock=0.0))
    with pytest.raises(EffectError, match=words):
        within_between(fit(frame, formula, strata=None))


@pytest.mark.slow
def test_false_alarms_of_mundlaks_term():
    # 300 tables of 20 sites of six plots, nothing in the paddocks: 5 % (standard error 1.3 %).
    alarms = [
        within_between(fit(_sites(seed, MIXED, paddock=0.0, plants=15), "method")).test.p_value < 0.05
        for seed in range(300)
    ]
    assert 0.01 < np.mean(alarms) < 0.09
