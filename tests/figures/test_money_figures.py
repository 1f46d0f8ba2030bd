"""Figures of costs: what is drawn, what is named, and that nothing is told by colour alone."""

from __future__ import annotations

import matplotlib.pyplot as plt
import pandas as pd
import pytest
from matplotlib.text import Text

from survivor.figures.payoff import (
    break_even_figure,
    draw_break_even,
    draw_order,
    draw_stems,
    draw_value,
    value_figure,
)
from survivor.figures.plane import draw_plane

NAN = float("nan")
PLANE = pd.DataFrame(
    {
        "method": ["spot $x$", "rip"],
        "against": "usual",
        "extra_alive": [20.0, NAN],
        "lower": [10.0, NAN],
        "upper": [30.0, NAN],
        "extra_cost": [110.0, -40.0],
        "extra_cost_lower": [60.0, -80.0],
        "extra_cost_upper": [160.0, 10.0],
        "currency": "dollars",
    }
)
VALUE = pd.DataFrame(
    {
        "worth": [0.0, 5.0, 10.0] * 2,
        "method": ["usual"] * 3 + ["spot"] * 3,
        "probability": [1.0, 0.6, 0.1, 0.0, 0.4, 0.9],
        "best": [True, True, False, False, False, True],
        "currency": "dollars",
    }
)
BREAK_EVEN = pd.DataFrame(
    {
        "method": ["spot", "rip"],
        "break_even": [4.0, NAN],
        "lower": [3.4, NAN],
        "upper": [4.7, NAN],
        "cost_per_plant": [5.0, 3.9],
        "currency": "dollars",
    }
)
STEMS = pd.DataFrame(
    {
        "method": ["spot", "usual"],
        "plants_needed": [1250.0, 1667.0],
        "lower": [1200.0, 1500.0],
        "upper": [1300.0, NAN],
    }
)
ORDER = pd.DataFrame({"site": ["Oddle Flat"], "to_order": [26.0], "lower": [20.0], "upper": [33.0]})


def said(figure) -> str:
    return " ".join(text.get_text() for text in figure.findobj(Text))


def test_the_plane_names_each_method_and_the_usual_practice():
    figure = draw_plane(PLANE).figure
    text = said(figure)
    assert "spot $x$" in text
    assert "usual (compared with)" in text
    assert "Extra cost per 100 planted (dollars)" in text
    axes = figure.axes[0]
    assert axes.get_xlim()[0] < 0 < 30 < axes.get_xlim()[1]
    assert axes.get_ylim()[0] < -80 < 160 < axes.get_ylim()[1]
    figure.draw_without_rendering()


@pytest.mark.parametrize("size", ["wide", "narrow"])
def test_best_value_is_thick_only_where_a_method_leads(size):
    figure = value_figure(VALUE, usual="usual", size=size)
    thick = [line for line in figure.axes[0].lines if line.get_linewidth() == 3.0]
    assert [list(pd.notna(line.get_ydata())) for line in thick] == [[True, True, False], [False, False, True]]
    thin = [line for line in figure.axes[0].lines if line.get_linewidth() != 3.0]
    assert (
        len(
            {
                line.get_linestyle() if line.get_linestyle() == "-" else str(line._dash_pattern)
                for line in thin
            }
        )
        == 2
    )
    assert "Chance of the best value, in 100" in said(figure)
    figure.draw_without_rendering()


@pytest.mark.parametrize("size", ["wide", "narrow"])
def test_break_even_stands_beside_what_is_paid(size):
    figure = break_even_figure(BREAK_EVEN, size=size)
    text = said(figure)
    assert "$4.00 (3.40 to 4.70); $5.00" in text
    assert "not told; $3.90" in text
    crosses = [line for line in figure.axes[0].lines if line.get_marker() == "x"]
    assert list(crosses[0].get_xdata()) == [5.0, 3.9]


def test_stems_without_an_upper_end_are_drawn():
    assert "1,250 (1,200 to 1,300)" in said(draw_stems(STEMS).figure)


def test_plants_to_put_in_are_rounded_up_as_in_the_table():
    part = STEMS.assign(plants_needed=1250.2, lower=1199.1, upper=1300.01)
    assert "1,251 (1,200 to 1,301)" in said(draw_stems(part).figure)


@pytest.mark.parametrize(
    ("draw", "table"),
    [
        (draw_plane, PLANE),
        (draw_value, VALUE),
        (draw_break_even, BREAK_EVEN),
        (draw_stems, STEMS),
        (draw_order, ORDER),
    ],
)
def test_each_draws_on_axes_of_the_caller(draw, table):
    figure, ax = plt.subplots()
    assert draw(table, ax) is ax
    assert draw(table) is not ax
    plt.close("all")
    assert figure
