from __future__ import annotations

from collections.abc import Callable

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from matplotlib.axes import Axes
from matplotlib.text import Text

from survivor.figures import causes, comparison, curves, hazards, payoff, radius, season
from survivor.figures.style import Drawing

NAN = float("nan")

SURVIVAL = pd.DataFrame(
    {
        "method": ["a", "b $x$"],
        "estimate": [58.0, 79.0],
        "lower": [49.0, 71.0],
        "upper": [66.0, 85.0],
        "at_day": 365.0,
    }
)
CONTRASTS = pd.DataFrame(
    {
        "method": ["b", "c", "d"],
        "against": "a",
        "basis": ["within sites", "between sites only", "refused"],
        "estimate": [21.0, 8.0, NAN],
        "lower": [11.0, -5.0, NAN],
        "upper": [31.0, 21.0, NAN],
        "reason": ["", "", "one site"],
    }
)
CURVES = pd.DataFrame(
    {
        "method": ["a"] * 3 + ["b"] * 3,
        "day": [0.0, 40.0, 365.0] * 2,
        "survival": [1.0, 0.9, 0.58, 1.0, 0.95, 0.79],
        "lower": [1.0, 0.8, 0.49, 1.0, NAN, NAN],
        "upper": [1.0, 0.95, 0.66, 1.0, NAN, NAN],
    }
)
DOSE = pd.DataFrame(
    {
        "weed_free_radius_m": [0.3, 0.6, 1.2],
        "estimate": [60.0, 70.0, 75.0],
        "lower": [52.0, 62.0, 66.0],
        "upper": [67.0, 77.0, 82.0],
    }
)
PAYOFF = pd.DataFrame(
    {
        "method": ["a", "b"],
        "cost_per_established": [6.9, 6.3],
        "lower": [6.0, 5.9],
        "upper": [8.1, 7.0],
        "currency": "$",
    }
)
TERMS = pd.DataFrame(
    {
        "term": ["method[b]"],
        "hazard_ratio": [0.5],
        "hazard_ratio_lower": [0.3],
        "hazard_ratio_upper": [0.8],
        "estimate": [-0.69],
    }
)
DRAWN: dict[str, tuple[Callable[..., Axes], pd.DataFrame]] = {
    "survival": (comparison.draw_survival, SURVIVAL),
    "contrasts": (comparison.draw_contrasts, CONTRASTS),
    "curves": (curves.draw_curves, CURVES),
    "dose": (radius.draw_dose, DOSE),
    "payoff": (payoff.draw_payoff, PAYOFF),
    "coefficients": (hazards.draw_coefficients, TERMS),
}


def words(figure: Drawing) -> list[str]:
    figure.canvas.draw()
    return [text.get_text() for text in figure.findobj(Text) if text.get_visible() and text.get_text()]


@pytest.mark.parametrize("name", DRAWN)
def test_it_draws_on_the_axes_given_and_returns_them(name: str) -> None:
    draw, table = DRAWN[name]
    figure, ax = plt.subplots()
    assert draw(table, ax) is ax
    figure.canvas.draw()
    plt.close(figure)


@pytest.mark.parametrize("name", DRAWN)
def test_it_makes_axes_of_its_own_and_leaves_the_table_alone(name: str) -> None:
    draw, table = DRAWN[name]
    before = table.copy()
    ax = draw(table)
    assert isinstance(ax, Axes)
    pd.testing.assert_frame_equal(table, before)
    plt.close("all")


def test_survival_is_sorted_and_its_numbers_stand_beside() -> None:
    figure = comparison.survival_figure(
        SURVIVAL, PAYOFF.replace({"method": {"b": "b $x$"}}), usual="a", target=80
    )
    said = words(figure)
    assert said.index("b $x$") < said.index("a")
    assert {"79 (71 to 85)", "58 (49 to 66)", "usual practice", "target 80"} <= set(said)


def test_a_cost_beside_survival_has_its_unit_and_limits() -> None:
    costs = PAYOFF.replace({"method": {"b": "b $x$"}})
    figure = comparison.survival_figure(SURVIVAL, costs)
    row = PAYOFF.set_index("method").loc["b"]
    said = words(figure)
    assert {"Cost of a living", "plant (range)"} <= set(said)
    assert f"${row['cost_per_established']:.2f} ({row['lower']:.2f} to {row['upper']:.2f})" in said
    narrow = words(comparison.survival_figure(SURVIVAL, costs, size="narrow"))
    assert any(f"${row['cost_per_established']:.2f} ({row['lower']:.2f} to" in text for text in narrow)


def test_a_refused_comparison_says_so_and_is_not_drawn() -> None:
    figure = comparison.contrasts_figure(CONTRASTS, smallest=5)
    assert words(figure).count("not compared") == 2
    assert "less than matters (5)" in words(figure)
    drawn = [line.get_ydata()[0] for line in figure.axes[0].lines if len(line.get_xdata()) == 1]
    assert 2.0 not in drawn


def test_a_comparison_between_sites_is_hollow_and_named() -> None:
    figure = comparison.contrasts_figure(CONTRASTS)
    dots = {line.get_ydata()[0]: line for line in figure.axes[0].lines if line.get_marker() == "o"}
    assert dots[0.0].get_markerfacecolor() == dots[0.0].get_color()
    assert dots[1.0].get_markerfacecolor() != dots[1.0].get_color()
    assert "between sites only" in words(figure)


