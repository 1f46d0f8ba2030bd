"""Integrals over nested normal effects against brute force, and their gradient against differences."""

import numpy as np
import pytest
from scipy import integrate as quadrature
from scipy import stats

from survivor.models.quadrature import Counts, Tree, hermite, integrate

ROWS = 60
LEVELS = {1: [0.6], 2: [0.5, 0.7], 3: [0.5, 0.4, 0.7]}


def _forest(depth, seed=1):
    """Sites of blocks of plots of rows, ragged; the innermost ``depth`` levels of them."""
    rng = np.random.default_rng(seed)
    plot = np.sort(rng.integers(0, 16, ROWS))
    levels = [plot // 4, plot // 2, plot][3 - depth :]
    starts, place = [], np.arange(ROWS)
    for codes in reversed(levels):
        mine = codes[place]
        new = np.flatnonzero(np.r_[True, np.diff(mine) != 0])
        starts.insert(0, new)
        place = place[new]
    return Tree(tuple(starts), ROWS)


def _rows(link, seed=2):
    rng = np.random.default_rng(seed)
    at_risk = rng.integers(2, 15, ROWS).astype(float)
    return Counts(at_risk, np.floor(at_risk * rng.random(ROWS) * 0.7), link), rng.normal(-0.7, 0.5, ROWS)


def _part(counts, rows):
    return Counts(counts.at_risk[rows], counts.died[rows], counts.link)


@pytest.mark.parametrize("link", ["hazard", "logit"])
def test_derivatives_of_a_row(link):
    counts, predictor = _rows(link)
    step = 1e-5
    value, first = counts.value(predictor)
    slopes = counts.slopes(predictor)
    np.testing.assert_allclose(slopes[0], first, rtol=1e-13)
    above, below = counts.slopes(predictor + step), counts.slopes(predictor - step)
    rise = counts.value(predictor + step)[0] - counts.value(predictor - step)[0]
    np.testing.assert_allclose(rise / (2 * step), first, atol=1e-8)
    for order in (1, 2):
        np.testing.assert_allclose(
            (above[order - 1] - below[order - 1]) / (2 * step), slopes[order], atol=1e-8
        )
    assert np.isfinite(value).all()


def test_a_row_with_extreme_predictors_stays_finite():
    counts = Counts(np.full(4, 10.0), np.array([0.0, 10.0, 0.0, 10.0]), "hazard")
    predictor = np.array([-90.0, -90.0, 90.0, 90.0])
    assert np.isfinite(counts.value(predictor)[0]).all()
    assert np.isfinite(np.array(counts.slopes(predictor))).all()


@pytest.mark.parametrize("link", ["hazard", "logit"])
def test_one_level_equals_adaptive_integration(link):
    counts, predictor = _rows(link)
    tree = _forest(1)
    found = integrate(counts, predictor, np.array([0.6]), tree, [hermite(40)])
    for plot, start in enumerate(tree.row_starts[0]):
        rows = slice(start, start + tree.row_counts[0][plot])
        part = _part(counts, rows)

        def height(v, part=part, rows=rows):
            return np.exp(part.value(predictor[rows] + 0.6 * v)[0].sum()) * stats.norm.pdf(v)

        area = quadrature.quad(height, -9, 9, epsabs=0, epsrel=1e-11, limit=200)[0]
        np.testing.assert_allclose(found.value[plot], np.log(area), rtol=1e-9)


@pytest.mark.parametrize("link", ["hazard", "logit"])
def test_nested_levels_equal_brute_force(link):
    counts, predictor = _rows(link)
    tree, sd = _forest(2), np.array([0.5, 0.7])
    found = integrate(counts, predictor, sd, tree, [hermite(25)] * 2)
    grid, log_weight = hermite(60)
    by_outer = np.empty((60, len(tree.starts[1])))
    for place, outer in enumerate(grid):
        shifted = predictor + sd[0] * outer
        heights = [tree.gather(1, counts.value(shifted + sd[1] * inner)[0]) for inner in grid]
        by_outer[place] = np.log(np.exp(np.array(heights) + log_weight[:, None]).sum(axis=0))
    by_site = np.array([tree.gather(0, row) for row in by_outer])
    wanted = np.log(np.exp(by_site + log_weight[:, None]).sum(axis=0))
    np.testing.assert_allclose(found.value, wanted, rtol=1e-7)


def test_one_point_a_level_is_laplace_of_the_joint_integral():
    counts, predictor = _rows("hazard")
    tree, sd = _forest(2), np.array([0.5, 0.7])
    found = integrate(counts, predictor, sd, tree, [hermite(1)] * 2)
    sites, plots = (len(starts) for starts in tree.starts)
    shift = np.zeros((ROWS, sites + plots))
    shift[np.arange(ROWS), tree.to_rows(0, np.arange(sites))] = sd[0]
    shift[np.arange(ROWS), sites + tree.to_rows(1, np.arange(plots))] = sd[1]
    mode = np.concatenate(found.peak.modes)
    _, second, _ = counts.slopes(predictor + shift @ mode)
    curvature = np.eye(sites + plots) - shift.T @ (second[:, None] * shift)
    height = counts.value(predictor + shift @ mode)[0].sum() - mode @ mode / 2
    np.testing.assert_allclose(found.value.sum(), height - np.linalg.slogdet(curvature)[1] / 2, rtol=1e-12)


@pytest.mark.slow
@pytest.mark.parametrize("link", ["hazard", "logit"])
@pytest.mark.parametrize("points", [1, 3, 7])
@pytest.mark.parametrize("depth", [1, 2, 3])
def test_gradient_is_that_of_the_approximation_itself(link, points, depth):
    counts, predictor = _rows(link)
    tree, sd, nodes = _forest(depth), np.array(LEVELS[depth]), [hermite(points)] * depth
    found = integrate(counts, predictor, sd, tree, nodes)
    step = 1e-5

    def rise(move, sd_move):
        high = integrate(counts, predictor + move, sd + sd_move, tree, nodes).value
        low = integrate(counts, predictor - move, sd - sd_move, tree, nodes).value
        return (high - low) / (2 * step)

    for row in range(0, ROWS, 7):
        move = np.where(np.arange(ROWS) == row, step, 0.0)
        np.testing.assert_allclose(rise(move, np.zeros(depth)).sum(), found.rows[row], atol=2e-8)
    for level in range(depth):
        move = np.where(np.arange(depth) == level, step, 0.0)
        np.testing.assert_allclose(rise(np.zeros(ROWS), move), found.sd[:, level], atol=2e-8)


def test_without_spread_nothing_is_integrated():
    counts, predictor = _rows("hazard")
    tree = _forest(3)
    found = integrate(counts, predictor, np.zeros(3), tree, [hermite(5)] * 3)
    value, first = counts.value(predictor)
    np.testing.assert_allclose(found.value, tree.from_rows(0, value), rtol=1e-12)
    np.testing.assert_allclose(found.rows, first, rtol=1e-10)
