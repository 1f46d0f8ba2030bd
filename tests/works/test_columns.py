"""From the works of plots to columns, and the cheapest set of works."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from survivor.costs.prices import Price
from survivor.errors import EffectError
from survivor.records.diary import WORK_COLUMNS
from survivor.settings import Cost
from survivor.works.cheapest import cheapest_set
from survivor.works.columns import LAST_SPRAY, LEAD, PASSES, PATTERN, RIP_DEPTH, RIP_SOIL, plot_columns
from survivor.works.parts import parts_of
from tests.works.making import WORKS, factorial, question

PLACES = pd.DataFrame({"site": "Rise", "block": "", "plot": list("12345"), "method": "m"})
NONE = PLACES.iloc[:0][["site", "block", "plot"]]


def works(*rows: tuple[str, str, float, str]) -> pd.DataFrame:
    """Plot, work, day and soil of each row."""
    made = pd.DataFrame(rows, columns=["plot", "work", "day", "soil"])
    made = made.assign(site="Rise", block="", method="m", told_by="diary", depth_cm=40.0, width_cm=np.nan)
    made["pass"] = np.nan
    return made.reindex(columns=list(WORK_COLUMNS))


@pytest.fixture
def told() -> pd.DataFrame:
    return works(
        ("1", "knockdown", -300, ""), ("1", "knockdown", -40, ""), ("1", "pre-emergent", -40, ""),
        ("1", "rip", -90, "dry"), ("1", "rip", -20, "wet"), ("2", "rip", -90, "dry"), ("2", "rip", 30, "wet"),
        ("3", "rip", 20, "wet"), ("3", "mulch mat", 3, ""), ("4", "mulch mat", 200, ""),
        ("4", "follow-up weed control", 400, ""), ("4", "follow-up weed control", 500, ""),
        ("5", "follow-up weed control", np.nan, ""), ("5", "guard", np.nan, ""),
    )  # fmt: skip


def test_what_was_done_before_or_at_planting_is_a_column(told: pd.DataFrame) -> None:
    found = plot_columns(told, PLACES, NONE)
    table = found.table.set_index("plot")
    assert table["work_rip"].tolist() == ["yes", "yes", "no", "no", "no"]
    assert table["work_mulch_mat"].tolist() == ["no", "no", "yes", "no", "no"]
    assert table["work_guard"].tolist() == ["no", "no", "no", "no", "yes"]
    assert table[PATTERN].tolist() == [
        "knockdown + pre-emergent + rip", "rip", "mulch mat", "none", "guard",
    ]  # fmt: skip
    assert "work_follow_up_weed_control" not in table.columns


def test_timing_of_weed_control_and_of_the_rip(told: pd.DataFrame) -> None:
    first = plot_columns(told, PLACES, NONE).table.set_index("plot").loc["1"]
    assert first[PASSES] == 2  # two works of one day are one pass
    assert first[LEAD] == pytest.approx(300 / (365.25 / 12))
    assert first[LAST_SPRAY] == 40
    assert first[RIP_DEPTH] == 40
    assert first[RIP_SOIL] == ""  # dry once and wet once
    assert plot_columns(told, PLACES, NONE).table.set_index("plot").loc["2", RIP_SOIL] == "dry"


def test_works_after_planting_keep_their_first_day_and_late_ones_are_said(told: pd.DataFrame) -> None:
    found = plot_columns(told, PLACES, NONE)
    assert found.later[["plot", "work", "day"]].values.tolist() == [
        ["4", "follow-up weed control", 400], ["4", "mulch mat", 200],
    ]  # fmt: skip
    assert any("In 2 plots rip was done after planting" in text for text in found.checks)
    assert any("without a day for follow-up weed control" in text for text in found.checks)


def test_plots_of_unknown_works_are_left_out_of_the_intervals(told: pd.DataFrame) -> None:
    found = plot_columns(told, PLACES, PLACES[PLACES["plot"] == "2"][["site", "block", "plot"]])
    intervals = PLACES.drop(columns="method").assign(start_day=0, stop_day=9, at_risk=5, died=1)
    assert found.join(intervals)["plot"].tolist() == ["1", "3", "4", "5"]
    assert "1 plot was left out" in found.checks[0]


@pytest.fixture(scope="module")
def season() -> pd.DataFrame:
    truth = {"pre-emergent": -0.5, "rip": -0.7, "mulch mat": 0.0}
    return factorial(np.random.default_rng(2), truth, blocks=16, plants=40)


def price(each: float) -> Price:
    return Price.of("", Cost(per_plant=each))


def test_the_cheapest_set_not_shown_worse(season: pd.DataFrame) -> None:
    parts = parts_of(season, WORKS, [], question())
    sets = {
        "all three": frozenset(WORKS),
        "spray and rip": frozenset(("pre-emergent", "rip")),
        "rip": frozenset(("rip",)),
        "nothing": frozenset[str](),
    }
    prices = {"all three": price(7), "spray and rip": price(5), "rip": price(4), "nothing": price(3)}
    found = cheapest_set(parts, sets, prices, 5.0, question())
    table = found.table.set_index("preparation")
    assert table["per_plant"].tolist() == [3, 4, 5, 7]
    assert not table.loc["nothing", "not_shown_worse"]
    assert found.cheapest == "spray and rip"
    assert table.loc[found.best, "difference"] == 0
    # Not shown worse by five: the upper limit reaches beyond; shown no worse: the lower one does.
    for row in table.drop(index=found.best).itertuples():
        assert row.not_shown_worse == (row.upper > -5)
        assert row.shown_no_worse == (row.lower > -5)
    # The same differences, set by set, from the works one by one.
    rip = parts.table.set_index("what").loc["rip"]
    assert table.loc["rip", "survival"] - table.loc["nothing", "survival"] == pytest.approx(
        rip["estimate"], abs=2.5
    )


def test_sets_are_refused_without_costs_or_where_they_part_works_that_went_together(
    season: pd.DataFrame,
) -> None:
    parts = parts_of(season, WORKS, [], question())
    with pytest.raises(EffectError, match="fewer than two preparations have a cost"):
        cheapest_set(parts, {"rip": frozenset(("rip",))}, {"rip": price(1)}, 5.0, question())
    together = season.assign(work_mound=season["work_rip"])
    parts = parts_of(together, (*WORKS, "mound"), [], question())
    sets = {"rip": frozenset(("rip",)), "nothing": frozenset[str](), "both": frozenset(("rip", "mound"))}
    found = cheapest_set(parts, sets, {name: price(1) for name in sets}, 5.0, question())
    assert found.table.set_index("preparation").loc["rip", "reason"] == "rip and mound always went together"
