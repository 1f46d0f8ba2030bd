"""Plots weighted by a working correlation: against estimating equations, and what must not move."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.genmod.api as sm

from survivor import intervals as interval_tables
from survivor.effects.cells import study_cells
from survivor.effects.contrasts import contrasts
from survivor.errors import ModelError
from survivor.models import grouped
from survivor.models.by_period import fit_varying
from survivor.models.fit import fit
from survivor.models.logistic import fit_logistic
from survivor.models.randomisation import permutation_test
from survivor.models.working import weights_of_sizes
from survivor.proportions import plot_correlation
from tests.calibration import cells, weights
from tests.calibration.layouts import AT
from tests.models.cohorts import VISITS, counts, tagged

MODELS = {"grouped": {}, "logistic": {"model": "logistic", "at": VISITS[-1]}}
WEIGHED = "plot correlation"
NUMBERS = list(cells.NUMBERS)


def unequal(**more):
    """Plots of 6, 15 and 60 seedlings of each method at each site."""
    parts = [
        counts(seed=seed, planted=planted, plots=1, **more).assign(
            plot=lambda rows, seed=seed: rows["plot"].astype(str) + f" no. {seed}"
        )
        for seed, planted in enumerate((6, 15, 60), start=3)
    ]
    frame = pd.concat(parts, ignore_index=True)
    frame["method"] = pd.Categorical(frame["method"], list(parts[0]["method"].cat.categories))
    return frame


def weighed_by_hand(frame, weight, model="grouped", **more):
    """A fit to counts multiplied: what weights must equal. ``fit`` itself need not take fractions."""
    rows = frame.assign(at_risk=frame["at_risk"] * weight, died=frame["died"] * weight)
    how = {"cluster": "plot", "strata": "site"}
    if model == "logistic":
        return fit_logistic(rows, "method", at=VISITS[-1], window=30.0, **how)
    return grouped.fit_grouped(rows, "method", **how, **{"pieces": None, **more})


def by_plots(found):
    """Estimate, standard error by plots and degrees of freedom of each term."""
    engine, terms = found.engine, len(found.table)
    picks = np.eye(terms, len(engine.parameters), engine.offset)
    error = np.sqrt(np.diag(engine.covariance.covariance_of(picks)))
    return np.column_stack([found.table["estimate"], error, engine.covariance.degrees(picks)])


def numbers(found):
    return found.table[NUMBERS].to_numpy(dtype=float)


def planted(frame):
    return frame.groupby(["site", "plot"])["at_risk"].transform("max").to_numpy(dtype=float)


def each_row(frame, rho):
    """Weight of each row, 1 on average over seedlings."""
    size = planted(frame)
    weight = 1 / (1 + (size - 1) * rho)
    first = ~frame.duplicated(["site", "plot"]).to_numpy()
    return weight * size[first].sum() / (weight * size)[first].sum()


def test_weights_are_one_over_the_design_effect_and_one_on_average():
    size = np.array([8.0, 17, 37, 80])
    for rho in (0.0, 0.05, 1.0):
        weight = weights_of_sizes(size, rho)
        np.testing.assert_allclose((weight * size).sum(), size.sum())
        # Kish (1965), Survey Sampling: design effect 1 + (m - 1) rho.
        np.testing.assert_allclose(weight / weight[0], (1 + 7 * rho) / (1 + (size - 1) * rho))
    np.testing.assert_array_equal(weights_of_sizes(size, 0.0), 1.0)


@pytest.mark.parametrize(
    ("spread", "mean", "rho", "larger"),
    [(2, 12, 0.03, 0.2), (4, 12, 0.08, 3.1), (4, 35, 0.08, 6.6), (4, 35, 0.15, 8.8), (10, 35, 0.08, 14.3)],
)
def test_no_weights_are_better_where_the_correlation_is_right(spread, mean, rho, larger):
    # The variance of a mean over plots, weighted: Kish (1965). Per cent as in tests/calibration/notes.md.
    size = np.exp(np.linspace(-1, 1, 21) * np.log(spread) / 1.6)
    assert np.percentile(size, 90) / np.percentile(size, 10) == pytest.approx(spread)
    size *= mean / size.mean()

    def std_error(working):
        weight = weights_of_sizes(size, working)
        return np.sqrt(np.sum(weight**2 * size * (1 + (size - 1) * rho))) / np.sum(weight * size)

    assert 100 * (std_error(0.0) / std_error(rho) - 1) == pytest.approx(larger, abs=0.05)
    assert all(std_error(other) > std_error(rho) for other in (0.0, rho / 2, 2 * rho, 1.0))


def test_logistic_equals_generalised_estimating_equations():
    # statsmodels GEE, exchangeable, a row a seedling: with columns constant within plots its
    # equations are those of weighted plots (Liang and Zeger 1986).
    frame = unequal()
    last = frame.groupby(["site", "plot", "method"], observed=True).agg(
        size=("at_risk", "max"), died=("died", "sum")
    )
    rows = last.reset_index().pipe(lambda each: each.loc[each.index.repeat(each["size"])])
    place = rows.groupby(level=0).cumcount()
    alive = (place >= rows["died"]).astype(float)
    dummies = [rows["site"] == name for name in sorted(rows["site"].unique())]
    dummies += [rows["method"] == name for name in ("auger", "rip")]
    matrix = np.column_stack(dummies).astype(float)
    plot = rows.groupby(["site", "plot"]).ngroup().to_numpy()
    peer = sm.GEE(
        alive.to_numpy(),
        matrix,
        plot,
        family=sm.families.Binomial(),
        cov_struct=sm.cov_struct.Exchangeable(),
    )
    told = peer.fit(maxiter=200, ctol=1e-10)
    rho = float(peer.cov_struct.dep_params)
    assert 0 < rho < 1
    ours = fit(frame, "method", working=rho, **MODELS["logistic"])
    np.testing.assert_allclose(ours.table["estimate"], told.params[-2:], atol=1e-6)
    # The correlation moves the estimates by far more than that.
    plain = fit(frame, "method", **MODELS["logistic"])
    assert np.abs(plain.table["estimate"] - ours.table["estimate"]).max() > 1e-2


@pytest.mark.parametrize("model", MODELS)
@pytest.mark.parametrize("working", [WEIGHED, 0.3, 1.0])
def test_plots_of_one_size_give_what_independence_gives(model, working):
    frame = counts(plot_sd=1.0)
    found = fit(frame, "method", working=working, **MODELS[model])
    plain = fit(frame, "method", **MODELS[model])
    assert found.correlation > 0
    np.testing.assert_allclose(numbers(found), numbers(plain), rtol=0, atol=1e-10)
    assert found.log_likelihood == pytest.approx(plain.log_likelihood, abs=1e-10)
    assert "of one size" in " ".join(found.checks)


@pytest.mark.parametrize("model", MODELS)
def test_no_correlation_is_independence_exactly(model):
    frame = unequal()
    found, plain = (fit(frame, "method", working=way, **MODELS[model]) for way in (0.0, "independence"))
    np.testing.assert_array_equal(numbers(found), numbers(plain))
    assert found.log_likelihood == plain.log_likelihood
    assert (found.correlation, plain.correlation) == (0.0, None)


@pytest.mark.parametrize("model", MODELS)
def test_full_correlation_counts_every_plot_as_one(model):
    frame = unequal()
    found = fit(frame, "method", working=1.0, **MODELS[model])
    # Every plot brought to one seedling, and the model as it is.
    peer = weighed_by_hand(frame, 1 / planted(frame), model)
    # By plots alone: held to independent seedlings, the peer would be held to one seedling a plot.
    np.testing.assert_allclose(by_plots(found), by_plots(peer), atol=1e-8)
    np.testing.assert_allclose(numbers(found)[:, 1:3], by_plots(found)[:, 1:], atol=1e-8)


@pytest.mark.parametrize("place", range(3))
def test_agrees_with_the_experiment_on_multiplied_counts(place):
    cell, differences = weights.CELLS[place], cells.Differences()
    layout = cell.layout
    for frame in layout.draw(np.random.default_rng(7), 4):
        plot = pd.factorize(frame["plot"])[0]
        weight = weights.correlated(cell, frame)
        weight = (weight * layout.size.sum() / (weight * layout.size).sum())[plot]
        peer = weighed_by_hand(frame, weight)
        found = fit(frame, "method", working=WEIGHED)
        np.testing.assert_allclose(numbers(found), numbers(peer), atol=1e-8)
        differences(cells.reported(frame))  # cells are read from the records
        told = contrasts(found, at=AT).table[NUMBERS].to_numpy(dtype=float)
        np.testing.assert_allclose(told, differences(peer), rtol=1e-8, atol=1e-8)


@pytest.mark.parametrize("model", MODELS)
def test_counts_and_populations_stay_those_of_the_records(model):
    frame = unequal()
    found = fit(frame, "method", working=WEIGHED, **MODELS[model])
    plain = fit(frame, "method", **MODELS[model])
    assert found.correlation > 0
    for name in ("n_seedlings", "n_died", "n_plots", "n_sites", "n_clusters"):
        assert getattr(found, name) == getattr(plain, name)
    np.testing.assert_array_equal(
        study_cells(found, ["method"], None).plants, study_cells(plain, ["method"], None).plants
    )
    at = float(VISITS[-1])
    for name in ("n_seedlings", "died"):
        ours, theirs = (contrasts(each, at=at).table for each in (found, plain))
        if name in ours:
            np.testing.assert_array_equal(ours[name], theirs[name])


def test_the_correlation_is_that_of_plots_within_method_and_site():
    frame = unequal()
    plots = frame.groupby(["site", "method", "plot"], observed=True).agg(
        size=("at_risk", "max"), died=("died", "sum")
    )
    group = plots.groupby(["site", "method"], observed=True).ngroup()
    rho = plot_correlation(plots["size"] - plots["died"], plots["size"], group).icc
    found = fit(frame, "method", working=WEIGHED)
    assert found.correlation == pytest.approx(rho, rel=1e-12)
    # All are judged at the last visit here, so alive at that day is alive at the end.
    assert fit(frame, "method", working=WEIGHED, **MODELS["logistic"]).correlation == pytest.approx(rho)
    said = found.checks[0]
    assert f"{rho:.3f} (from plots of one method and site, by survival to the end of follow-up)" in said
    assert "in one of 60" in said
    assert "in one of 6, 1 on average" in said
    assert "pseudo-likelihood" in said


def test_where_the_correlation_cannot_be_estimated_every_seedling_counts_as_one():
    frame = counts(plots=1)  # one plot a method a site
    found = fit(frame, "method", working=WEIGHED)
    assert found.correlation == 0
    assert "cannot be estimated" in found.checks[0]
    assert "every seedling counts as one" in found.checks[0]
    np.testing.assert_array_equal(numbers(found), numbers(fit(frame, "method")))


def test_plots_more_alike_than_chance_makes_them_count_as_independent():
    # The same share dead in plots of either size: the mean square between plots is 0.
    rows = [
        (f"site {site}", f"{method} {size}", method, 0, 365, size, round(size * share))
        for site in range(2)
        for method, share in (("a", 0.5), ("b", 0.25))
        for size in (8, 80)
    ]
    frame = pd.DataFrame(rows, columns=["site", "plot", "method", "start_day", "stop_day", "at_risk", "died"])
    found = fit(frame, "method", working=WEIGHED)
    assert found.correlation == 0
    assert "no more than chance" in found.checks[0]


def test_limits_by_site_leave_the_weights_of_plots_as_they_are():
    frame = unequal(sites=5)
    by_plot, by_site = (fit(frame, "method", cluster=name, working=WEIGHED) for name in ("plot", "site"))
    assert by_site.correlation == by_plot.correlation
    np.testing.assert_allclose(by_site.table["estimate"], by_plot.table["estimate"], atol=1e-10)
    assert (by_site.n_clusters, by_plot.n_clusters) == (5, 45)


@pytest.mark.parametrize("cluster", ["plot", "site"])
def test_seedlings_one_by_one_give_what_counts_give(cluster, monkeypatch):
    frame = unequal()
    found = fit(frame, "method", working=WEIGHED, cluster=cluster)
    singly = tagged(frame)
    np.testing.assert_allclose(
        numbers(fit(singly, "method", working=WEIGHED, cluster=cluster)), numbers(found), atol=1e-8
    )
    for module in (interval_tables, grouped):  # joined as in tables of many rows
        monkeypatch.setattr(module, "_MANY", 1)
    again = fit(singly, "method", working=WEIGHED, cluster=cluster)
    np.testing.assert_allclose(numbers(again), numbers(found), atol=1e-8)
    assert again.correlation == pytest.approx(found.correlation)


def test_ratios_by_period_keep_the_weights():
    frame = unequal(sites=4)
    rho = 0.2
    found = fit_varying(fit(frame, "method", working=rho, pieces=[150.0]), "method")
    weight = each_row(frame, rho)
    peer = fit_varying(weighed_by_hand(frame, weight, pieces=[150.0]), "method")
    np.testing.assert_allclose(found.table["estimate"], peer.table["estimate"], atol=1e-8)
    np.testing.assert_allclose(found.table["std_error"], peer.table["std_error"], atol=1e-8)
    assert found.correlation == rho


def test_a_permutation_test_of_weighted_plots_does_not_call_itself_exact():
    frame = unequal(sites=2, methods=("spot spray", "auger"))
    for working, said in ((WEIGHED, True), (0.2, False), ("independence", False)):
        found = permutation_test(fit(frame, "method", working=working), draws=20)
        assert ("not exact" in " ".join(found.checks)) is said
        row = fit(frame, "method", working=working).table.iloc[0]
        assert found.table["statistic"].iloc[0] == pytest.approx(row["estimate"] / row["std_error"])


@pytest.mark.parametrize("model", MODELS)
def test_penalised_fits_are_weighted_too(model):
    frame = unequal()
    frame.loc[frame["method"] == "auger", "died"] = 0
    frame.loc[frame["method"] == "auger", "at_risk"] = planted(frame)[frame["method"] == "auger"].astype(int)
    rho = 0.2
    found = fit(frame, "method", working=rho, **MODELS[model])
    peer = weighed_by_hand(frame, each_row(frame, rho), model)
    assert found.variance == peer.variance == "penalised"
    np.testing.assert_allclose(found.table["estimate"], peer.table["estimate"], atol=1e-6)


@pytest.mark.parametrize(
    ("how", "what"),
    [
        ({"working": "plots"}, "no working correlation 'plots'"),
        ({"working": 1.5}, "no working correlation 1.5"),
        ({"working": float("nan")}, "no working correlation nan"),
        ({"working": WEIGHED, "cluster": None}, "rows are taken as independent"),
        ({"working": WEIGHED, "model": "cox"}, "cox does not weight plots"),
        ({"working": WEIGHED, "model": "mixed"}, "mixed does not weight plots"),
        ({"working": WEIGHED, "baseline": "unspecified"}, "an unspecified baseline does not weight plots"),
    ],
)
def test_what_cannot_be_weighted_is_refused(how, what):
    with pytest.raises(ModelError, match=what) as refused:
        fit(counts(), "method", **how)
    assert refused.value.mend
