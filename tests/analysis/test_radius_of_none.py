"""Preparations with one radius in all plots, as 0 where nothing is sprayed, tell nothing of a wider patch."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import survivor
from survivor.analysis.radius import RADIUS, _where_it_varies
from survivor.errors import SurvivorError
from survivor.models.result import Fit


def source(radii: tuple[float, ...]) -> Fit:
    """Two sprayed preparations whose plots have these radii in turn, and one without any weed control."""
    rng, rows = np.random.default_rng(4), []
    for site in range(6):
        for block in range(2):
            for place, method in enumerate(("nothing", "spray", "rip")):
                radius = (
                    0.0
                    if method == "nothing"
                    else radii[(site + block * len(radii) // 2 + place) % len(radii)]
                )
                died = int(rng.binomial(20, 0.5 if method == "nothing" else 0.3))
                rows.append((f"s{site}", f"b{block}", method, method, radius, 0, 365, 20, died))
    names = ["site", "block", "plot", "method", RADIUS, "start_day", "stop_day", "at_risk", "died"]
    frame = pd.DataFrame(rows, columns=names)
    return survivor.fit(frame, "method", strata=["site", "block"])


def test_a_radius_of_none_draws_no_response_on_to_0() -> None:
    given = source((0.4, 0.5, 0.6, 0.7))
    fitted, said = _where_it_varies(given)
    assert set(fitted.data["method"].astype(str)) == {"spray", "rip"}
    assert "nothing" in said
    shown = survivor.dose(fitted, RADIUS, at=365).table[RADIUS]
    assert survivor.dose(given, RADIUS, at=365).table[RADIUS].min() < 0.4
    assert (shown.min(), shown.max()) == pytest.approx((0.4, 0.7))


def test_two_radii_beside_none_have_a_response_where_they_had_no_answer() -> None:
    given = source((0.45, 0.60))
    with pytest.raises(SurvivorError, match="cannot be distinguished"):
        survivor.dose(given, RADIUS, at=365)
    fitted, _ = _where_it_varies(given)
    assert len(survivor.dose(fitted, RADIUS, at=365).table) == 2


def test_where_each_preparation_varies_nothing_is_left_out() -> None:
    given = source((0.4, 0.5, 0.6, 0.7))
    rows = given.data[given.data["method"].astype(str) != "nothing"]
    fit = survivor.fit(rows, "method", strata=["site", "block"])
    assert _where_it_varies(fit) == (fit, "")
