"""The plan as a whole: sizes, split, warning, page and command."""

import json
import math
import multiprocessing
import re
from pathlib import Path

import pandas as pd
import pytest
from typer.testing import CliRunner

import survivor
from survivor.cli import app
from survivor.planning.closed_form import power_of_proportions
from survivor.planning.layout import draw_layout
from survivor.planning.page import plan_json
from survivor.planning.run import plan as plan_season
from survivor.planning.size import size_of
from survivor.planning.split import best_split, budget_needed, cost_of_tag, seen_difference, splits
from survivor.planning.variation import arms_of, spread_of
from survivor.planning.words import summary
from tests.document.browsing import in_a_browser, words_to_read
from tests.planning.making import COSTS, METHODS, cheapest_seedlings, raw_plan, small_plan, write_toml

FEW = {"fewest_seedlings": 2, "most_seedlings": 60}


@pytest.fixture(scope="module")
def poor():
    """A plan whose budget is too small."""
    return plan_season(
        small_plan(costs=COSTS, sizes={"plots_per_method": None}, question={"smallest_difference": 8})
    )


@pytest.fixture(scope="module")
def rich():
    """A plan whose size is settled and ample."""
    return plan_season(
        small_plan(
            sizes={"plots_per_method": 20, "seedlings_per_plot": 20}, question={"smallest_difference": 25}
        )
    )


def found_of(plan):
    return spread_of(plan, Path())


@pytest.mark.slow
def test_a_budget_too_small_is_said_plainly_with_what_could_be_seen(poor):
    said = "\n".join(summary(poor))
    assert not poor.answers
    assert "cannot be counted on to answer the question" in said
    assert f"a difference of {math.ceil(poor.seen)} per 100" in said
    assert "12,000 dollars" in said
    assert "will not mean that there is no difference" in said


def test_the_difference_that_could_be_seen_has_the_power_asked_for(poor):
    arms = arms_of(poor.plan, poor.spread, 0.60 + poor.seen / 100)
    assert power_of_proportions(arms, poor.plots, poor.seedlings) == pytest.approx(0.8, abs=0.001)
    assert poor.seen > 8


def test_the_budget_that_would_do_does(poor):
    plan = small_plan(costs={**COSTS, "budget": poor.budget_needed}, question={"smallest_difference": 8})
    best = best_split(splits(plan, found_of(plan), 5))
    assert best["power"] >= 80
    less = small_plan(
        costs={**COSTS, "budget": 0.96 * poor.budget_needed}, question={"smallest_difference": 8}
    )
    assert best_split(splits(less, found_of(less), 5))["power"] < 80


def test_an_ample_season_warns_of_nothing(rich):
    assert rich.answers
    said = "\n".join(summary(rich))
    assert "If nothing is lost, this season can answer the question" in said
    assert "instead" not in said
    assert rich.power["simulated"] > 90


def test_the_best_split_is_near_cochrans_root():
    # Cochran 1977, Sampling Techniques, ch. 10, for plots without end; whole plots and few degrees of
    # freedom move it, so power there is compared, not the number of seedlings.
    plan = small_plan(costs={**COSTS, "budget": 60_000}, sizes=FEW)
    found = found_of(plan)
    table = splits(plan, found, 5)
    root = cheapest_seedlings(90 + 50, cost_of_tag(plan.costs, 5), found.correlation)
    near = table.set_index("seedlings")["power"][round(root)]
    assert best_split(table)["power"] - near < 1.0
    assert abs(best_split(table)["seedlings"] - root) < 8


def test_every_split_keeps_to_the_budget():
    plan = small_plan(costs=COSTS, sizes=FEW)
    table = splits(plan, found_of(plan), 5)
    assert (table["cost"] <= 12_000).all()
    # One more plot of each method would break it: nothing is left unspent that buys one.
    each = table["cost"] / table["plots"]
    assert (table["cost"] + each > 12_000).all()
    assert (table["cost"] == table["plots"] * 2 * (140 + 6.5 * table["seedlings"])).all()


