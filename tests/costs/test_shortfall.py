"""Infill to reach a goal, reckoned by hand."""

from __future__ import annotations

import pytest

from survivor.costs.shortfall import Alive, Goal, shortfall
from survivor.costs.stocking import InfillLives

ALIVE = Alive(600.0, 540.0, 650.0, put_in=1000.0, infill=20.0)


def test_what_is_wanted_less_what_stands_over_the_share_that_lives() -> None:
    lives = InfillLives(0.8, 0.7, 0.9)
    table = shortfall([Goal("70 of 100", 700.0), Goal("500", 500.0)], ALIVE, lives, (5.0, 8.0))
    first, second = table.to_dict("records")
    assert first["infill"] == pytest.approx((700 - 600 - 20) / 0.8)
    # The fewest plants at the lowest price, the most at the highest.
    assert (first["cost_low"], first["cost_high"]) == pytest.approx(
        (5.0 * first["lower"], 8.0 * first["upper"])
    )
    # By hand, at the ends of survival alone: 50 / 0.8 wanted at the best, 140 / 0.8 at the worst.
    assert 30 < first["lower"] < 60
    assert 160 < first["upper"] < 200
    assert second["infill"] == 0.0
    assert second["lower"] == 0.0


def test_where_nothing_is_known_of_infill_every_plant_is_taken_to_live() -> None:
    row = shortfall([Goal("70 of 100", 700.0)], ALIVE, None, None).iloc[0]
    assert row["infill"] == pytest.approx(80.0)
    assert row["lives"] == 1.0
    assert row[["cost_low", "cost_high"]].isna().all()


def test_the_same_seed_gives_the_same_limits() -> None:
    once, again = (shortfall([Goal("x", 700.0)], ALIVE, None, None, seed=3) for _ in range(2))
    assert once.equals(again)
