"""Variance components, averages over the effects, degrees of freedom and refusals of the mixed model."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import integrate, stats

from survivor.effects.contrasts import contrasts
from survivor.effects.standardise import survival
from survivor.errors import ModelError
from survivor.models.fit import fit
from survivor.models.mixed import MixedFit, fit_mixed
from survivor.models.mixed_likelihood import MixedRows, Parameters, likelihood
from survivor.models.mixed_solver import solve_mixed
from survivor.models.quadrature import hermite
from survivor.models.random_effects import degrees
from survivor.models.variance_components import Objective
from survivor.simulate.cohort import Cohort, true_effects
from survivor.simulate.drawing import draw_intervals
from tests.models.cohorts import counts
from tests.models.published import orobanche

COHORT = Cohort(
    sites=6,
    blocks=2,
    seedlings=24,
    methods=(("usual practice", 0.0), ("alternative", -0.5)),
    species=(("first", 0.0), ("second", 0.3)),
    plot_sd=0.6,
)


@pytest.fixture(scope="module")
def cohort():
    return draw_intervals(COHORT, 3)


@pytest.fixture(scope="module")
def plates():
    return fit(orobanche(), "seed * root", "mixed", "plate", strata=None, at=365, points=25)


def _cells(frame, by="method"):
    cells = frame[["site", "species", "planted_date", "method"]].drop_duplicates(ignore_index=True)
    levels = list(cells["method"].cat.categories)
    weights = np.array([(cells[by] == level) / (cells[by] == level).sum() for level in levels])
    return cells, np.vstack([weights, weights[1] - weights[0]])


# Variance components


def test_profile_limits_lie_where_the_likelihood_has_fallen_by_the_quantile(plates):
    line = plates.variance_components.iloc[0]
    assert line["limits"] == "profile likelihood"
    for edge in ("lower", "upper"):
        if line[edge] == 0:
            continue
        held = fit_mixed(
            orobanche(), "seed * root", cluster="plate", strata=None, at=365, points=25, fixed_sd=[line[edge]]
        )
        drop = 2 * (plates.log_likelihood - held.log_likelihood)
        np.testing.assert_allclose(drop, stats.chi2.ppf(0.95, 1), atol=2e-3)
    assert line["lower"] < line["sd"] < line["upper"]


def test_a_variance_is_tested_on_the_edge_of_what_it_can_be(plates):
    line = plates.variance_components.iloc[0]
    # Source: Crowder (1978); log-likelihoods computed with R 4.2.2, glm and glmer (25 points).
    statistic = 2 * (-53.757421 + 54.937020)
    np.testing.assert_allclose(line["statistic"], statistic, atol=1e-5)
    np.testing.assert_allclose(line["p_value"], stats.chi2.sf(statistic, 1) / 2, atol=1e-6)


def test_plots_that_differ_by_chance_alone_have_no_variance():
    # Deaths as even as they can be: less variation than chance gives.
    frame = counts(plots=3, plot_sd=0.0)
    alike = frame.assign(at_risk=20, died=8)[frame["start_day"] == 0]
    found = fit(alike, "method", "mixed")
    line = found.variance_components.iloc[0]
    assert (line["sd"], line["lower"], line["statistic"], line["p_value"]) == (0, 0, 0, 1)
    assert 0 < line["upper"] < 1
    assert any("estimated as 0" in said for said in found.checks)
    grouped = fit(alike, "method")
    np.testing.assert_allclose(found.log_likelihood, grouped.log_likelihood, atol=1e-9)


def test_a_large_fit_has_limits_on_the_log_scale(cohort, monkeypatch):
    monkeypatch.setattr("survivor.models.variance_components._MOST_WORK", 0)
    line = fit(cohort, "method", "mixed").variance_components.iloc[0]
    assert "log" in line["limits"]
    np.testing.assert_allclose(line["lower"] * line["upper"], line["sd"] ** 2)


def test_restricted_likelihood_is_reml_where_counts_are_nearly_normal():
    # A million seedlings a plot: log odds are known, and their spread is that of plots alone.
    rng = np.random.default_rng(4)
    plots, method = 12, np.repeat([0.0, 1.0], 6)
    odds = 0.3 + 0.4 * method + rng.normal(0, 0.5, plots)
    n = np.full(plots, 1e6)
    died = np.rint(n / (1 + np.exp(-odds)))
    rows = MixedRows(
        method[:, None],
        np.ones((plots, 1)),
        np.zeros(plots, dtype=np.intp),
        n,
        died,
        link="logit",
        groups=np.arange(plots)[:, None],
    )
    seen = np.log(died / (n - died))
    residual = seen - np.array([seen[:6].mean(), seen[6:].mean()]).repeat(6)
    full = solve_mixed(rows, [5])
    # The sampling variance of each log odds, about 4e-6, is far below the tolerance.
    np.testing.assert_allclose(full.sd, np.sqrt(np.sum(residual**2) / 12), rtol=1e-4)
    objective = Objective(likelihood(rows), (hermite(5),), restricted=True)
    found = objective.informed(objective.best(full, np.array([True])))
    np.testing.assert_allclose(found.sd, np.sqrt(np.sum(residual**2) / 10), rtol=1e-4)
    error = np.sqrt(found.covariance_of(np.array([[0.0, 1.0, 0.0]]))[0, 0])
    np.testing.assert_allclose(error, np.sqrt(np.sum(residual**2) / 10 / 3), rtol=1e-4)
    # REML information on a variance: (G - p) / (2 variance squared).
    on_sd = np.sqrt(found.covariance_of(np.array([[0.0, 0.0, 1.0]]))[0, 0])
    np.testing.assert_allclose(on_sd, found.sd[0] / np.sqrt(2 * 10), rtol=5e-3)


def test_restricted_widens_the_limits_of_methods(cohort):
    full = fit(cohort, "method", "mixed")
    restricted = fit(cohort, "method", "mixed", restricted=True)
    assert restricted.variance_components["sd"].iloc[0] > full.variance_components["sd"].iloc[0]
    assert restricted.table["std_error"].iloc[0] > full.table["std_error"].iloc[0]
    assert any("restricted" in said for said in restricted.checks)
    assert any("low by a factor" in said for said in full.checks)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [2, 3, 7])
def test_free_standard_deviations_reach_what_held_ones_reach(seed):
    # Cohorts in which one of two standard deviations ends at zero, or the two trade against each other.
    frame = draw_intervals(replace(COHORT, sites=8, method_by_site_sd=0.8), seed)
    arguments = {"cluster": "plot", "strata": "site", "random": "site:method/plot", "points": 3}
    best = fit_mixed(frame, "method + species", **arguments).log_likelihood
    for sd in (0.0, 0.2, 0.5, 0.9):
        held = fit_mixed(frame, "method + species", fixed_sd=[sd, None], **arguments)
        assert held.log_likelihood <= best + 1e-7


# Averages over the effects


@pytest.mark.slow
@pytest.mark.parametrize("at", [None, 365.0])
def test_survival_is_integrated_over_the_effects(cohort, at):
    found = fit(cohort, "method + species", "mixed", strata=None, random="site/plot", at=at, points=3)
    solution, engine = found.engine.solution, found.engine
    cells, _ = _cells(cohort)
    cells = cells.iloc[:1]
    spread = np.sqrt(np.sum(solution.sd**2))
    columns = engine.read.design.columns_for(cells)[0]
    if at is None:
        lengths = engine.read.pieces.lengths(cells, np.zeros(1), np.array([365.0]))[0]
        base = np.log(lengths @ np.exp(np.concatenate([[0.0], solution.alpha])))
    else:
        base = 0.0
    predictor = solution.level[0] + columns @ solution.beta + base

    def alive(b):
        here = np.exp(-np.exp(predictor + b)) if at is None else 1 / (1 + np.exp(-predictor - b))
        return here * stats.norm.pdf(b, scale=spread)

    wanted = integrate.quad(alive, -9 * spread, 9 * spread, epsabs=1e-12, limit=200)[0]
    mine = found.average_survival(cells, np.ones((1, 1)), 365.0).estimate[0]
    np.testing.assert_allclose(mine, wanted, atol=1e-9)


@pytest.mark.slow
@pytest.mark.parametrize("random", ["plot", "site:method/plot"])
def test_limits_of_survival_carry_every_parameter(cohort, random):
    found = fit(cohort, "method + species", "mixed", random=random, points=3)
    cells, weights = _cells(cohort)
    mine = found.average_survival(cells, weights, 365.0)
    engine, solution = found.engine, found.engine.solution
    step, slopes = 1e-5, []
    at = solution.at
    size = [len(at.level), len(at.common), len(at.sd)]
    for move in step * np.eye(sum(size))[np.r_[np.ones(sum(size[:2]), bool), solution.free]]:
        parts = np.split(move, np.cumsum(size)[:-1])
        high, low = (
            replace(engine, solution=replace(solution, at=at.moved(*(sign * part for part in parts))))
            for sign in (1, -1)
        )
        rise = high.average(cells, weights, 365.0).estimate - low.average(cells, weights, 365.0).estimate
        slopes.append(rise / (2 * step))
    slopes = np.array(slopes).T
    covariance = slopes @ solution.covariance_of(np.eye(slopes.shape[1])) @ slopes.T
    np.testing.assert_allclose(mine.covariance, covariance, atol=1e-9)
    # The spread itself moves the average, unlike the median plot.
    assert np.abs(slopes[0, -1]) > 1e-3


def test_averages_agree_with_the_grouped_model_on_one_cohort():
    wide = replace(COHORT, sites=10, blocks=4, seedlings=20, species=(("", 0.0),))
    frame = draw_intervals(wide, 12)
    mixed, grouped = fit(frame, "method", "mixed"), fit(frame, "method")
    cells, weights = _cells(frame)
    one, other = (found.average_survival(cells, weights, 365.0) for found in (mixed, grouped))
    # Two estimates of the same averages from the same plants: far nearer than their own errors.
    assert (np.abs(one.estimate - other.estimate) < 0.5 * other.std_error).all()
    truth = true_effects(wide).table["survival"].to_numpy() / 100
    effect = truth[1] - truth[0]
    assert abs(one.estimate[2] - effect) < 2.5 * one.std_error[2]


def test_effects_read_a_mixed_fit(cohort):
    found = fit(cohort, "method + species", "mixed")
    assert isinstance(found, MixedFit)
    table = survival(found, by="method", at=365).table
    assert ((table["lower"] < table["estimate"]) & (table["estimate"] < table["upper"])).all()
    line = contrasts(found, by="method", at=365).table.iloc[0]
    grouped = contrasts(fit(cohort, "method + species"), by="method", at=365).table.iloc[0]
    assert abs(line["estimate"] - grouped["estimate"]) < 2
    assert "plot" in repr(found)
    assert "<table" in found._repr_html_()


# Degrees of freedom


def test_degrees_of_freedom_are_plots_less_what_is_constant_within_them(cohort):
    # 24 plots; 6 site levels and 1 method are constant within plots, species is not.
    table = fit(cohort, "method + species", "mixed").table
    np.testing.assert_allclose(table["df"], 24 - 7)


@pytest.mark.slow
def test_methods_that_differ_between_sites_are_judged_by_sites():
    frame = draw_intervals(replace(COHORT, sites=8, method_by_site_sd=0.8), 3)
    slopes = fit(frame, "method + species", "mixed", random="site:method/plot", points=(3, 3))
    plain = fit(frame, "method + species", "mixed", points=3)
    table = slopes.table.set_index("term")
    assert table.loc["method[T.alternative]", "df"] == 7  # 16 cells less 8 sites less 1 method
    assert table.loc["species[T.second]", "df"] == 32 - 16
    assert slopes.table["std_error"].iloc[0] > plain.table["std_error"].iloc[0]
    assert slopes.test(["method[T.alternative]"]).df2 == 7


@pytest.mark.slow
def test_survival_at_sites_like_these_is_judged_by_sites(cohort):
    found = fit(cohort, "method", "mixed", strata=None, random="site/plot", points=3)
    cells, weights = _cells(cohort)
    df = found.average_survival(cells, weights, 365.0).df
    # 6 sites less the mean: 5; the difference of methods is told within sites, by plots.
    assert (df[:2] >= 5).all()
    assert (df[:2] < 7).all()
    assert df[2] > 14
    assert found.table["df"].iloc[0] == 24 - 6 - 1


def test_ranks_where_strata_cross_outer_groups():
    # Four plots of each of three sites; two landforms cross the sites.
    site = np.repeat([0, 1, 2], 4)
    landform = np.tile([0, 1], 6)
    found = degrees(np.empty((12, 0)), landform, np.column_stack([site, np.arange(12)]))
    assert found.counted == ((3, 1), (12, 4))
    assert found.fixed == 2


# Refusals


def _refused(match, frame, formula="method", **arguments):
    with pytest.raises(ModelError, match=match):
        fit(frame, formula, "mixed", **arguments)


def test_what_cannot_be_fitted_is_said(cohort):
    _refused("leaves nothing for a random effect of site", cohort, random="site/plot")
    _refused("needs groups", cohort, cluster=None)
    _refused("no column 'paddock'", cohort, random="paddock/plot")
    _refused("as many numbers of points", cohort, points=(7, 7))
    _refused("points: 0 is not a number that goes here", cohort, points=0)
    _refused("no pieces", cohort, at=365.0, pieces=[100])
    _refused("only nested effects", cohort, strata=None, random="species/plot")
    _refused("cannot be distinguished", cohort, strata=None, random="site:block:method/plot")
    _refused("only one", cohort.assign(region="north"), strata=None, random="region/plot")
    _refused("nobody died", cohort.assign(died=0))
    with pytest.raises(ModelError, match="no random effects"):
        fit(cohort, "method", random="plot")


def test_a_method_under_which_nobody_died_has_no_finite_estimate(cohort):
    frame = cohort.assign(died=cohort["died"].where(cohort["method"] == "usual practice", 0))
    _refused("no finite estimate", frame)


def test_terms_without_plots_to_spare_have_no_limits():
    # One plot of each method at each site: a method-by-site effect leaves nothing over for method x site.
    frame = counts(plots=2, sites=2)
    found = fit(frame, "method * site", "mixed", strata=None, random="site:method/plot", points=1)
    lost = found.table["df"].isna()
    assert lost.all()
    assert sum("no limits for" in said for said in found.checks) == lost.sum()
    assert found.table.loc[lost, "lower"].isna().all()


def test_a_site_without_deaths_is_named_and_stands_at_100():
    frame = counts(plots=3)
    frame = frame.assign(died=frame["died"].where(frame["site"] != "site 2", 0))
    found = fit(frame, "method", "mixed", pieces=[40, 150])
    assert any("nobody died at site 2" in said for said in found.checks)
    cells = pd.DataFrame(
        {"site": ["site 2"], "method": pd.Categorical(["rip"], ["spot spray", "auger", "rip"])}
    )
    average = found.average_survival(cells, np.ones((1, 1)), 100.0)
    assert average.estimate[0] == 1
    # With a random effect of site it stays in the likelihood.
    both = fit(frame, "method", "mixed", strata=None, random="site/plot", pieces=[40, 150], points=3)
    assert both.average_survival(cells, np.ones((1, 1)), 100.0).estimate[0] < 1


def test_levels_lie_among_columns_where_strata_cross_plots():
    frame = counts(species=("acacia", "callitris"), plots=3)
    crossed = fit(frame, "method", "mixed", strata="species", points=5)
    as_term = fit(frame, "method + species", "mixed", strata=None, points=5)
    np.testing.assert_allclose(crossed.log_likelihood, as_term.log_likelihood, atol=1e-8)
    np.testing.assert_allclose(crossed.table["std_error"], as_term.table["std_error"].iloc[:2], rtol=1e-6)
    cells = frame[["species", "method"]].drop_duplicates(ignore_index=True)
    weights = np.eye(len(cells))
    one, other = (found.average_survival(cells, weights, 150.0) for found in (crossed, as_term))
    np.testing.assert_allclose(one.estimate, other.estimate, atol=1e-7)
    np.testing.assert_allclose(one.std_error, other.std_error, rtol=1e-5)


def test_parameters_of_a_bordered_likelihood_keep_their_places():
    frame = counts(plots=3)
    solution = fit(frame, "method", "mixed", pieces=[40, 150]).engine.solution
    assert isinstance(solution.at, Parameters)
    assert (len(solution.level), len(solution.alpha), len(solution.beta)) == (3, 2, 2)
