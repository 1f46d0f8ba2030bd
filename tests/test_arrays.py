"""The distinct values of an array are those that pandas finds, whatever lies where."""

import numpy as np
import pandas as pd
import pytest

from survivor.arrays import factorized

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
