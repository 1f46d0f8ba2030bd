"""Short forms of the calibration of answers on works; ``works.md`` has the long one."""

from __future__ import annotations

import numpy as np
import pytest

from survivor.works.later import EVER, SINCE
from tests.calibration.works import (
    BOTH,
    BY_WHOLE,
    COLUMNS,
    FOLLOW_UP,
    NOTHING,
    PLOTS_DIFFER,
    TRUTH,
    WHOLE_PLOTS_DIFFER,
    counts,
    factorial,
    fitted,
    hazards,
    quick,
    run,
    run_follow_up,
    split_plot,
    summary,
    table_of,
)


def test_the_quick_form_is_the_fit_of_the_package() -> None:
    """Simulated on arrays; each study as ``survivor.fit`` fits it, by either kind of limits."""
    layout, rng = split_plot(), np.random.default_rng(4)
    many = quick(table_of(layout), list(layout.names), BY_WHOLE)
    at_risk, died = counts(layout.plants, hazards(layout, BOTH), rng.normal(0.0, 0.4, layout.plots), rng)
    found = many.answers(at_risk.ravel(), died.ravel())
    for kind, cluster in BY_WHOLE.items():
        table = fitted(many.frame, at_risk, died, many.terms, cluster).table
        np.testing.assert_allclose(found[kind][:, :4], table[list(COLUMNS)].to_numpy(float), rtol=1e-9)


@pytest.mark.slow
def test_works_of_a_factorial_are_unbiased_and_covered() -> None:
    found = summary(run(factorial(), TRUTH, 1000, 1, PLOTS_DIFFER)).set_index("term")
    print(found.round(3).to_string())
    for term in ("work_pre_emergent", "work_rip"):
        # Two standard errors of the simulation beside the 2 %.
        assert abs(found.loc[term, "bias_per_cent"]) < 2 + 2 * found.loc[term, "bias_error_per_cent"]
    assert found["covered"].between(0.93, 0.97).all()


@pytest.mark.slow
def test_a_whole_plot_work_is_judged_by_whole_plots() -> None:
    found = summary(run(split_plot(), NOTHING, 700, 2, WHOLE_PLOTS_DIFFER, BY_WHOLE))
    print(found.round(3).to_string())
    false_alarms = found.set_index(["limits", "term"])["rejected"].xs("work_rip", level="term")
    assert 0.025 < false_alarms["whole plots"] < 0.08
    assert false_alarms["plots"] > 2 * false_alarms["whole plots"]


@pytest.mark.slow
def test_a_follow_up_is_unbiased_where_the_naive_column_is_not() -> None:
    found = summary(run_follow_up(500, 3)).set_index("term")
    print(found.round(3).to_string())
    assert found.loc[SINCE, "mean"] == pytest.approx(FOLLOW_UP[1], abs=0.05)
    assert abs(found.loc[EVER, "mean"] - FOLLOW_UP[1]) > 0.2
