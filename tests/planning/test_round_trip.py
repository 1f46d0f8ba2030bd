"""Plan, layout, field sheets, filled, checked, reported: one season from end to end, its truth known."""

import pandas as pd
import pytest
from typer.testing import CliRunner

import survivor
from survivor.cli import app
from survivor.planning.layout import draw_layout
from survivor.planning.planfile import read_plan
from survivor.simulate.cohort import true_effects
from tests.planning.making import METHODS, cohort_like, deaths, fill, raw_plan, small_plan, write_toml

PLOTS, SEEDLINGS = 8, 20


def run(*arguments):
    return CliRunner().invoke(app, [str(part) for part in arguments])


@pytest.mark.slow
def test_a_season_from_plan_to_report(tmp_path):
    file = write_toml(raw_plan(), tmp_path / "plan.toml")
    folder = tmp_path / "season"
    said = run("layout", file, "--out", folder, "--plots", PLOTS, "--seedlings", SEEDLINGS)
    assert said.exit_code == 0, said.output
    plan = read_plan(file)
    layout = draw_layout(plan, PLOTS, SEEDLINGS)  # the same lot again: the plan's seed decides

    cohort = cohort_like(plan, layout, plot_sd=0.3, site_sd=0.0)
    dead_on = deaths(plan, layout, cohort, seed=11)
    fill(plan, layout, folder, dead_on, count=2)
    said = run("sheets", folder)
    assert said.exit_code == 0, said.output
    assert said.output.count("Left as it is") == 2
    fill(plan, layout, folder, dead_on)

    checked = run("check", folder)
    assert checked.exit_code == 0, checked.output
    study = survivor.load(folder)
    assert (study.problems["severity"] != "stop").all()
    assert (study.accounts["fate"] == "used").sum() >= len(layout.tags) * 2

    # What went in comes out: no seedling gained, lost or mixed up on the way.
    alive = study.records.visits.query("visit == '12 months'")
    counted = alive[alive["state"] == "alive"].groupby("method").size()
    truth = dead_on[dead_on["death_day"] > 365].groupby("method").size()
    pd.testing.assert_series_equal(counted, truth, check_names=False)

    assert study.report(tmp_path / "report")[0].is_file()
    found = study.analysis.comparing.against.table.iloc[0]
    assert (found["method"], found["against"]) == (METHODS[1], METHODS[0])
    assert found["n_plots"] == 2 * PLOTS
    expected = true_effects(cohort).at(365).loc[METHODS[1], "difference"]
    assert found["lower"] < expected < found["upper"]
    page = (tmp_path / "report" / "report.html").read_text(encoding="utf-8")
    assert plan.plan.name in page
    assert "randomised block trial" in page


def test_a_layout_is_never_written_over_a_study(tmp_path):
    file = write_toml(raw_plan(), tmp_path / "plan.toml")
    assert run("layout", file, "--out", tmp_path / "s", "--plots", 4, "--seedlings", 5).exit_code == 0
    again = run("layout", file, "--out", tmp_path / "s", "--plots", 4, "--seedlings", 5)
    assert again.exit_code != 0
    assert isinstance(again.exception, survivor.SurvivorError)


@pytest.mark.slow
def test_the_next_sheet_tells_the_last_known_state(tmp_path):
    from survivor.planning.calendar import visit_calendar
    from survivor.planning.folder import visit_files, write_folder
    from survivor.planning.next_sheets import renew_sheets
    from tests.files.grids import read_grid

    plan = small_plan()
    layout = draw_layout(plan, 4, 10)
    write_folder(plan, layout, tmp_path)
    cohort = cohort_like(plan, layout, hazards=(0.004,), dry_season=None, cuts=())
    dead_on = deaths(plan, layout, cohort, seed=3)
    filled = fill(plan, layout, tmp_path, dead_on, count=4)
    found = renew_sheets(tmp_path)
    assert [path.name for path in found.kept] == filled

    visits = visit_files(visit_calendar(plan))
    grid = read_grid(tmp_path / visits[4].file, sheet="Visit")
    sheet = pd.DataFrame({name: grid.cells[place] for place, name in enumerate(grid.header)})
    days = visit_calendar(plan).set_index(["site", "visit"])["day"]
    third, fourth = (dead_on["site"].map(lambda site, v=visits[n].name: float(days[site, v])) for n in (2, 3))
    gone_twice = dead_on["death_day"] <= third
    assert found.left_off == gone_twice.sum() > 0
    assert len(sheet) == (~gone_twice).sum()
    told = sheet.merge(dead_on.rename(columns={"tag": "Tag"}), on="Tag")
    assert len(told) == len(sheet)
    expected = (told["death_day"] > told["site"].map(lambda s: float(days[s, visits[3].name]))).map(
        {True: "alive", False: "dead"}
    )
    assert told["Last state"].tolist() == expected.tolist()
    assert (fourth > third).all()


@pytest.mark.parametrize("seed", [1, pytest.param(2, marks=pytest.mark.slow)])
def test_the_same_plan_writes_the_same_bytes(seed):
    from survivor.planning.folder import folder_files

    plan = small_plan(plan={"seed": seed})
    first, second = (folder_files(plan, draw_layout(plan, 4, 5)) for _ in range(2))
    assert first == second
    other = small_plan(plan={"seed": seed + 10})
    assert folder_files(other, draw_layout(other, 4, 5))["plots.csv"] != first["plots.csv"]


def test_the_folder_carries_the_cautions_of_its_works():
    from survivor.planning.folder import folder_files

    plan = small_plan()
    words = folder_files(plan, draw_layout(plan, 4, 5))["DATA-DICTIONARY.md"].decode()
    for caution in ("the label is the law", "services before the ground is broken", "tractors roll over"):
        assert caution in words
    assert "licensed practice" in words
