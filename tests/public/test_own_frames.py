"""Frames of a user's own: refused with the place where they are none; nothing said of sites they lack."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

import survivor
from survivor.errors import IntervalsError


def frame(**columns: Any) -> pd.DataFrame:
    made = {
        "plot": list("abcdef"),
        "method": ["rip", "auger"] * 3,
        "start_day": 0,
        "stop_day": 365,
        "at_risk": 20,
        "died": [3, 8, 5, 6, 4, 9],
    }
    return pd.DataFrame({**made, **columns})


@pytest.mark.parametrize("call", [lambda f: survivor.fit(f, "method", strata=None), survivor.curve])
@pytest.mark.parametrize(
    ("given", "said"),
    [
        (None, "a table (pandas, polars or Arrow), not NoneType"),
        ("records.csv", "a table (pandas, polars or Arrow), not str"),
        (
            frame(stop_day=[365, np.inf, 365, 365, 365, 365]),
            "row 1, column stop_day: the value is not finite",
        ),
        (frame(start_day=[0, -np.inf, 0, 0, 0, 0]), "row 1, column start_day: the value is not finite"),
        (frame(died=[3, 8, 1.5, 6, 4, 9]), "row 2, column died: a count of seedlings is whole: 1.5"),
        (frame(at_risk=[20, 20.25, 20, 20, 20, 20]), "row 1, column at_risk: a count of seedlings is whole"),
    ],
)
def test_what_is_no_table_of_risk_intervals_is_refused_with_its_place(call, given, said):
    with pytest.raises(IntervalsError, match="What to do") as fault:
        call(given)
    assert said in str(fault.value)


def test_whole_numbers_stored_as_floats_are_counts():
    alike = survivor.fit(frame(died=[3.0, 8.0, 5.0, 6.0, 4.0, 9.0]), "method", strata=None)
    pd.testing.assert_frame_equal(alike.table, survivor.fit(frame(), "method", strata=None).table)


def test_a_comparison_in_a_frame_without_sites_claims_none():
    told = survivor.contrasts(survivor.fit(frame(), "method", strata=None), at=365).table
    assert told["basis"].tolist() == ["all plots"]
    assert told["n_sites"].tolist() == [0]
    sites = frame(site=["Oddle Flat", "Oddle Flat", "Mirrin", "Mirrin", "Tarn", "Tarn"])
    told = survivor.contrasts(survivor.fit(sites, "method", strata="site"), at=365).table
    assert told["basis"].tolist() == ["within sites"]
