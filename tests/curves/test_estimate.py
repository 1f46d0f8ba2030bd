"""What a curve gives back, and what it refuses."""

from __future__ import annotations

import dataclasses
import time

import numpy as np
import pandas as pd
import pytest

from survivor.curves import curve
from survivor.errors import CurveError, IntervalsError
from tests.curves.making import plots, two_methods


@pytest.fixture
def by_method() -> pd.DataFrame:
    return two_methods()


def test_table_has_a_row_a_group_and_day(by_method):
    table = curve(by_method, by="method").table
    assert list(table.columns) == [
        "method", "day", "survival", "std_error", "lower", "upper", "at_risk", "died",
    ]  # fmt: skip
    assert table["method"].astype(str).unique().tolist() == ["ripped", "hand-dug"]  # order of the categories
    first = table[table["day"] == 0]
    assert (
        first[["survival", "lower", "upper", "at_risk", "died"]].to_numpy().tolist()
        == [[1, 1, 1, 150, 0]] * 2
    )
    assert table["died"].sum() == by_method["died"].sum()
    later = table[table["day"] > 0]
    assert ((later["lower"] < later["survival"]) & (later["survival"] < later["upper"])).all()


def test_without_a_column_there_is_one_curve(by_method):
    curves = curve(by_method)
    assert curves.table.columns[0] == "group"
    assert curves.groups == ("all",)
    assert curves.at(365) == curves["all"](365) == curves.table["survival"].iloc[-1]


def test_read_gives_every_group_with_limits_and_reasons(by_method):
    short = by_method[(by_method["method"] == "ripped") | (by_method["stop_day"] <= 120)]
    found = curve(short, by="method").read(300)
    assert list(found.columns) == ["method", "day", "survival", "lower", "upper", "at_risk", "note"]
    assert found["note"].tolist() == ["", "the last visit was on day 120; nothing is known of day 300"]
    assert found["survival"].notna().tolist() == [True, False]


def test_steps_refuse_to_extrapolate(by_method):
    curves = curve(by_method, by="method")
    assert curves.at(364.9, "ripped") == curves.at(240, "ripped")
    for day in (365.5, -1, float("nan"), float("inf")):
        with pytest.raises(CurveError):
            curves.at(day, "ripped")
    with pytest.raises(CurveError, match="the last visit was on day 365; nothing is known of day 400"):
        curves["ripped"](400)
    with pytest.raises(CurveError, match="no curve of 'mulched'"):
        curves.at(300, "mulched")
    with pytest.raises(CurveError, match="there are 2 curves"):
        curves.at(300)


def test_a_watch_that_begins_late_says_so(by_method):
    late = by_method[by_method["start_day"] >= 30]
    curves = curve(late)
    assert "the watch begins on day 30; survival is of those alive then, not of those planted" in curves.notes
    with pytest.raises(CurveError, match="the watch begins on day 30; day 10 is before it"):
        curves.at(10)


def test_what_holds_for_several_groups_is_said_once(by_method):
    late = by_method[by_method["start_day"] >= 30]
    said = (
        "ripped; hand-dug: the watch begins on day 30; survival is of those alive then, not of those planted"
    )
    assert curve(late, by="method").notes == (said,)


def test_a_stretch_in_which_nobody_was_watched_is_named():
    frame = pd.DataFrame({"start_day": [0, 60], "stop_day": [30, 90], "at_risk": [10, 9], "died": [1, 1]})
    assert "nobody was watched between days 30 and 60; the curve is flat" in curve(frame, cluster=None).notes


def test_plants_without_a_label_are_kept_and_named(by_method):
    frame = by_method.assign(
        method=by_method["method"].astype(object).where(by_method["site"] != "site 0", None)
    )
    table = curve(frame, by="method").table
    assert "not recorded" in table["method"].tolist()
    assert table["died"].sum() == by_method["died"].sum()


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"by": "colour"}, "no column 'colour' to draw curves by"),
        ({"estimator": "cox"}, "estimator = 'cox' is not known"),
        ({"limits": "log"}, "limits by plot are on the log-log scale"),
        ({"cluster": None, "limits": "exact"}, "limits = 'exact' is not known"),
        ({"bands": [90]}, "only a life table has bands"),
        ({"estimator": "life-table", "bands": [90, 30]}, "do not rise"),
        ({"strata": "region"}, "no column region to use as strata"),
        ({"cluster": "site", "strata": "method"}, "a plot lies in two strata"),
        ({"align": -1}, "makes no round"),
        ({"align": 100}, "fall in the same round"),
    ],
)
def test_options_that_do_not_go_are_refused_in_words(by_method, options, words):
    with pytest.raises(CurveError, match=words) as refusal:
        curve(by_method, **options)
    assert refusal.value.mend


@pytest.mark.parametrize(
    "frame",
    [
        pd.DataFrame({"start_day": [0], "stop_day": [30]}),
        pd.DataFrame({"start_day": [0], "stop_day": [30], "at_risk": [3], "died": [4], "plot": ["a"]}),
        pd.DataFrame(
            {"start_day": [0], "stop_day": [30], "at_risk": [3], "died": [1]}
        ),  # no plot to cluster on
        pd.DataFrame({"start_day": [], "stop_day": [], "at_risk": [], "died": []}),
    ],
)
def test_tables_that_are_no_risk_intervals_are_refused(frame):
    with pytest.raises(IntervalsError):
        curve(frame)


def test_a_life_table_refuses_more_deaths_than_exposed():
    frame = pd.DataFrame({"start_day": [0, 1], "stop_day": [50, 60], "at_risk": [5, 20], "died": [5, 18]})
    with pytest.raises(CurveError, match="23 died in the band to day 60 and only 15 count as exposed"):
        curve(frame, estimator="life-table", cluster=None)
    assert curve(frame, estimator="life-table", cluster=None, bands=[1]).at(60) > 0


def test_restricted_mean_needs_a_curve_and_a_watched_day(by_method):
    with pytest.raises(CurveError, match="area is not determined"):
        curve(by_method, estimator="turnbull").restricted_mean(300)
    with pytest.raises(CurveError, match="the last visit"):
        curve(by_method).restricted_mean(400)


def test_input_is_left_alone_and_results_are_frozen(by_method):
    before = by_method.copy()
    curves = curve(by_method, by="method", align=5)
    pd.testing.assert_frame_equal(by_method, before)
    with pytest.raises(dataclasses.FrozenInstanceError):
        curves.by = "site"


def test_shows_itself_and_escapes_what_people_typed(by_method):
    frame = by_method.assign(method=by_method["method"].astype(str).replace("ripped", "<b>ripped</b>"))
    html = curve(frame, by="method", align=5)._repr_html_()
    assert "<b>" not in html
    assert "leaving out one plot at a time" in html


def test_plots_on_the_axes_given(by_method):
    from matplotlib.figure import Figure

    ax = Figure().add_subplot()
    assert curve(by_method, by="method").plot(ax) is ax


def test_six_methods_on_96_plots_are_quick():
    frame = plots(np.random.default_rng(3), number=96, plot_sd=0.5, sites=8)
    frame = frame.assign(method=frame["plot"].str[1:].astype(int) % 6)
    curve(frame, by="method")
    begun = time.process_time()
    curve(frame, by="method", strata="site")
    assert time.process_time() - begun < 1.5  # about 0.02 s alone; the machine may be busy
