"""Rain over soil water: every part keeps its place, whether or not days were left unread."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from survivor.figures.season import water_figure
from survivor.figures.svg import to_svg


@pytest.mark.parametrize("unread", [0, 3])
def test_both_panels_have_room(unread: int) -> None:
    rain = np.where(np.arange(120) % 9 == 0, 6.0, 0.0)
    rain[:unread] = np.nan
    depletion = np.linspace(5, 60, 120)
    table = pd.DataFrame(
        {
            "date": pd.date_range("2022-06-14", periods=120),
            "rain_mm": rain,
            "depletion_mm": depletion,
            "wettest_mm": depletion,
            "driest_mm": depletion,
            "stressed": pd.array(depletion > 35, dtype="boolean"),
        }
    )
    figure = water_figure(table, total_mm=70, ready_mm=35)
    # A layout that cannot be made is a warning, and an error here.
    assert to_svg(figure, "water", "Water", "It falls.").startswith("<svg")
    above, below = (ax.get_position() for ax in figure.axes)
    assert above.height > 0.15
    assert below.height > 0.3
