"""Covariances by cluster against full matrices, on a small weighted design."""

import numpy as np
import pytest
from scipy import stats
from statsmodels.regression.linear_model import WLS

from survivor.models.clusters import by_cluster, sandwich

# Clusters of unequal size; strata hold two, two, three and one of them.
SIZES = (3, 5, 2, 4, 4, 1, 6, 5)
STRATUM = np.array([0, 0, 1, 1, 2, 2, 2, 3])


def _case(seed=3):
    """Rows scaled to unit working variance, residuals and codes; strata levels are the first four columns."""
    rng = np.random.default_rng(seed)
    codes = np.repeat(np.arange(len(SIZES)), SIZES)
    between = (np.arange(len(SIZES)) % 2).astype(float)[codes]
    within = rng.normal(size=len(codes))
    levels = (STRATUM[codes][:, None] == np.arange(4)).astype(float)
    design = np.column_stack([levels, between, within])
    weight = rng.uniform(0.5, 3.0, len(codes))
    outcome = rng.normal(size=len(codes)) + rng.normal(size=len(SIZES))[codes]
    rows = np.sqrt(weight)[:, None] * design
    scaled = np.sqrt(weight) * outcome
    beta = np.linalg.lstsq(rows, scaled, rcond=None)[0]
    return codes, design, weight, outcome, rows, scaled - rows @ beta, beta


def _pieces(codes, rows):
    """By full matrices: for each cluster (I - H_gg)^(-1/2) on its rows, and M."""
    bread = np.linalg.inv(rows.T @ rows)
    adjusted = []
    for cluster in range(len(SIZES)):
        mine = codes == cluster
        values, vectors = np.linalg.eigh(np.eye(mine.sum()) - rows[mine] @ bread @ rows[mine].T)
        power = np.where(values > 1e-9, 1 / np.sqrt(np.where(values > 1e-9, values, 1)), 0.0)
        adjusted.append((vectors * power) @ vectors.T)
    return bread, adjusted


def _vectors(codes, rows, contrast):
    """Vectors p_g with V = sum_g (p_g' e)^2 for e of unit working variance, shape (G, N)."""
    bread, adjusted = _pieces(codes, rows)
    residual = np.eye(len(rows)) - rows @ bread @ rows.T
    return np.array(
        [
            residual[:, codes == cluster] @ adjusted[cluster] @ rows[codes == cluster] @ bread @ contrast
            for cluster in range(len(SIZES))
        ]
    )


def _covariance(codes, rows, residual):
    bread, adjusted = _pieces(codes, rows)
    meat = np.zeros_like(bread)
    for cluster, adjust in enumerate(adjusted):
        mine = codes == cluster
        score = rows[mine].T @ adjust @ residual[mine]
        meat += np.outer(score, score)
    return bread @ meat @ bread


def _told(codes, rows):
    """Share of each parameter's working variance that residuals tell of; 0 where a cluster alone decides."""
    bread = np.linalg.inv(rows.T @ rows)
    return np.array([np.sum(_vectors(codes, rows, pick) ** 2) for pick in np.eye(6)]) / np.diag(bread)


def _plain(kind):
    codes, design, weight, _, _, residual, _ = _case()
    score = residual * np.sqrt(weight)
    return sandwich(*by_cluster(codes, len(SIZES), design, score, weight), kind)


def _bordered(kind):
    codes, design, weight, _, _, residual, _ = _case()
    local = np.column_stack([np.ones(len(codes)), design[:, 4:]])
    score = residual * np.sqrt(weight)
    return sandwich(*by_cluster(codes, len(SIZES), local, score, weight), kind, STRATUM)


BUILT = pytest.mark.parametrize("build", [_plain, _bordered], ids=["plain", "border"])


@BUILT
def test_cr2_equals_full_matrices(build):
    # Source: the definition, Bell and McCaffrey (2002), Survey Methodology 28, 169-181. The last cluster
    # fills its stratum: full leverage, the pseudo-inverse, and what it leaves out is divided out.
    codes, _, _, _, rows, residual, _ = _case()
    told = _told(codes, rows)
    np.testing.assert_allclose(told[[0, 1, 2, 4, 5]], 1, atol=1e-9)
    assert told[3] < 0.8
    expected = _covariance(codes, rows, residual) / np.sqrt(np.outer(told, told))
    np.testing.assert_allclose(build("CR2").covariance, expected, atol=1e-12)


@BUILT
@pytest.mark.parametrize("contrast", [[0, 0, 0, 0, 1, 0], [0, 0, 0, 0, 0, 1], [0.5, 0.5, 0, 0, 1, -1]])
def test_satterthwaite_equals_full_matrices(build, contrast):
    # Source: Bell and McCaffrey (2002), section 4: df = 2 E(V)^2 / Var(V) for normal working residuals.
    codes, _, _, _, rows, _, _ = _case()
    vectors = _vectors(codes, rows, np.array(contrast, dtype=float))
    gram = vectors @ vectors.T
    expected = np.trace(gram) ** 2 / np.sum(gram**2)
    assert build("CR2").degrees(np.array([contrast], dtype=float))[0] == pytest.approx(expected, rel=1e-9)


