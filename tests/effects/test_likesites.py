import numpy as np
import pandas as pd
import pytest
from scipy import stats

from survivor.effects import prediction
from survivor.effects.contrasts import contrasts
from survivor.effects.prediction import like_sites
from survivor.errors import EffectError
from survivor.models.fit import fit
from tests.models.cohorts import counts


def test_jackknife_by_site_by_hand():
    # Source: Shao and Tu (1995), section 2.1: squares of the changes count (n - 1)/n.
    frame = counts(sites=6, planted=20)
    model = fit(frame, "method")
    line = like_sites(model).table.set_index("method").loc["rip"]
    whole = contrasts(model).table.set_index("method").loc["rip", "estimate"]
    parts = [
        contrasts(fit(frame[frame["site"] != site], "method"))
        .table.set_index("method")
        .loc["rip", "estimate"]
        for site in frame["site"].unique()
    ]
    error = np.sqrt(5 / 6 * np.sum((np.array(parts) - whole) ** 2))
    assert line["estimate"] == pytest.approx(whole)
    assert line["std_error"] == pytest.approx(error)
    by_site = contrasts(fit(frame, "method", cluster="site")).table.set_index("method").loc["rip"]
    assert line["df"] == pytest.approx(min(by_site["df"], 5))
    assert line["upper"] == pytest.approx(whole + stats.t.ppf(0.975, line["df"]) * error)
    two = stats.t.ppf(1 - 0.025 / 2, line["df"]) * error  # both comparisons together, by the same errors
    assert line["upper_simultaneous"] == pytest.approx(whole + two)
    assert line["p_value"] == pytest.approx(2 * stats.t.sf(abs(whole / error), line["df"]))
    assert line["basis"] == "within sites"


def test_many_sites_are_left_out_in_groups(monkeypatch):
    model = fit(counts(sites=12, planted=20), "method")
    each = like_sites(model).table["std_error"]
    monkeypatch.setattr(prediction, "MOST_PARTS", 6)
    found = like_sites(model)
    assert "each of 6 groups of sites" in found.limits_note
    assert (found.table["df"] <= 5).all()
    np.testing.assert_allclose(found.table["std_error"], each, rtol=0.5)


def test_of_many_sites_with_blocks_estimates_are_those_by_site_and_degrees_of_freedom_close(monkeypatch):
    frame = counts(sites=12, planted=20)
    frame = frame.assign(block=frame["plot"].str[-1])  # a plot of each preparation in each of two blocks
    model = fit(frame, "method", strata=["site", "block"])
    direct = contrasts(fit(frame, "method", strata=["site", "block"], cluster="site")).table
    monkeypatch.setattr(prediction, "MOST_PARTS", 11)
    found = prediction._differences(model, 12, "method", 365, None, None).table
    np.testing.assert_allclose(found["estimate"], direct["estimate"], rtol=1e-9)
    np.testing.assert_allclose(found["df"], direct["df"], rtol=0.1)
    by_plot = contrasts(model).table
    assert not np.allclose(found["df"], by_plot["df"], rtol=0.1)


def test_it_says_what_the_limits_are():
    found = like_sites(fit(counts(sites=6), "method"))
    assert "leaving out each of 6 sites" in found.limits_note
    # Source: Holm (1979) on two p values.
    small, large = sorted(found.table["p_value"])
    assert sorted(found.table["p_adjusted"]) == pytest.approx([min(2 * small, 1), max(2 * small, large)])


def test_plants_of_a_site_left_out_are_left_out_of_the_average():
    frame = counts(sites=5, planted=30)
    people = pd.DataFrame({"site": frame["site"].unique(), "plants": [10, 10, 10, 10, 500]})
    found = like_sites(fit(frame, "method"), population=people).table.iloc[0]
    parts = [
        contrasts(fit(frame[frame["site"] != site], "method"), population=people[people["site"] != site])
        .table["estimate"]
        .iloc[0]
        for site in people["site"]
    ]
    error = np.sqrt(4 / 5 * np.sum((np.array(parts) - found["estimate"]) ** 2))
    assert found["std_error"] == pytest.approx(error)


@pytest.mark.parametrize("sites", [2, 4])
def test_under_five_sites_it_is_refused(sites):
    with pytest.raises(EffectError, match=f"needs 5 sites, and there are {sites}"):
        like_sites(fit(counts(sites=sites), "method"))


def test_a_pair_at_fewer_than_five_sites_is_refused_by_name():
    frame = counts(sites=6)
    short = frame[(frame["method"] != "rip") | frame["site"].isin([f"site {n}" for n in range(4)])]
    table = like_sites(fit(short, "method")).table.set_index("method")
    assert table.loc["rip", "basis"] == "refused"
    assert "fewer than 5 sites" in table.loc["rip", "reason"]
    assert np.isnan(table.loc["rip", "lower"])
    assert np.isfinite(table.loc["auger", "lower"])


def test_no_pair_at_five_sites():
    frame = counts(sites=6, methods=("spot spray", "rip"))
    gone = (frame["method"] == "rip") & frame["site"].isin(["site 0", "site 1"])
    with pytest.raises(EffectError, match="no two preparations have so many"):
        like_sites(fit(frame[~gone], "method"))


def test_without_sites_it_is_refused():
    frame = counts().drop(columns="site")
    with pytest.raises(EffectError, match="no column site"):
        like_sites(fit(frame, "method", strata=None))
