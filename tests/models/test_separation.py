"""Terms without a finite estimate: factors by rule, combinations and numbers by brute force."""

import itertools

import numpy as np
import pandas as pd
import pytest

from survivor.models.separation import said_of_levels, separation


def _find(columns, died, lived, stratum=None, inside=None):
    columns = np.asarray(columns, dtype=float)
    if columns.ndim == 1:
        columns = columns[:, None]
    count = len(columns)
    inside = np.ones((count, 1), dtype=bool) if inside is None else np.asarray(inside, dtype=bool)
    stratum = np.zeros(count, dtype=np.intp) if stratum is None else np.asarray(stratum, dtype=np.intp)
    return separation(columns, inside, stratum, np.asarray(died, float), np.asarray(lived, float))


# columns, died, lived, which terms run away and which way (None: no separation)
CASES = {
    "both groups mixed": ([0, 1], [3, 2], [4, 5], None),
    "nobody died in one": ([0, 1], [3, 0], [4, 5], [-1]),
    "everybody died in one": ([0, 1], [3, 5], [4, 0], [1]),
    "nobody here and everybody there": ([0, 1], [0, 5], [4, 0], [1]),
    "nobody died in the reference": ([[0, 0], [1, 0], [0, 1]], [0, 3, 2], [5, 2, 2], [1, 1]),
    "one of three levels": ([[0, 0], [1, 0], [0, 1]], [1, 0, 2], [5, 2, 2], [-1, 0]),
    "a number, apart but for one value": ([1, 2, 3, 4], [0, 0, 2, 3], [3, 1, 1, 0], [1]),
    "a number, mixed": ([1, 2, 3, 4], [0, 1, 0, 3], [3, 0, 1, 1], None),
    # Main effects of two factors of which only one combination lost no plant: held by the others.
    "one cell of two by two": ([[0, 0], [1, 0], [0, 1], [1, 1]], [2, 2, 2, 0], [2, 2, 2, 5], None),
}


@pytest.mark.parametrize(("columns", "died", "lived", "expected"), CASES.values(), ids=CASES)
def test_which_terms_run_away(columns, died, lived, expected):
    found = _find(columns, died, lived)
    if expected is None:
        assert found is None
    else:
        np.testing.assert_array_equal(np.sign(found.direction), expected)


def test_the_overlap_is_the_other_arms():
    found = _find([[0, 0], [1, 0], [0, 1]], [1, 0, 2], [5, 2, 2])
    np.testing.assert_array_equal(found.overlap, [True, False, True])


def test_strata_can_separate_what_the_totals_do_not():
    # Each method saw deaths and survivors, but at either site the second method did at least as well
    # without exception: its ratio runs away within sites.
    columns, stratum = [0, 1, 0, 1], [0, 0, 1, 1]
    found = _find(columns, [3, 0, 4, 2], [2, 5, 0, 3], stratum)
    np.testing.assert_array_equal(np.sign(found.direction), [-1])
    # Cells with both stay: they are what the levels are read from.
    np.testing.assert_array_equal(found.overlap, [True, False, False, True])
    assert _find(columns, [3, 0, 4, 2], [2, 5, 0, 3]) is None
    # One site where both have both is enough to hold it.
    assert _find([*columns, 0, 1], [3, 0, 4, 2, 1, 1], [2, 5, 0, 3, 1, 1], [*stratum, 2, 2]) is None


def test_pieces_count_as_cells():
    # In the first piece nobody died with the second method, in the second somebody did: it is held.
    inside = [[1, 0], [1, 0], [0, 1], [0, 1]]
    assert _find([0, 1, 0, 1], [3, 0, 4, 2], [2, 5, 1, 3], inside=inside) is None
    # A piece in which all died runs up by itself; the method is held by the other piece.
    assert _find([0, 1, 0, 1], [3, 2, 4, 3], [2, 5, 0, 0], inside=inside) is None
    # An interval over both pieces in which nobody died holds neither of them down.
    wide = [[1, 0], [1, 1], [0, 1]]
    assert _find([0, 1, 0], [3, 0, 4], [2, 5, 1], inside=wide).direction[0] < 0


def _brute(columns, died, lived):
    """Whether some direction of a fine grid moves no cell the wrong way and some cell at all."""
    angles = itertools.product(np.linspace(-1, 1, 9), repeat=columns.shape[1] + 1)
    design = np.column_stack([np.ones(len(columns)), columns])
    for direction in angles:
        moved = design @ np.array(direction)
        if np.any(moved[lived > 0] > 1e-12) or np.any(moved[died > 0] < -1e-12):
            continue
        if np.any(np.abs(moved) > 1e-12) and np.any(np.abs(direction[1:]) > 0):
            return True
    return False


def test_equals_brute_force():
    # Source: the definition of Albert and Anderson (1984), tried on a grid that holds every edge of the
    # cones that columns of -1, 0 and 1 make.
    rng = np.random.default_rng(3)
    seen = []
    for _ in range(60):
        columns = rng.integers(-1, 2, (5, 2)).astype(float)
        if np.linalg.matrix_rank(np.column_stack([np.ones(5), columns])) < 3:
            continue
        died, lived = rng.integers(0, 2, 5), rng.integers(0, 2, 5)
        lived[(died + lived) == 0] = 1
        if died.sum() == 0 or lived.sum() == 0:
            continue
        seen.append(_brute(columns, died, lived))
        assert (_find(columns, died, lived) is not None) == seen[-1]
    assert 5 < sum(seen) < len(seen) - 5


def test_scale_and_order_change_nothing():
    rng = np.random.default_rng(4)
    columns = np.column_stack([rng.normal(size=30), rng.integers(0, 2, 30)])
    died, lived = (columns[:, 1] == 0) * rng.integers(0, 3, 30), rng.integers(1, 3, 30)
    found = _find(columns, died, lived)
    scaled = _find(columns * [1e-4, 1e3] + [5.0, 0.0], died, lived)
    np.testing.assert_array_equal(found.overlap, scaled.overlap)
    np.testing.assert_array_equal(np.sign(found.direction), np.sign(scaled.direction))
    order = rng.permutation(30)
    np.testing.assert_array_equal(
        _find(columns[order], died[order], lived[order]).overlap, found.overlap[order]
    )


def test_no_term_is_no_separation():
    assert _find(np.empty((3, 0)), [0, 1, 2], [3, 0, 0]) is None


def test_levels_are_named():
    frame = pd.DataFrame(
        {"method": ["a", "b", "b"], "radius": [1.0, 1.0, 2.0], "at_risk": [3, 4, 5], "died": [0, 4, 5]}
    )
    assert said_of_levels(frame, ["method", "radius"]) == (
        "nobody died with method a and everybody died with method b"
    )
    assert said_of_levels(frame.assign(died=1), ["method"]) == ""
