"""Short forms of the calibration of answers on works; the long one is ``python -m "
"tests.calibration.works``."""

from __future__ import annotations

import pytest

from survivor.works.later import EVER, SINCE
from tests.calibration.works import (
    BY_WHOLE,
    FOLLOW_UP,
    NOTHING,
    TRUTH,
    factorial,
    run,
    run_follow_up,
    split_plot,
    summary,
)

pytestmark = pytest.mark.slow


def test_works_of_a_factorial_are_unbiased_and_covered() -> None:
    found = summary(run(factorial(), TRUTH, 1000, 1, 0.3)).set_index("term")
    print(found.round(3).to_string())
    for term in ("work_pre_emergent", "work_rip"):
        # Four standard errors of the simulation beside the 2 %.
        assert abs(found.loc[term, "bias_per_cent"]) < 2 + 4 * found.loc[term, "bias_error_per_cent"] / 2
    assert found["covered"].between(0.93, 0.97).all()


def test_a_whole_plot_work_is_judged_by_whole_plots() -> None:
    found = summary(run(split_plot(), NOTHING, 700, 2, 0.2, 0.35, BY_WHOLE)).set_index(["limits", "term"])
    print(found.round(3).to_string())
    false_alarms = found["rejected"].xs("work_rip", level="term")
    assert 0.025 < false_alarms["whole plots"] < 0.08
    assert false_alarms["plots"] > 2 * false_alarms["whole plots"]


def test_a_follow_up_is_unbiased_where_the_naive_column_is_not() -> None:
    found = summary(run_follow_up(500, 3)).set_index("term")
    print(found.round(3).to_string())
    assert found.loc[SINCE, "mean"] == pytest.approx(FOLLOW_UP[1], abs=0.05)
    assert abs(found.loc[EVER, "mean"] - FOLLOW_UP[1]) > 0.2
