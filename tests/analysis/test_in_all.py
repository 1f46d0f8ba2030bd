"""Plants alive in the whole planting, stocking, heights, the patch and planting years: hand-made seasons."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from survivor.analysis.heights import alive_above_height
from survivor.analysis.models import first_plants
from survivor.analysis.patch import patch_by_visit
from survivor.analysis.planting_years import survival_by_year, years_note
from survivor.analysis.totals import in_all
from survivor.effects.standardise import survival
from survivor.models.fit import fit
from survivor.report.arrangement import ANNEX
from survivor.sentences import plain_text
from survivor.settings import DrySeason, Heights, Planted, Spacing
from survivor.study import load
from survivor.vocabulary import Basis
from tests.analysis.seasons import write
from tests.once import analysed

MORE = """
[[planted]]
site = "site 0"
plants = 900

[[planted]]
site = "site 1"
plants = 100
"""


def visits(site: int, plot: int) -> tuple[int, ...]:
    return (60, 200, 365)


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write(tmp_path_factory.mktemp("season"), visits, more=MORE, sites=2)


@pytest.mark.slow
def test_the_total_is_survival_times_the_plants_put_in(season: Path) -> None:
    analysis = analysed(season)
    total = next(f for f in analysis.findings if f.key == "total")
    alive = next(f for f in analysis.findings if f.key == "alive")
    for name in ("estimate", "lower", "upper"):
        assert getattr(total, name) == pytest.approx(10 * getattr(alive, name))
    assert total.unit == "plants"
    assert total.grade == alive.grade
    assert "of the 1,000 plants in the whole planting" in total.answer
    assert "Infill is not counted" in total.answer
    # Survival is averaged by the 900 and 100 plants put in, not by the plots (20 seedlings a method each).
    rows = first_plants(analysis.records.intervals)
    people = pd.DataFrame({"site": ["site 0", "site 1"], "species": "", "plants": [900, 100]})
    expected = survival(fit(rows, "method", strata=["site"]), None, 365, people).table["estimate"].iloc[0]
    assert alive.estimate == pytest.approx(expected)


def test_stocking_goes_by_the_spacing_or_by_the_hectares(season: Path) -> None:
    analysis = analysed(season)
    whole = survival(analysis.models.by_name["grouped"], None, 365)
    share = float(whole.table["estimate"].iloc[0]) / 100
    spaced = analysis.settings.model_copy(update={"spacing": Spacing(row_m=3.0, in_row_m=2.0)})
    # 10,000 / (row x in-row spacing in m) stems per hectare (common practice): 1,667 at 3 m by 2 m.
    rows = in_all(whole, spaced, basis=Basis.PLANTED).set_index("measure")
    assert rows.loc["stocking", "put_in"] == pytest.approx(10_000 / 6)
    assert rows.loc["stocking", "estimate"] == pytest.approx(10_000 / 6 * share)
    measured = (
        Planted(site="site 0", plants=900, hectares=0.5),
        Planted(site="site 1", plants=100, hectares=0.3),
    )
    told = spaced.model_copy(update={"planted": measured})
    rows = in_all(whole, told, basis=Basis.PLANTED).set_index("measure")
    assert rows.loc["stocking", "estimate"] == pytest.approx(1000 / 0.8 * share)
    assert "1,000 plants put in on 0.8 ha" in rows.loc["stocking", "note"]


def test_what_is_not_told_is_not_made_up(season: Path) -> None:
    analysis = analysed(season)
    whole = survival(analysis.models.by_name["grouped"], None, 365)
    bare = analysis.settings.model_copy(update={"planted": ()})
    assert in_all(whole, bare, basis=Basis.PLANTED).empty
    # Of seedlings found at the first visit more live than of those planted.
    assert in_all(whole, analysis.settings, basis=Basis.FOUND).empty
    # One site without hectares: the area is not known.
    half = analysis.settings.model_copy(
        update={"planted": (Planted(site="a", plants=1, hectares=1.0), Planted(site="b", plants=1))}
    )
    assert list(in_all(whole, half, basis=Basis.PLANTED)["measure"]) == ["plants alive in the whole planting"]


def test_hectares_are_given_once_a_site(tmp_path: Path) -> None:
    twice = '[[planted]]\nsite = "site 0"\nplants = 9\nhectares = 1.0\n'
    folder = write(tmp_path / "s", visits, more=twice + twice.replace("plants", "species = 'oak'\nplants"))
    with pytest.raises(Exception, match="give hectares once a site"):
        load(folder)


# ---- heights ---------------------------------------------------------------------------------------


def _plants(heights: dict[str, list[float | None]]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Plots of one method: a height for each seedling alive at day 365, NaN not measured, None dead."""
    visits, intervals = [], []
    for plot, values in heights.items():
        for number, value in enumerate(values):
            keys = {"site": "s", "block": "", "plot": plot, "tag": str(number), "method": "m"}
            dead = value is None
            intervals.append({**keys, "start_day": 0.0, "stop_day": 365.0, "at_risk": 1, "died": int(dead)})
            state = "dead" if dead else "alive"
            row = {**keys, "cohort": "planting", "state": state, "day": 365}
            visits.append({**row, "height_cm": np.nan if value is None else value})
    return pd.DataFrame(visits), pd.DataFrame(intervals)


@pytest.fixture
def asking(season: Path):
    return load(season).settings.model_copy(update={"heights": Heights(at_least_cm=60)})


