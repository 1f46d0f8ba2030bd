"""What a new season may show ends where survival can go no further, by one rule."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from survivor.pooling.result import Coming, possible


def test_no_more_than_all_and_no_fewer_than_none_can_be_alive():
    # Arithmetic: where 48 to 65 of 100 are alive, 65 fewer leave none and 52 more make all.
    assert possible(pd.Series([65.0, 48.0, np.nan, 59.0])) == (-65.0, 52.0)
    assert possible(pd.Series([np.nan])) == (-100.0, 100.0)
    assert possible(pd.Series([], dtype=float)) == (-100.0, 100.0)


@pytest.mark.parametrize(
    ("lower", "upper", "words"),
    [
        (-12.0, 32.0, "−12 to +32"),
        (-21.0, 53.0, "−21 to +52 (all alive)"),
        (-72.0, 21.0, "−65 (none alive) to +21"),
        (-81.0, 65.0, "too few seasons to say"),
        (-0.2, 2.0, "−0.2 to +2.0"),
        (np.nan, np.nan, "–"),
    ],
)
def test_an_interval_is_said_no_further_than_survival_can_go(lower, upper, words):
    coming = Coming.of(lower, upper, (-65.0, 52.0), "seasons")
    assert str(coming) == words
    if np.isfinite(lower):
        assert -65 <= coming.lower <= coming.upper <= 52


def test_without_survival_of_the_usual_practice_the_whole_scale_is_the_end():
    assert str(Coming.of(-81.0, 65.0, possible(pd.Series(dtype=float)), "studies")) == "−81 to +65"
    assert str(Coming.of(-130.0, 140.0, (-100.0, 100.0), "studies")) == "too few studies to say"
