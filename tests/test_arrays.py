"""Distinct values of an array, and extremes of groups, are those that pandas finds, whatever lies where."""

import numpy as np
import pandas as pd
import pytest

from survivor.arrays import factorized, furthest
from survivor.intervals import row_codes

ROWS = 20_000
RNG = np.random.default_rng(3)
NAMES = np.array(["rip", "auger", "Auger", "", "mound"], dtype=object)
SHARED = NAMES[RNG.integers(0, len(NAMES), ROWS)]


def apart(texts: np.ndarray) -> np.ndarray:
    """The same texts, every one an object of its own."""
    return np.array(["".join([*text, "."])[:-1] for text in texts], dtype=object)


@pytest.mark.parametrize(
    "values",
    [
        SHARED,
        apart(SHARED),
        np.where(RNG.random(ROWS) < 0.1, np.nan, SHARED).astype(object),
        np.where(RNG.random(ROWS) < 0.1, None, apart(SHARED)).astype(object),
        np.array([float("nan"), "rip"] * ROWS, dtype=object),
        SHARED[::3],
        SHARED[:7],
        RNG.integers(0, 40, ROWS),
        np.array([], dtype=object),
    ],
    ids=["shared", "apart", "blank", "none", "blanks-apart", "strided", "few", "numbers", "empty"],
)
@pytest.mark.parametrize("sort", [False, True])
@pytest.mark.parametrize("sentinel", [False, True])
@pytest.mark.parametrize("kind", [np.asarray, pd.Series])
def test_as_pandas(values: np.ndarray, sort: bool, sentinel: bool, kind: type) -> None:
    column = kind(values)
    codes, found = factorized(column, sort=sort, use_na_sentinel=sentinel)
    wanted, distinct = pd.factorize(column, sort=sort, use_na_sentinel=sentinel)
    np.testing.assert_array_equal(codes, wanted)
    pd.testing.assert_index_equal(pd.Index(found), pd.Index(distinct))


def test_an_object_is_looked_at_once() -> None:
    class Name:
        looked = 0

        def __hash__(self) -> int:
            Name.looked += 1
            return 1

    codes, found = factorized(np.array([Name()] * ROWS, dtype=object))
    assert (len(found), codes.max()) == (1, 0)
    assert Name.looked < 10


@pytest.mark.parametrize(("how", "name"), [(np.fmin, "min"), (np.fmax, "max")])
def test_furthest_as_pandas(how: np.ufunc, name: str) -> None:
    days = pd.Series(np.datetime64("2023-06-01", "ns") + RNG.integers(0, 900, 500).astype("timedelta64[D]"))
    days[RNG.random(500) < 0.3] = pd.NaT
    group = pd.Series(RNG.integers(0, 150, 500))
    codes, first = row_codes([group])
    told = furthest(how, days.to_numpy(), codes, first)
    np.testing.assert_array_equal(told, days.groupby(group).agg(name).to_numpy())