def test_a_budget_that_buys_no_two_plots_answers_nothing():
    season = plan_season(small_plan(costs={**COSTS, "budget": 500}))
    assert season.plots == 0
    said = "\n".join(summary(season))
    assert "cannot answer the question" in said
    assert season.budget_needed > 500


def test_a_settled_number_of_seedlings_is_kept():
    plan = small_plan(costs=COSTS, sizes={"seedlings_per_plot": 25})
    plots, seedlings, why = size_of(plan, Path())
    assert seedlings == 25
    assert plots == 12_000 // (2 * (140 + 6.5 * 25))
    assert "budget" in why


def test_without_costs_the_size_needed_is_worked_out():
    plan = small_plan()
    plots, seedlings, _ = size_of(plan, Path())
    arms = arms_of(plan, found_of(plan))
    assert (
        power_of_proportions(arms, plots, seedlings) >= 0.8 > power_of_proportions(arms, plots - 1, seedlings)
    )
    assert budget_needed(plan, found_of(plan), 5) is None


def test_more_comparisons_ask_for_more_plots():
    more = [*raw_plan()["methods"], {"name": "spray and auger"}, {"name": "scalp"}]
    assert size_of(small_plan(methods=more), Path())[0] > size_of(small_plan(), Path())[0]
    plan = small_plan(methods=more)
    assert arms_of(plan, found_of(plan)).alpha == pytest.approx(0.05 / 3)


def test_where_nothing_could_be_seen_that_is_said():
    plan = small_plan(question={"survival_per_100": 97, "smallest_difference": 2})
    assert seen_difference(plan, found_of(plan), 3, 5) is None


@pytest.mark.slow
def test_the_curve_holds_the_size_and_limits_of_the_simulation(rich):
    table = rich.table
    assert 20 in table["plots"].tolist()
    assert (table["lower"] <= table["simulated"]).all()
    assert (table["simulated"] <= table["upper"]).all()
    assert table["two_proportions"].is_monotonic_increasing
    # Wilson limits of 20 seasons, all of which show it: 83.9 to 100 (Wilson 1927).
    whole = table[table["simulated"] == 100].iloc[0]
    assert whole["lower"] == pytest.approx(83.887, abs=0.01)
    again = plan_season(rich.plan)
    pd.testing.assert_frame_equal(again.table, table)
    assert plan_json(again) == plan_json(rich)


@pytest.mark.slow
def test_progress_counts_every_season():
    told = []
    plan = small_plan(sizes={"plots_per_method": 4, "seedlings_per_plot": 5})
    season = survivor.plan(plan, studies=20, progress=lambda step, done, of: told.append((step, done, of)))
    assert told[-1][1] == told[-1][2] == 20 * len(season.table)
    assert [done for _, done, _ in told] == sorted(done for _, done, _ in told)


@pytest.mark.slow
def test_one_core_gives_what_two_give(rich, monkeypatch):
    from survivor import parallel

    if "fork" not in multiprocessing.get_all_start_methods():
        pytest.skip("this system makes no copies of a running program")
    for two in (True, False):
        monkeypatch.setattr(parallel, "_two_can", lambda two=two: two)
        pd.testing.assert_frame_equal(plan_season(rich.plan).table, rich.table)


@in_a_browser[0]
@in_a_browser[1]
def test_letters_of_the_chart_are_as_large_as_words_and_lie_on_no_others(browser, rich, tmp_path):
    assert words_to_read(browser, rich.write(tmp_path / "plan")[0]) > 20


