"""Factorial and split-plot seasons: their preparations, lots, power, and the study folder that they make."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from survivor.errors import PlanError
from survivor.files.toml import validated
from survivor.planning.closed_form import power_of_shift, standard_error
from survivor.planning.factorial import effects_of, factorial_power
from survivor.planning.folder import folder_files
from survivor.planning.layout import draw_layout
from survivor.planning.planfile import Plan
from survivor.planning.run import plan as plan_season
from survivor.planning.simulated import quiet
from survivor.planning.variation import arms_of, spread_of
from survivor.settings import read_settings
from survivor.study import load
from tests.planning.making import PLANTED, SITES, fill, raw_plan

BASE = [{"name": "spray only", "works": ["knockdown"]}]
WORKS = ["pre-emergent", "rip"]


def plan_of(**factorial: object) -> Plan:
    raw = raw_plan(
        methods=BASE,
        question={"usual_practice": "spray only"},
        sites=[{"name": n, "planted": d, "blocks": 2} for n, d in zip(SITES, PLANTED, strict=True)],
    )
    raw["factorial"] = {"works": WORKS, **factorial}
    return validated(raw, Plan, "plan", PlanError)


def test_the_base_is_combined_with_every_set_of_works() -> None:
    plan = plan_of()
    assert [method.name for method in plan.methods] == [
        "spray only", "spray only, rip", "spray only, pre-emergent", "spray only, pre-emergent and rip",
    ]  # fmt: skip
    assert plan.methods[3].works == ("knockdown", "pre-emergent", "rip")


@pytest.mark.parametrize(
    ("factorial", "said"),
    [
        ({"whole_plots": ["mound"]}, "mound of whole_plots is none of the works"),
        ({"whole_plots": WORKS}, "none is left within whole plots"),
        ({"interactions": ["rip x mound"]}, '"rip x mound" is no pair of the works'),
    ],
)
def test_slips_are_refused_in_words(factorial: dict[str, object], said: str) -> None:
    with pytest.raises(PlanError, match=said):
        plan_of(**factorial)


def test_a_factorial_needs_its_blocks() -> None:
    raw = raw_plan(methods=BASE, question={"usual_practice": "spray only"})
    raw["factorial"] = {"works": WORKS}
    with pytest.raises(PlanError, match="say how many blocks there are to be"):
        validated(raw, Plan, "plan", PlanError)


def test_whole_plots_are_drawn_first_and_stand_together() -> None:
    drawn = draw_layout(plan_of(whole_plots=["rip"]), 8, 20)
    works = {method.name: set(method.works) for method in plan_of().methods}
    for _, block in drawn.plots.groupby(["site", "block"]):
        assert block["method"].nunique() == 4
        ripped = block["method"].map(lambda name: "rip" in works[name])
        assert block.groupby("whole_plot")["method"].size().tolist() == [2, 2]
        # A tractor rips all of a whole plot or none of it, and plots of one lie side by side.
        assert (ripped.groupby(block["whole_plot"]).nunique() == 1).all()
        assert block["whole_plot"].tolist() == sorted(block["whole_plot"])
    first = drawn.plots.groupby(["site", "block"]).first()["method"].map(lambda name: "rip" in works[name])
    assert 0 < first.sum() < len(first)
    assert "whole_plot" not in draw_layout(plan_of(), 8, 20).plots.columns


@pytest.mark.slow
def test_the_study_folder_asks_about_works_by_whole_plots(tmp_path) -> None:
    plan = plan_of(whole_plots=["rip"], interactions=["pre-emergent x rip"])
    for name, content in folder_files(plan, draw_layout(plan, 8, 20)).items():
        (tmp_path / name).write_bytes(content)
    settings = read_settings(tmp_path)
    assert settings.works is not None
    assert settings.works.whole_plots == "whole_plot"
    assert settings.works.interactions == ("pre-emergent x rip",)
    assert "Whole plot" in (tmp_path / "plots.csv").read_text(encoding="utf-8").splitlines()[0]


def test_the_diary_of_a_layout_is_filled_and_read(tmp_path) -> None:
    """Days written in, the row of a work not done taken out, the signs taken away: all of it is read."""
    plan = plan_of(whole_plots=["rip"])
    drawn = draw_layout(plan, 8, 3)
    for name, content in folder_files(plan, drawn).items():
        (tmp_path / name).write_bytes(content)
    blank = pd.read_csv(tmp_path / "diary.csv", dtype=str)
    assert len(blank) == 32 + 16 + 16
    assert blank["Date"].isna().all()
    filled = blank.assign(Date="2022-04-04", Soil=np.where(blank["Work"] == "rip", "dry", ""))
    ripped = filled.index[filled["Work"] == "rip"]
    filled.drop(index=ripped[0]).to_csv(tmp_path / "diary.csv", index=False)
    text = (tmp_path / "study.toml").read_text(encoding="utf-8")
    head, _, diary = text.partition("# [works.diary]")
    lines = [line.removeprefix("# ") for line in f"# [works.diary]{diary}".splitlines()]
    (tmp_path / "study.toml").write_text("\n".join([*head.splitlines(), *lines]) + "\n", encoding="utf-8")
    dead = drawn.tags.assign(death_day=900.0)
    fill(plan, drawn, tmp_path, dead, count=1)
    records = load(tmp_path).records
    rows = records.works.rows
    assert rows.groupby("work").size().to_dict() == {"knockdown": 32, "pre-emergent": 16, "rip": 15}
    assert set(rows["told_by"]) == {"diary"}
    assert (rows.loc[rows["work"] == "rip", "soil"] == "dry").all()
    departed = records.works.departures
    assert departed.loc[departed["what"] != "done", ["work", "what"]].values.tolist() == [["rip", "not done"]]
    assert records.intervals["whole_plot"].nunique() == 2


def test_power_by_formula_is_that_of_half_of_all_plots() -> None:
    """A main effect sets half of all plots against the other half; a pair has twice its standard error."""
    plan = plan_of(interactions=["pre-emergent x rip"])
    arms = arms_of(plan, spread_of(plan, None))
    spray, rip, pair = effects_of(plan.factorial, arms, 8, 20)
    assert spray.error == rip.error == standard_error(arms, 16, 20)
    assert pair.error == 2 * spray.error
    assert (spray.df, pair.df) == (32 - 8 - 2 - 1, 32 - 8 - 2 - 1)
    shift = 2.8
    by_scipy = (
        1
        - stats.nct.cdf(stats.t.ppf(0.975, 21), 21, shift)
        + stats.nct.cdf(stats.t.ppf(0.025, 21), 21, shift)
    )
    assert power_of_shift(shift, 21, 0.05) == pytest.approx(by_scipy, abs=1e-4)


def test_a_work_of_whole_plots_rests_on_them() -> None:
    plan = plan_of(whole_plots=["rip"], whole_plot_sd=0.3)
    arms = arms_of(plan, spread_of(plan, None))
    spray, rip = effects_of(plan.factorial, arms, 8, 20)
    assert rip.df == 16 - 8 - 1
    assert rip.error > spray.error
    assert spray.df == 32 - 16 - 1


@pytest.mark.slow
def test_simulated_power_is_near_the_formula_and_beats_one_work_at_a_time() -> None:
    plan = plan_of()
    table = factorial_power(plan, spread_of(plan, None), 8, 20, 150, quiet)
    assert table["what"].tolist() == WORKS
    for row in table.itertuples():
        assert row.formula == pytest.approx(row.simulated, abs=15)
        assert row.formula > row.one_at_a_time
    assert np.isfinite(table[["lower", "upper"]]).all().all()


@pytest.mark.slow
def test_a_planned_season_tells_of_its_works(tmp_path) -> None:
    season = plan_season(plan_of(whole_plots=["rip"], whole_plot_sd=0.2), studies=20)
    assert isinstance(season.factorial, pd.DataFrame)
    said = repr(season)
    assert "Every plot tells of every work" in said
    assert "rip goes to whole plots" in said
    written = {path.name for path in season.write(tmp_path)}
    assert "factorial.csv" in written
    assert "What the combinations show" in (tmp_path / "plan.html").read_text(encoding="utf-8")
    assert json.loads((tmp_path / "plan.json").read_text(encoding="utf-8"))


@pytest.mark.slow
def test_plans_without_works_are_as_they_were(tmp_path) -> None:
    season = plan_season(validated(raw_plan(), Plan, "plan", PlanError), studies=20)
    assert season.factorial.empty
    assert "factorial.csv" not in {path.name for path in season.write(tmp_path)}
