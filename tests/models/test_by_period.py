"""Effects by period against the same model written with a column for each method and visit."""

import numpy as np
import pandas as pd
import pytest

import survivor
from survivor.errors import ModelError
from survivor.models.by_period import fit_again, fit_by_cluster, fit_by_period, fit_varying
from survivor.models.fit import fit
from tests.models.cohorts import VISITS, counts

OTHERS = ("auger", "rip")


def _written_out(frame):
    """Columns of 0 and 1: a method at a visit."""
    cells = {
        f"{name}_{place}": ((frame["method"] == name) & (frame["stop_day"] == day)).astype(float)
        for name in OTHERS
        for place, day in enumerate(VISITS)
    }
    return frame.assign(**cells), list(cells)


def test_visits_as_periods_equal_a_column_for_each_method_and_visit():
    frame = counts(planted=40)
    found = fit_by_period(fit(frame, "method"), "method")
    wide, names = _written_out(frame)
    peer = fit(wide, " + ".join(names))
    assert found.levels == ("spot spray", *OTHERS)
    assert len(found.periods) == 3
    np.testing.assert_allclose(found.estimate.ravel(), peer.table["estimate"], rtol=1e-7)
    np.testing.assert_allclose(found.std_error.ravel(), peer.table["std_error"], rtol=1e-6)
    np.testing.assert_allclose(found.df.ravel(), peer.table["df"], rtol=1e-5)
    # The F test by hand: differences to the first visit, on the same covariance.
    engine = peer.engine
    picks = np.eye(6, len(engine.parameters), engine.offset)
    later = np.array([picks[1] - picks[0], picks[2] - picks[0], picks[4] - picks[3], picks[5] - picks[3]])
    expected = engine.covariance.wald(later, engine.parameters)
    assert found.proportional.statistic == pytest.approx(expected.statistic, rel=1e-6)
    assert found.proportional.df2 == pytest.approx(expected.df2, rel=1e-5)
    assert found.proportional.p_value == pytest.approx(expected.p_value, rel=1e-5)


def test_other_terms_stay_in_the_model():
    frame = counts(planted=20, species=("acacia", "callitris"))
    found = fit_by_period(fit(frame, "method + species"), "method")
    wide, names = _written_out(frame)
    peer = fit(wide, " + ".join([*names, "species"])).table.set_index("term")
    np.testing.assert_allclose(found.estimate.ravel(), peer.loc[names, "estimate"], rtol=1e-7)


def test_deaths_are_shared_out_and_add_up():
    frame = counts(planted=40)
    found = fit_by_period(fit(frame, "method"), "method")
    expected = frame.pivot_table(
        index="method", columns="stop_day", values="died", aggfunc="sum", observed=True
    )
    np.testing.assert_allclose(found.deaths, expected.to_numpy(), rtol=1e-9)


def test_an_effect_that_changes_is_found_and_its_size_comes_back():
    # Rip has a fifth of the hazard to the first visit and twice the hazard after it: no plot effects.
    frame = counts(planted=3000, plot_sd=0.0, sites=4, plots=3, methods=("spot spray", "rip"), seed=8)
    rng = np.random.default_rng(2)
    for plot, rows in frame[frame["method"] == "rip"].groupby(["site", "plot"]):
        alive = 3000
        for row, (hazard, effect) in zip(rows.index, ((0.1, 0.2), (0.4, 2.0), (0.2, 2.0)), strict=True):
            site = int(plot[0][-1])
            died = int(rng.binomial(alive, 1 - np.exp(-hazard * effect * np.exp(0.2 * site))))
            frame.loc[row, ["at_risk", "died"]] = alive, died
            alive -= died
    found = fit_by_period(fit(frame, "method"), "method")
    np.testing.assert_allclose(np.exp(found.estimate[0]), [0.2, 2.0, 2.0], rtol=0.08)
    assert found.proportional.p_value < 0.001


def test_a_period_without_deaths_under_a_method_is_joined_to_a_neighbour():
    frame = counts(planted=40)
    frame.loc[(frame["method"] == "rip") & (frame["stop_day"] == 40), "died"] = 0
    found = fit_by_period(fit(frame, "method"), "method")
    assert len(found.periods) == 2
    assert "..." in found.periods[0]
    assert "periods were joined" in found.checks[0]
    assert np.isfinite(found.std_error).all()


@pytest.mark.parametrize(
    ("change", "pieces", "words"),
    [
        (lambda f: f, (), "one piece"),
        (lambda f: f.assign(died=np.where(f["stop_day"] > 40, 0, f["died"])), (40, 150), "one piece"),
        (
            lambda f: f.assign(
                died=np.where((f["method"] == "rip") & (f["stop_day"] > 40), 0, f["died"]).clip(
                    max=f["at_risk"]
                )
            ),
            (40, 150),
            "too few deaths",
        ),
    ],
)
def test_without_two_periods_it_is_refused(change, pieces, words):
    with pytest.raises(ModelError, match=words):
        fit_by_period(fit(change(counts(planted=6)), "method", pieces=pieces), "method")


@pytest.mark.slow
def test_false_alarms_where_hazards_are_proportional():
    # 300 tables of 24 plots at 4 sites, plot effects of SD 0.5: the F test at 5 % (standard error 1.3 %).
    alarms = [
        fit_by_period(
            fit(counts(seed=seed, sites=4, plots=3, methods=("spot spray", "rip"), planted=20), "method"),
            "method",
        ).proportional.p_value
        < 0.05
        for seed in range(300)
    ]
    assert 0.01 < np.mean(alarms) < 0.09


def test_ratios_by_period_are_an_argument_of_fit():
    frame = counts(planted=40)
    plain = survivor.fit(frame, "method")
    for asked in (
        survivor.fit(frame, "method", by_period="method"),
        survivor.fit(frame, "method", survivor.Grouped(by_period="method")),
    ):
        assert asked.by_period == "method"
        pd.testing.assert_frame_equal(asked.table, fit_varying(plain, "method").table)
    with pytest.raises(ModelError, match="has one ratio for the whole season"):
        survivor.fit(frame, "method", model="cox", by_period="method")
    with pytest.raises(ModelError, match="has one ratio for the whole season"):
        survivor.fit(frame, "method", baseline="unspecified", by_period="method")
    with pytest.raises(ModelError, match="does not hold species"):
        survivor.fit(frame, "method", by_period="species")
    wide, names = _written_out(frame)
    peer = fit(wide, " + ".join(names))
    asked = survivor.fit(frame, "method", by_period="method")
    np.testing.assert_allclose(asked.table["estimate"], peer.table["estimate"], rtol=1e-7)


@pytest.mark.parametrize("cluster", ["site", None])
@pytest.mark.parametrize("by_period", [None, "method"])
def test_limits_by_another_cluster_are_those_of_a_fit_by_it(cluster, by_period):
    model = fit(counts(sites=6, planted=40), "method", by_period=by_period)
    found, peer = fit_by_cluster(model, cluster), fit_again(model.data, model, cluster=cluster)
    assert (found.variance, found.cluster) == (peer.variance, peer.cluster)
    pd.testing.assert_frame_equal(found.table, peer.table, rtol=1e-8)
    assert (found.table["std_error"] != model.table["std_error"]).any()


@pytest.mark.parametrize("junk", [[], ["method"], ([],), pd.DataFrame({"method": ["rip"]})], ids=str)
def test_what_names_no_column_is_refused_in_words(junk):
    with pytest.raises(ModelError):
        fit_by_period(fit(counts(), "method"), junk)