def test_the_page_and_its_tables(rich, tmp_path):
    written = rich.write(tmp_path / "plan")
    names = {path.name for path in written}
    assert {"plan.html", "power.csv", "plan.json", "needed.csv", "calendar.csv", "timetable.csv"} <= names
    page = (tmp_path / "plan" / "plan.html").read_text(encoding="utf-8")
    ids = re.findall(r' id="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    for target in re.findall(r'href="#([^"]+)"', page):
        assert target in ids
    assert not re.search(r'(?:src|href)="https?:', page)
    assert "from the plan named" in page
    assert "the label is the law" in page.casefold()
    assert "common practice, no source" in page
    numbers = json.loads((tmp_path / "plan" / "plan.json").read_text(encoding="utf-8"))
    assert numbers["size"]["plots_per_method"] == 20
    assert numbers["answers"] is True
    assert numbers["budget_needed"] is None
    table = pd.read_csv(tmp_path / "plan" / "power.csv")
    assert table["plots"].tolist() == rich.table["plots"].tolist()
    assert rich.write(tmp_path / "plan")[0].read_text(encoding="utf-8") == page


def test_it_can_be_drawn_on_axes(rich):
    from matplotlib.figure import Figure

    ax = rich.plot(Figure().subplots())
    assert ax.get_ylabel() == "Seasons of 100 that show it"
    dots = next(line for line in ax.get_lines() if line.get_marker() == "o")
    assert dots.get_ydata().tolist() == rich.table["simulated"].tolist()


@pytest.mark.slow
def test_the_command_says_the_answer_on_one_stream_and_its_progress_on_the_other(tmp_path):
    raw = raw_plan(sizes={"plots_per_method": 4, "seedlings_per_plot": 5})
    file = write_toml(raw, tmp_path / "plan.toml")
    said = CliRunner().invoke(app, ["plan", str(file), "--studies", "20", "--out", str(tmp_path / "out")])
    assert said.exit_code == 0, said.output
    assert "Simulating 20 seasons" in said.stderr
    assert "Simulating" not in said.stdout
    assert "Wanted: to show 15 more alive per 100" in said.stdout
    assert "survivor layout" in said.stdout
    assert (tmp_path / "out" / "plan.html").is_file()


@pytest.mark.slow
def test_a_past_study_is_found_beside_the_plan_file(tmp_path, monkeypatch):
    from survivor.planning import variation

    asked = []

    def of_study(path):
        asked.append(path)
        return 0.5, 0.7, 0.2, "a past study"

    monkeypatch.setattr(variation, "of_study", of_study)
    raw = raw_plan(variation={"from_study": "last"}, sizes={"plots_per_method": 4, "seedlings_per_plot": 5})
    del raw["variation"]["plot_sd"]
    season = survivor.plan(write_toml(raw, tmp_path / "plan.toml"), studies=20)
    assert asked == [tmp_path / "last"]
    assert (season.needed["wider_plots"] > season.needed["two_proportions"]).all()
    said = "\n".join(summary(season))
    assert "a past study" in said
    assert "if plots differ as much as the upper limit allows" in said


def test_a_budget_is_spent_on_the_plots_that_are_laid_out():
    """A site that cannot take a method has fewer plots: what they would cost buys others."""
    costs = {"currency": "dollars", "budget": 6000, "per_plot": 60, "per_plot_visit": 5, "per_tag": 4.5}
    sites = [{"name": name, "planted": "2022-06-07"} for name in "ABCD"]
    sites[0]["cannot"] = ["rip line"]
    methods = [{"name": METHODS[0], "works": ["spot spray"]}, {"name": "mulch", "works": ["mulch mat"]}]
    methods.append({"name": METHODS[1], "works": ["rip line"]})
    plan = small_plan(costs=costs, sites=sites, methods=methods)
    table = splits(plan, found_of(plan), 5)
    for row in table.to_dict("records"):
        plots, seedlings = int(row["plots"]), int(row["seedlings"])
        laid = draw_layout(plan, plots, seedlings)
        assert row["cost"] == pytest.approx(len(laid.plots) * (85 + 4.5 * seedlings))
        assert row["cost"] <= 6000
        more = len(draw_layout(plan, plots + 1, seedlings).plots)
        assert more * (85 + 4.5 * seedlings) > 6000  # one block more is not to be had
