import numpy as np
import pytest
from scipy import stats

from survivor.effects.limits import half_width, survival_limits, t_test, wilson

# Source: Freireich et al. 1963, 6-MP arm; log(-log) limits computed with R survival 3.5-3.
FREIREICH = {
    6: (0.857143, 0.0763604, 0.619718, 0.951552),
    10: (0.752941, 0.0963497, 0.503200, 0.889362),
    23: (0.448179, 0.1345915, 0.188052, 0.680143),
}


@pytest.mark.parametrize(("survival", "std_error", "lower", "upper"), FREIREICH.values())
def test_loglog_limits_with_infinite_df_are_those_of_a_normal(survival, std_error, lower, upper):
    found = survival_limits(np.array([survival]), np.array([std_error]), np.array([np.inf]), np.array([21.0]))
    assert found.lower[0] == pytest.approx(lower, abs=5e-6)
    assert found.upper[0] == pytest.approx(upper, abs=5e-6)
    assert not found.edge[0]


def test_fewer_degrees_of_freedom_widen_limits():
    wide = survival_limits(np.array([0.7]), np.array([0.05]), np.array([4.0]), np.array([12.0]))
    narrow = survival_limits(np.array([0.7]), np.array([0.05]), np.array([40.0]), np.array([12.0]))
    assert wide.lower[0] < narrow.lower[0] < 0.7 < narrow.upper[0] < wide.upper[0]


# Source: Newcombe 1998, Stat. Med. 17, 857-872, table I.
NEWCOMBE = [
    (81, 263, 0.2553, 0.3662),
    (15, 148, 0.0624, 0.1605),
    (0, 20, 0.0, 0.1611),
    (1, 29, 0.0061, 0.1718),
]


@pytest.mark.parametrize(("count", "number", "lower", "upper"), NEWCOMBE)
def test_wilson(count, number, lower, upper):
    found = wilson(np.array([count / number]), np.array([float(number)]))
    assert found[0][0] == pytest.approx(lower, abs=6e-5)
    assert found[1][0] == pytest.approx(upper, abs=6e-5)


def test_at_an_edge_the_limits_are_wilsons_on_the_number_given():
    found = survival_limits(np.array([1.0, 0.0]), np.zeros(2), np.array([5.0, 5.0]), np.array([20.0, 20.0]))
    assert found.edge.tolist() == [True, True]
    # Source: Newcombe 1998, table I: 0 of 20 has limits 0 to 0.1611.
    assert found.lower[0] == pytest.approx(1 - 0.1611, abs=6e-5)
    assert found.upper.tolist() == pytest.approx([1.0, 0.1611], abs=6e-5)


def test_no_honest_width_without_degrees_of_freedom():
    found = half_width(np.array([1.0, 1.0, 1.0]), np.array([np.nan, np.inf, 7.0]))
    assert np.isnan(found[0])
    assert found[1] == pytest.approx(stats.norm.ppf(0.975))
    assert found[2] == pytest.approx(stats.t.ppf(0.975, 7))


def test_t_test_matches_its_limits():
    # A limit that just touches 0 has p = 0.05.
    quantile = stats.t.ppf(0.975, 7)
    assert t_test(np.array([quantile]), np.array([1.0]), np.array([7.0]))[0] == pytest.approx(0.05)
    assert np.isnan(t_test(np.array([1.0]), np.array([0.0]), np.array([7.0])))[0]
