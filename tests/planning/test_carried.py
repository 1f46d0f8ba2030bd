"""A season laid out takes rain gauges and costs over from the season that its plan names."""

from __future__ import annotations

import pytest

import survivor
from survivor.planning.carried import carried_over
from survivor.planning.folder import OWN_FILES, write_folder
from survivor.planning.layout import draw_layout
from survivor.settings import read_settings
from tests.planning.making import METHODS, SITES, small_plan

PAST = """
[study]
name = "Winter 2021 (invented)"
purpose = "compare preparations"
[records]
kind = "tagged"
[[records.sheets]]
file = "visits.csv"
[dry_season]
start = "12-01"
end = "03-31"
[[gauges]]
name = "shed"
file = "{file}"
sites = ["tarn hollow", "Quill Creek", "Elsewhere"]
weekends = "in Monday's reading"
[gauges.columns]
date = "Day"
rain_mm = "Rain"
[[gauges]]
name = "far"
file = "far.csv"
sites = ["Elsewhere"]
[spacing]
row_m = 3.0
in_row_m = 2.0
[costs]
currency = "dollars"
year = 2021
source = "invented"
[[costs.lines]]
name = "plants and planting"
amount = 3.6
low = 3.0
high = 4.4
per = "plant"
[[methods]]
name = "spray only"
also = ["spot spray only"]
costs = [{{ name = "spray", amount = 0.5, per = "plant" }}]
[[methods]]
name = "spray and rip"
costs = [{{ name = "rip line", amount = 220.0, per = "km" }}]
"""


def laid(tmp_path, file="rain.csv", **changed):
    past = tmp_path / "past"
    past.mkdir()
    (past / "study.toml").write_text(PAST.format(file=file))
    (past / file).write_text("Day,Rain\n2021-12-01,4.5\n2021-12-02,0\n")
    plan = small_plan(variation={"plot_sd": None, "from_study": "past"}, **changed)
    folder = tmp_path / "season"
    write_folder(plan, draw_layout(plan, 4, 3), folder, carried_over(plan, tmp_path, OWN_FILES))
    return folder


@pytest.mark.parametrize("file", ["rain.csv", "plots.csv"])  # one of a name that the layout needs itself
def test_gauges_and_costs_are_those_of_the_past_season(tmp_path, file):
    folder = laid(tmp_path, file)
    settings = read_settings(folder)
    (gauge,) = settings.gauges
    assert gauge.sites == SITES[:2]  # as the plan spells them, and none that is not planted
    assert gauge.weekends == "in Monday's reading"
    assert gauge.columns == {"date": "Day", "rain_mm": "Rain"}
    assert gauge.file == ("rain.csv" if file == "rain.csv" else "rain-plots.csv")
    assert "far stood for none" in (folder / "study.toml").read_text()
    assert settings.costs is not None
    assert (settings.costs.currency, settings.costs.year) == ("dollars", 2021)
    assert [(line.name, line.amount, line.high) for line in settings.costs.lines] == [
        ("plants and planting", 3.6, 4.4)
    ]
    assert settings.spacing is not None
    assert settings.spacing.in_row_m == 2.0
    costs = {method.name: [(line.name, line.per) for line in method.costs] for method in settings.methods}
    assert costs == {METHODS[0]: [("spray", "plant")], METHODS[1]: [("rip line", "km")]}
    gauges = survivor.load(folder).gauges
    assert gauges.records["shed"].daily["rain_mm"].dropna().tolist() == [4.5, 0.0]


def test_without_a_past_season_the_study_file_says_so(tmp_path):
    plan = small_plan()
    write_folder(plan, draw_layout(plan, 4, 3), tmp_path / "s", carried_over(plan, tmp_path, OWN_FILES))
    assert read_settings(tmp_path / "s").gauges == ()
    assert "names no past season" in (tmp_path / "s" / "study.toml").read_text()


def test_a_file_outside_the_past_season_is_not_taken(tmp_path):
    (tmp_path / "secret.csv").write_text("Day,Rain\n2021-12-01,4.5\n")
    folder = laid(tmp_path, "../secret.csv")
    assert not list(folder.glob("*secret*"))
    assert "was not found beside the past season" in (folder / "study.toml").read_text()


def test_a_preparation_without_a_price_is_named(tmp_path):
    methods = [{"name": METHODS[0], "works": ["spot spray"]}, {"name": "mulch", "works": ["mulch mat"]}]
    folder = laid(tmp_path, methods=methods)
    assert "No cost is told for mulch" in (folder / "study.toml").read_text()
