"""Every result gives its table in the same columns, with the numbers of its own."""

from __future__ import annotations

import inspect

import numpy as np
import pytest

import survivor
from tests.public.fitted import WITH_Z as FIT
from tests.public.making import F

COSTS = {"usual": 3.0, "auger": 4.0, "rip": 4.5}
RESULTS = {
    "fit": (lambda: FIT, "estimate"),
    "survival": (lambda: survivor.survival(FIT), "estimate"),
    "contrasts": (lambda: survivor.contrasts(FIT), "estimate"),
    "compare": (lambda: survivor.compare(F), "estimate"),
    "dose": (lambda: survivor.dose(FIT, "z"), "estimate"),
    "payoff": (lambda: survivor.payoff(FIT, COSTS), "cost_per_established"),
    "stems": (lambda: survivor.stems_needed(survivor.survival(FIT), 1000), "plants_needed"),
    "curve": (lambda: survivor.curve(F, by="method"), "survival"),
    "median": (lambda: survivor.median_days(survivor.curve(F, by="method")), "day"),
    "hazards": (lambda: survivor.hazards(survivor.fit(F, "method", pieces=[180])), "estimate"),
    "sensitivity": (lambda: survivor.sensitivity(FIT), "estimate"),
    "log-rank": (lambda: survivor.log_rank(F), None),
    "mean days": (lambda: survivor.mean_days_alive(F), "estimate"),
    "pool": (lambda: survivor.pool([9.0, 14.0, 6.0], [3.0, 4.0, 3.5]), "estimate"),
    "pool by": (lambda: survivor.pool_by([9, 14, 6, 11], [3, 4, 3.5, 3], {"rain": [1, 2, 4, 5]}), "estimate"),
    "margin": (lambda: survivor.non_inferiority(survivor.contrasts(FIT), 5), "estimate"),
}


@pytest.mark.parametrize("name", RESULTS)
def test_results_share_their_columns(name):
    made, own = RESULTS[name]
    result = made()
    found = result.tidy()
    assert list(found.columns) == list(FIT.tidy().columns)
    assert len(found) == len(result.table)
    assert (found["group"] != "").all()
    if own is not None:
        np.testing.assert_array_equal(found["estimate"], result.table[own])
    for column in {"lower", "upper", "p_value"} & set(result.table.columns):
        np.testing.assert_array_equal(found[column], result.table[column])
    assert not found[["group", "against", "unit", "note"]].isna().any().any()


def test_groups_and_notes_are_words():
    contrasts = survivor.contrasts(FIT).tidy()
    assert contrasts["group"].tolist() == ["auger", "rip"]
    assert contrasts["against"].tolist() == ["usual", "usual"]
    medians = RESULTS["median"][0]().tidy()
    assert medians["note"].iloc[2] == "not reached by day 365"
    curves = RESULTS["curve"][0]().tidy()
    assert curves["group"].iloc[-1] == "rip; 365.0"
    assert survivor.curve(F).tidy()["group"].iloc[0] == "all; 0.0"


def test_every_result_with_a_table_of_estimates_can_be_had_so():
    kinds = [public for name in survivor.__all__ if isinstance(public := getattr(survivor, name), type)]
    tabled = {kind for kind in kinds if "table" in inspect.get_annotations(kind)}
    assert {survivor.Contrasts, survivor.Pooled, survivor.Payoff} <= tabled
    assert {kind.__name__ for kind in tabled if not hasattr(kind, "tidy")} <= {"SeasonPlan"}