@BUILT
@pytest.mark.parametrize("contrast", [[0, 0, 0, 0, 1, 1], [0, 0, 0, 1, 0, 0], [0.25, 0.25, 0.25, 0.25, 0, 0]])
def test_cr2_is_unbiased_under_the_working_model(build, contrast):
    # Source: Bell and McCaffrey (2002): the expectation of CR2 is then the model's own variance; here
    # also for what the last cluster, alone in its stratum, takes part in.
    codes, design, weight, _, rows, _, _ = _case()
    residual = np.eye(len(rows)) - rows @ np.linalg.inv(rows.T @ rows) @ rows.T
    contrast = np.array([contrast], dtype=float)
    border = build is _bordered
    local = np.column_stack([np.ones(len(codes)), design[:, 4:]]) if border else design
    expected = 0.0
    for noise in np.eye(
        len(rows)
    ):  # the variance is quadratic in the residuals: sum over an orthonormal basis
        score = residual @ noise * np.sqrt(weight)
        pieces = by_cluster(codes, len(SIZES), local, score, weight)
        expected += sandwich(*pieces, "CR2", STRATUM if border else None).covariance_of(contrast)[0, 0]
    model = contrast[0] @ np.linalg.inv(rows.T @ rows) @ contrast[0]
    assert expected == pytest.approx(model, rel=1e-9)


def test_what_one_cluster_alone_decides_has_no_variance():
    # A level that only the last cluster has, and nothing else there: no residual, no limits.
    codes, design, weight, _, _, residual, _ = _case()
    score = residual * np.sqrt(weight)
    found = sandwich(*by_cluster(codes, len(SIZES), design[:, :5], score, weight), "CR2")
    alone = np.eye(5)[3:4] + np.eye(5)[4:5] * (design[codes == 7, 4].mean())
    assert np.isnan(found.covariance_of(alone)).all()
    assert np.isnan(found.degrees(alone)).all()
    assert np.isfinite(found.covariance_of(np.eye(5)[4:])).all()


@BUILT
def test_hotelling_degrees_equal_full_matrices(build):
    # Source: Pustejovsky and Tipton (2018), JBES 36, 672-683, equation (15): eta = q (q + 1) over the
    # sum of the variances of all elements of the standardised sandwich.
    codes, _, _, _, rows, _, beta = _case()
    contrasts = np.eye(6)[4:]
    bread = np.linalg.inv(rows.T @ rows)
    values, vectors = np.linalg.eigh(contrasts @ bread @ contrasts.T)
    scaled = (vectors / np.sqrt(values)) @ vectors.T @ contrasts
    parts = [_vectors(codes, rows, contrast) for contrast in scaled]
    total = 0.0
    for first in parts:
        for second in parts:
            form = first.T @ second
            form = (form + form.T) / 2
            total += 2 * np.sum(form**2)
    eta = 2 * 3 / total
    found = build("CR2").wald(contrasts, beta)
    assert found.df1 == 2
    assert found.df2 == pytest.approx(eta - 1, rel=1e-9)
    value = contrasts @ beta
    covariance = contrasts @ build("CR2").covariance @ contrasts.T
    quadratic = value @ np.linalg.solve(covariance, value)
    assert found.statistic == pytest.approx(quadratic * (eta - 1) / (eta * 2), rel=1e-9)
    assert found.p_value == pytest.approx(stats.f.sf(found.statistic, 2, found.df2))


@BUILT
@pytest.mark.parametrize("kind", ["CR2", "CR1", "CR0"])
def test_one_contrast_is_the_square_of_t(build, kind):
    *_, beta = _case()
    covariance = build(kind)
    contrast = np.array([[0, 0, 0, 0, 1.0, 0]])
    df = covariance.degrees(contrast)[0]
    t = (contrast @ beta)[0] / np.sqrt(covariance.covariance_of(contrast)[0, 0])
    found = covariance.wald(contrast, beta)
    assert found.statistic == pytest.approx(t**2, rel=1e-9)
    assert found.df2 == pytest.approx(df, rel=1e-9)
    assert found.p_value == pytest.approx(2 * stats.t.sf(abs(t), df), rel=1e-9)


@BUILT
def test_cr0_and_cr1_equal_statsmodels(build):
    # Source: statsmodels WLS, cov_type="cluster" without correction; CR1 is G / (G - 1) times it.
    codes, design, weight, outcome, *_ = _case()
    fit = WLS(outcome, design, weights=weight).fit(
        cov_type="cluster", cov_kwds={"groups": codes, "use_correction": False}
    )
    np.testing.assert_allclose(build("CR0").covariance, fit.cov_params(), atol=1e-12)
    np.testing.assert_allclose(build("CR1").covariance, fit.cov_params() * 8 / 7, atol=1e-12)


@BUILT
def test_model_covariance_is_the_inverse_information(build):
    _, _, _, _, rows, _, beta = _case()
    found = build("model")
    np.testing.assert_allclose(found.covariance, np.linalg.inv(rows.T @ rows), atol=1e-12)
    assert np.isinf(found.degrees(np.eye(6))).all()
    test = found.wald(np.eye(6)[4:], beta)
    assert test.p_value == pytest.approx(stats.chi2.sf(test.statistic * 2, 2))


def test_joining_rows_of_a_cluster_changes_nothing():
    codes, design, weight, _, _, residual, _ = _case()
    score = residual * np.sqrt(weight)
    twice = np.concatenate([codes, codes])
    split = sandwich(
        *by_cluster(
            twice,
            len(SIZES),
            np.vstack([design, design]),
            np.concatenate([score * 0.3, score * 0.7]),
            np.concatenate([weight * 0.4, weight * 0.6]),
        )
    )
    np.testing.assert_allclose(split.covariance, _plain("CR2").covariance, atol=1e-12)
    np.testing.assert_allclose(split.degrees(np.eye(6)[4:]), _plain("CR2").degrees(np.eye(6)[4:]), rtol=1e-9)