@pytest.mark.parametrize("size", ["wide", "narrow"])
def test_each_method_has_a_panel_and_the_usual_practice_comes_first(size: str) -> None:
    dry = pd.DataFrame({"start_day": [150.0], "stop_day": [280.0], "share": [1.0]})
    behind = curves.Backdrop(dry=dry, visits=((36.0, 40.0), (365.0, 365.0)), milestone=365.0, usual="b")
    figure = curves.curves_figure(CURVES, behind, size=size)
    titles = [ax.get_title(loc="left") for ax in figure.axes if ax.get_visible()]
    assert titles == ["b", "a"]
    assert {"dry season", "usual practice"} <= set(words(figure))


def test_curves_are_labelled_at_their_ends() -> None:
    ax = curves.draw_curves(CURVES)
    assert {"a  58", "b  79"} <= {text.get_text() for text in ax.texts}
    # The limits of the last step, which has no width, stand as bars at the last visit.
    bars = [bar for bars in ax.collections if hasattr(bars, "get_segments") for bar in bars.get_segments()]
    assert [bar.tolist() for bar in bars if len(bar)] == [[[365, 49], [365, 66]]]
    plt.close("all")


def test_a_curve_of_many_steps_is_thinned_but_keeps_its_ends() -> None:
    day = np.arange(5000.0)
    table = pd.DataFrame({"group": "all", "day": day, "survival": np.linspace(1, 0.5, 5000)})
    ax = curves.draw_curves(table)
    x = ax.lines[0].get_xdata()
    assert len(x) <= 300
    assert (x[0], x[-1]) == (0, 4999)
    plt.close("all")


def test_the_area_of_the_patch_stands_above_and_nothing_beyond_the_data() -> None:
    # A radius of 1.0 m is 3.14 m2, four times the area of a spot 1 m across.
    figure = radius.dose_figure(DOSE, rug=(0.3, 0.6, 1.2), stops=(0.9, 0.6, NAN), stops_words="from here")
    ax = figure.axes[0]
    assert "3.1 m²" in words(figure)
    assert ax.lines[0].get_xdata().min() == 0.3
    assert ax.lines[0].get_xdata().max() == 1.2


def test_areas_above_near_radii_differ_as_their_radii_do() -> None:
    near = DOSE.assign(**{str(DOSE.columns[0]): np.linspace(0.45, 0.60, len(DOSE))})
    areas = [text for text in words(radius.dose_figure(near)) if text.endswith(" m²")]
    assert len(areas) > 2
    assert len(set(areas)) == len(areas)


def test_periods_line_up_and_unknown_causes_are_kept_last() -> None:
    table = pd.DataFrame(
        {
            "method": "a",
            "period": ["first dry season", "first dry season", "after"],
            "cause": ["unknown", "browsed", "browsed"],
            "deaths": [9, 4, 2],
        }
    )
    figure = causes.causes_figure(table)
    assert [label.get_text() for label in figure.axes[0].get_yticklabels()] == ["browsed", "unknown"]
    assert [ax.get_title(loc="left") for ax in figure.axes] == ["first dry season", "after"]


@pytest.mark.parametrize(
    ("decile", "said"),
    [(1, "very much below average"), (4, "about average"), (10, "very much above average")],
)
def test_deciles_have_words(decile: float, said: str) -> None:
    # Source: the usual words of rainfall deciles: 1, 2-3, 4-7, 8-9, 10.
    assert season.decile_words(decile) == said


def test_rain_that_was_not_read_ends_the_line() -> None:
    dates = pd.date_range("2023-06-01", periods=4)
    table = pd.DataFrame(
        {"date": dates, "rain_mm": [1.0, 2.0, NAN, NAN], "low": 0.5, "median": 1.0, "high": 2.0}
    )
    ax = season.draw_cumulative(table, dry=(dates[1], dates[2]))
    assert np.isnan(ax.lines[1].get_ydata()[2:]).all()
    plt.close("all")


def test_sites_keep_their_order_and_limits_may_be_absent() -> None:
    table = pd.DataFrame(
        {
            "site": ["b", "a"],
            "planted": 100,
            "alive": [70, 90],
            "estimate": [70.0, 90.0],
            "lower": [NAN, 80.0],
            "upper": [NAN, 95.0],
        }
    )
    said = words(comparison.groups_figure(table))
    assert said.index("b") < said.index("a")
    assert "70 (–)" in said


@pytest.mark.parametrize("size", ["wide", "narrow"])
def test_models_differ_by_marker_and_name(size: str) -> None:
    table = pd.DataFrame(
        [(m, "b", "a", 10.0, 2.0, 18.0) for m in ("grouped", "cox")],
        columns=["model", "method", "against", "estimate", "lower", "upper"],
    )
    figure = comparison.agreement_figure(table, size=size)
    assert {"grouped", "cox"} <= set(words(figure))
    markers = {line.get_marker() for line in figure.axes[0].lines if line.get_marker() in ("o", "s")}
    assert markers == {"o", "s"}