def test_alive_and_tall_by_hand(asking) -> None:
    nan = float("nan")
    plots = {
        "a": [70.0, 80.0, 50.0, None, None],
        "b": [60.0, 90.0, 40.0, nan, None],
        "c": [59.0, 61.0, None, None, None],
    }
    visits, intervals = _plants(plots)
    (row,) = alive_above_height(visits, intervals, asking).to_dict("records")
    counts = [row[name] for name in ("known", "alive", "measured", "tall", "n_plots")]
    assert counts == [15, 9, 8, 5, 3]
    share = 9 / 15 * 5 / 8
    assert row["estimate"] == pytest.approx(100 * share)
    assert row["note"] == "1 of the living was not measured"
    # Leaving out a, b, c in turn; log(-log), t on 2 degrees of freedom.
    without = np.array([6 / 10 * 3 / 5, 5 / 10 * 3 / 5, 7 / 10 * 4 / 6])
    half = stats.t.ppf(0.975, 2) * np.sqrt(
        2 / 3 * ((np.log(-np.log(without)) - np.log(-np.log(share))) ** 2).sum()
    )
    middle = np.log(-np.log(share))
    assert row["lower"] == pytest.approx(100 * np.exp(-np.exp(middle + half)))
    assert row["upper"] == pytest.approx(100 * np.exp(-np.exp(middle - half)))


def test_none_and_all_have_limits_too_and_one_plot_none(asking) -> None:
    none = alive_above_height(
        *_plants({"a": [10.0, None], "b": [20.0, 30.0], "c": [None, 9.0]}), asking
    ).iloc[0]
    assert none["estimate"] == 0
    assert none["lower"] == pytest.approx(0, abs=1e-9)
    assert 0 < none["upper"] <= 100
    every = alive_above_height(*_plants({"a": [90.0, 90.0], "b": [90.0, 90.0]}), asking).iloc[0]
    assert every["estimate"] == 100
    assert every["lower"] < 100
    alone = alive_above_height(*_plants({"a": [90.0, None]}), asking).iloc[0]
    assert np.isnan(alone["lower"])
    assert "one plot gives no limits" in alone["note"]


def test_the_dead_count_and_a_milestone_not_reached_has_no_number(asking) -> None:
    dead = alive_above_height(*_plants({"a": [None, None], "b": [None, None]}), asking).iloc[0]
    assert dead["estimate"] == 0
    visits, intervals = _plants({"a": [70.0, 80.0], "b": [70.0, None]})
    early = intervals.assign(stop_day=100.0)
    assert alive_above_height(visits.assign(day=100), early, asking).empty


# ---- the patch -------------------------------------------------------------------------------------


def test_cover_is_the_mean_of_plots_not_of_seedlings() -> None:
    rows = [("a", 10.0)] * 9 + [("b", 50.0)] + [("c", 30.0)] * 2
    visits = pd.DataFrame(rows, columns=["plot", "weed_cover"]).assign(
        site="s", block="", method="m", visit="1", day=40, cohort="planting"
    )
    (row,) = patch_by_visit(visits).to_dict("records")
    assert (row["mean"], row["n_plots"], row["n_records"], row["unit"]) == (30.0, 3, 12, "%")
    assert (row["low_quarter"], row["high_quarter"]) == (20.0, 40.0)


def test_infill_and_blanks_say_nothing_of_the_patch() -> None:
    visits = pd.DataFrame(
        {
            "plot": ["a", "a", "b"],
            "weed_cover": [20.0, np.nan, 90.0],
            "cohort": ["planting", "planting", "infill"],
        }
    ).assign(site="s", block="", method="m", visit="1", day=40)
    (row,) = patch_by_visit(visits).to_dict("records")
    assert (row["mean"], row["n_plots"], row["n_records"]) == (20.0, 1, 1)
    assert np.isnan(row["low_quarter"])
    assert patch_by_visit(visits.drop(columns="weed_cover")).empty


# ---- planting years --------------------------------------------------------------------------------


def _two_years(season: Path, *, mixed: bool):
    study = load(season)
    rows = first_plants(study.intervals)
    later = rows["plot"].astype(str).str.endswith("1") if mixed else rows["site"].astype(str) == "site 1"
    moved = rows["planted_date"].where(~later, rows["planted_date"] + pd.DateOffset(years=1))
    return rows.assign(planted_date=moved), study.settings.model_copy(
        update={"dry_season": DrySeason(start="12-01", end="03-31")}
    )


def test_years_stand_beside_each_other(season: Path) -> None:
    rows, settings = _two_years(season, mixed=False)
    table = survival_by_year(rows, settings, 365.0, 30.0)
    whole = table[table["method"] == "all preparations"].set_index("planting_year")
    assert list(whole.index) == ["2021", "2022"]
    assert list(whole["watched"]) == [40, 40]
    usual = table[table["method"] == "usual"].set_index("planting_year")
    # Of ten in each plot 1 died early and 3 or 4 at the last: 11 of 20 live.
    assert usual.loc["2021", "estimate"] == pytest.approx(55.0)
    assert (usual["n_plots"] == 2).all()
    assert (usual["n_sites"] == 1).all()


def test_it_is_said_whether_years_are_compared_apart(season: Path) -> None:
    apart, settings = _two_years(season, mixed=False)
    assert "Every site was planted in one year" in plain_text(years_note(apart, settings))
    mixed, settings = _two_years(season, mixed=True)
    assert "are not compared apart" in plain_text(years_note(mixed, settings))
    assert years_note(first_plants(load(season).intervals), settings) == ()


def test_one_season_has_no_section_of_years(season: Path) -> None:
    analysis = analysed(season)
    assert analysis.planting_years.empty
    assert "planting-years" not in {section.key for section in ANNEX.of(analysis).sections}
