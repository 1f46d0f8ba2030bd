"""Holm's adjustment against statsmodels."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.stats.multitest import multipletests

from survivor.models.result import holm
from tests.slow import some_slow


@pytest.mark.parametrize("count", some_slow([1, 2, 5, 40], [5]))
def test_as_statsmodels_with_blanks_and_ties(count):
    rng = np.random.default_rng(count)
    p_value = rng.uniform(size=count) ** 3
    p_value[: count // 3] = p_value[-1]  # ties
    with_blanks = np.insert(p_value, rng.integers(0, count + 1, size=3), np.nan)
    found = holm(with_blanks)
    # Source: statsmodels multipletests, Holm.
    expected = multipletests(p_value, method="holm")[1]
    np.testing.assert_allclose(found[~np.isnan(with_blanks)], expected, rtol=1e-12)
    assert np.isnan(found[np.isnan(with_blanks)]).all()


def test_the_ends():
    assert holm(np.array([])).shape == (0,)
    assert np.isnan(holm(np.array([np.nan, np.nan]))).all()
    np.testing.assert_array_equal(holm(np.array([0.0, 1.0, 0.9])), [0.0, 1.0, 1.0])
