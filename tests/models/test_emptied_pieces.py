"""Pieces in which deaths may lie but none need: joined to a neighbour, and said as it is."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

import survivor
from survivor.errors import ModelError
from survivor.models.grouped import arranged

METHODS = ("usual", "rip", "auger")
NOBODY = "nobody died in these pieces, so their hazard is 0: "
MAY = "deaths may lie in these pieces but none need"


def irregular(seed: int, plots: int = 24, plants: int = 20) -> pd.DataFrame:
    """Plants of 4 sites visited on days of their plot's own, some visits left out: tagged."""
    rng = np.random.default_rng(seed)
    rows = []
    for plot in range(plots):
        hazard = 0.0015 * np.exp(rng.normal(0, 0.5) - 0.5 * (plot % 3))
        days = np.array([60.0, 180, 280, 365]) + rng.integers(-15, 16, 4)
        days = days[(rng.random(4) > 0.15) | (np.arange(4) == 3)]
        for plant in range(plants):
            start, dies = 0.0, rng.exponential(1 / hazard)
            for stop in days:
                rows.append(
                    (f"S{plot % 4}", f"p{plot}", f"t{plant}", METHODS[plot % 3], start, stop, dies <= stop)
                )
                start = stop
                if dies <= stop:
                    break
    names = ["site", "plot", "tag", "method", "start_day", "stop_day", "died"]
    frame = pd.DataFrame(rows, columns=names).assign(at_risk=1, died=lambda table: table["died"].astype(int))
    return frame.assign(method=pd.Categorical(frame["method"], METHODS))


def named_days(check: str) -> list[tuple[float, float]]:
    found = re.findall(r"day ([\d.]+) to ([\d.]+)|after day ([\d.]+)", check)
    return [(float(a or after), float(b) if b else np.inf) for a, b, after in found]


@pytest.mark.parametrize("seed", range(8))
def test_nobody_died_is_said_only_where_nobody_can_have(seed):
    frame = irregular(seed)
    dead = frame[frame["died"] > 0]
    for check in survivor.fit(frame, "method").checks:
        if check.startswith(NOBODY):
            for begins, ends in named_days(check):
                assert not ((dead["start_day"] < ends) & (begins < dead["stop_day"])).any(), check


def test_a_piece_that_need_hold_no_death_is_joined_and_survival_falls_through_it():
    seen = 0
    for seed in range(8):
        fit = survivor.fit(irregular(seed), "method")
        emptied = [check for check in fit.checks if check.startswith(MAY)]
        seen += len(emptied)
        assert min(arranged(fit).pieces.group) >= 0
        at = [survivor.survival(fit, at=day).table["estimate"].to_numpy() for day in (100, 200, 300, 340)]
        assert (np.diff(at, axis=0) < -0.05).all()
    assert seen  # the rule with irregular visits, not the exception


def test_pieces_as_given_stay_and_the_sentence_is_true_of_them():
    frame = irregular(2)
    cuts = np.unique(frame["stop_day"])[:-1:6]
    fit = survivor.fit(frame, "method", pieces=cuts)
    assert any(check.startswith(MAY) and "taken as 0" in check for check in fit.checks)
    assert arranged(fit).pieces.base.cuts == tuple(cuts)


def test_restricted_mixed_fits_join_such_pieces_too():
    for seed in (33, 35):
        frame = irregular(seed, plots=12, plants=12)
        found = survivor.fit(frame, "method", model="mixed", restricted=True)
        assert np.isfinite(found.table["upper"]).all()


@pytest.mark.parametrize(
    ("pieces", "named"),
    [
        ([-5, 1e9], "day -5"),
        ([100, 900], "day 900"),
        ("season", "'season'"),
        (["June"], "'June'"),
        ([np.nan], "day nan"),
    ],
)
def test_pieces_that_cannot_be_are_refused(pieces, named):
    with pytest.raises(ModelError, match=named) as error:
        survivor.fit(irregular(1), "method", pieces=pieces)
    assert error.value.where == "pieces"
    assert "before the last visit" in error.value.mend


def test_no_pieces_are_said_to_be_one_hazard():
    assert (
        survivor.fit(irregular(1), "method", pieces=[]).checks[0]
        == "one constant hazard for the whole season, as given"
    )


def test_days_are_printed_alike():
    assert not any(re.search(r"\d\.0\b", check) for check in survivor.fit(irregular(4), "method").checks)
