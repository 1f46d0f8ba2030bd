"""Survival of planted, plainly counted: never more known than planted, and plots without a number named."""

from __future__ import annotations

import pandas as pd

from survivor.analysis.described import three_measures


def rows(*plots: tuple[str, float, int, int]) -> pd.DataFrame:
    """A plot a row: its label, when its watch begins, seedlings then, and deaths by day 365."""
    made = [
        ("Oddle Flat", "", plot, "", "usual", start, 365.0, number, died)
        for plot, start, number, died in plots
    ]
    names = ["site", "block", "plot", "tag", "method", "start_day", "stop_day", "at_risk", "died"]
    return pd.DataFrame(made, columns=names)


def planted(**numbers: float) -> pd.DataFrame:
    return pd.DataFrame(
        {"site": "Oddle Flat", "block": "", "plot": list(numbers), "planted": list(numbers.values())}
    )


def told(plots: pd.DataFrame, intervals: pd.DataFrame) -> dict[str, object]:
    return three_measures(pd.DataFrame(), plots, intervals, 365.0, 30.0).iloc[0].to_dict()


def test_a_plot_without_a_number_planted_is_named_and_left_out():
    """30 and 30 planted; the third plot, of unknown number, has 40 at its first visit."""
    intervals = rows(("1", 0, 30, 10), ("2", 0, 30, 5), ("3", 90, 40, 12))
    found = told(planted(**{"1": 30, "2": 30, "3": float("nan")}), intervals)
    assert (found["alive"], found["of"]) == (45, 60)
    assert "1 plot has no number planted and is not in it: 3 at Oddle Flat" in str(found["note"])
    assert "-" not in str(found["note"])


def test_plants_with_no_known_fate_are_counted_and_worded_in_the_right_number():
    intervals = rows(("1", 0, 29, 10), ("2", 0, 30, 5))
    found = told(planted(**{"1": 30, "2": 30}), intervals)
    assert (found["alive"], found["of"]) == (44, 60)
    assert "1 of them was neither seen alive nor known dead by then, and counts" in str(found["note"])


def test_where_no_plot_tells_the_plants_watched_from_planting_stand_for_them():
    """A plot that enters the watch at its first visit has no known start: its 25 would be too many."""
    intervals = rows(("1", 0, 30, 10), ("2", 90, 40, 15))
    found = told(planted(**{"1": float("nan"), "2": float("nan")}), intervals)
    assert (found["alive"], found["of"]) == (20, 30)


def test_more_seen_than_planted_is_said_and_never_a_negative_number():
    found = told(planted(**{"1": 30}), rows(("1", 0, 32, 2)))
    assert "2 plants more were seen than the plots say were planted" in str(found["note"])
