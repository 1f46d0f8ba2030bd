import numpy as np
import pandas as pd
import pytest

from survivor.figures.hazards import draw_hazards, residuals_figure
from survivor.figures.rows import ratio_ticks

PERIODS = pd.DataFrame(
    {
        "period": ["before", "dry season"] * 2,
        "method": ["b", "b", "c", "c"],
        "hazard_ratio": [0.5, 0.9, 1.2, 2.0],
        "hazard_ratio_lower": [0.2, 0.4, 0.8, 1.1],
        "hazard_ratio_upper": [1.2, 2.0, 1.8, 3.6],
    }
)
ROUNDS = pd.DataFrame(
    {
        "method": ["b"] * 3 + ["c $x$"] * 3,
        "day": [40.0, 150.0, 360.0] * 2,
        "deaths": [10.0, 80.0, 3.0] * 2,
        "estimate": [0.2, -0.4, 9.0, 0.1, 0.3, 0.2],
        "overall": [-0.3] * 3 + [0.2] * 3,
    }
)


def test_periods_stand_under_their_method_in_order():
    ax = draw_hazards(PERIODS)
    said = [text.get_text() for text in ax.texts]
    assert [text for text in said if text in ("before", "dry season")] == ["before", "dry season"] * 2
    assert "0.50 (0.20 to 1.20)" in said


@pytest.mark.parametrize("size", ["wide", "narrow"])
def test_each_method_has_a_panel_and_far_residuals_stay_on_it(size):
    figure = residuals_figure(ROUNDS, size=size)
    panels = [ax for ax in figure.axes if ax.get_visible()]
    assert [ax.get_title(loc="left") for ax in panels] == ["b", "c $x$"]
    low, high = panels[0].get_ylim()
    for ax in panels:
        heights = ax.collections[0].get_offsets()[:, 1]
        assert low <= heights.min() <= heights.max() <= high
        sizes = ax.collections[0].get_sizes()
        assert np.argmax(sizes) == 1  # the round with most deaths
    assert high < np.log(30)


def test_wide_ranges_have_fewer_ratios():
    assert ratio_ticks(0.5, 2.0) == [0.5, 0.67, 1.0, 1.5, 2.0]
    assert ratio_ticks(0.02, 20.0) == [0.03, 0.1, 0.3, 1.0, 3.0, 10.0]
