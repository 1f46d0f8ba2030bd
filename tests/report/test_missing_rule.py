"""What the other rule for missing plants makes of the cost of a living plant, and what infill is ordered for.

A season of given fates: under ``usual`` two of ten plants of a plot are dead and three are gone from their
place, under ``other`` five are dead. With missing plants dead 50 of 100 live under both, and ``usual``, at
3 dollars a plant, is the cheaper one at any rule; ``third`` at 5 dollars has one missing plant of ten.
"""

from __future__ import annotations

import pytest

from survivor.analysis import Analysis
from survivor.report.arrangement import REPORT
from survivor.report.costs import costs as annex_costs
from survivor.report.pages.money import costs
from survivor.report.pages.work import following
from survivor.sentences import Sentence
from survivor.words import money
from tests.analysis.fates import COSTS, write_fates
from tests.once import analysed
from tests.report.making import build
from tests.report.walking import Tables, sentences

# Of ten plants: dead at the third visit, then missing from the third visit on.
FATES = {"usual": (3, 4), "other": (4, 0), "third": (3, 1)}
TARGET = """
[target]
survival_per_100 = 70
milestone = "12 months"

[[planted]]
site = "site 0"
plants = 100

[[planted]]
site = "site 1"
plants = 100

[[planted]]
site = "site 2"
plants = 100

[[planted]]
site = "site 3"
plants = 100
"""


def fate(site: int, method: str, plot: int, number: int) -> tuple[int, str]:
    dead, missing = FATES[method]
    dead += (site + plot) % 2
    if number < dead:
        return 2, "dead"
    return (2, "missing") if number < dead + missing else (99, "")


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Analysis:
    return analysed(write_fates(tmp_path_factory.mktemp("season"), fate, more=COSTS + TARGET))


def page_sentences(season: Analysis, template: str) -> list[Sentence]:
    return [one for one in sentences(REPORT.of(season)) if one.template == template]


def test_the_cost_under_the_other_rule_is_price_over_survival_under_it(season: Analysis) -> None:
    again = season.robustness.costs.set_index("method")
    bounds = season.robustness.bounds
    under = bounds[bounds["rule"] == "missing counted as unknown"].set_index("method")["estimate"]
    assert season.costs.payoff is not None
    prices = season.costs.payoff.table.set_index("method")["cost_per_plant"]
    for method, row in again.iterrows():
        assert row["cost_per_established"] == pytest.approx(100 * prices[method] / under[method], rel=1e-9)
    # Plants gone from their place are left out: fewer are taken as dead, so a living plant is cheaper.
    first = season.costs.payoff.table.set_index("method")["cost_per_established"]
    assert again.loc["usual", "cost_per_established"] < 0.75 * first["usual"]
    assert again.loc["other", "cost_per_established"] == pytest.approx(first["other"], rel=1e-6)


def test_the_page_and_the_annex_have_it_beside_the_cost(season: Analysis) -> None:
    from survivor.report.pages import english as en

    again = season.robustness.costs.set_index("method")["cost_per_established"]
    table = next(block for block in costs(season).blocks if getattr(block, "key", "") == "cost-table")
    place = [column.heading for column in table.columns].index("If missing are unknown")
    assert {row[0]: row[place] for row in table.rows} == {
        name: money(float(value), "dollars") for name, value in again.items()
    }
    assert season.costs.payoff is not None
    priced = season.costs.payoff.table
    cheapest = str(priced["method"].iloc[int(priced["cost_per_established"].argmin())])
    assert (cheapest, again.idxmin()) == ("other", "usual")
    (said,) = page_sentences(season, en.COST_OTHER)
    value = next(part for part in said.values if part.cell and part.cell.column == "cost_per_established")
    assert value.number == again["usual"] == Tables(season).at(value.cell)
    keys = [getattr(block, "key", "") for block in annex_costs(season).blocks]
    assert "payoff-other-table" in keys


def test_infill_is_ordered_for_those_that_the_page_names(season: Analysis) -> None:
    from survivor.report.pages import english as en

    assert following(season).blocks
    row = season.totals.to_reach.iloc[0]
    (said,) = page_sentences(season, en.NEXT_INFILL)
    assert said.parts["when"] == row["alive_at"] == "the last visit"
    assert said.values[0].number == row["infill"] > 0


def test_without_missing_plants_there_is_no_other_cost() -> None:
    table = next(block for block in costs(build()).blocks if getattr(block, "key", "") == "cost-table")
    assert not any("missing" in column.heading for column in table.columns)
