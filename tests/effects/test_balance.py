import numpy as np
import pandas as pd
import pytest

from survivor.effects.confounding import balance, confounding, overlap
from tests.effects.making import planting


@pytest.fixture
def plots():
    return pd.DataFrame(
        {
            "method": ["usual"] * 4 + ["rip"] * 4 + ["mound"] * 2,
            "slope": [2.0, 4.0, 6.0, np.nan, 5.0, 6.0, 8.0, 10.0, 20.0, 30.0],
            "texture": list("ccss") + list("cccs") + ["loam", "loam"],
            "planted_date": pd.to_datetime(["2022-06-01"] * 4 + ["2022-06-11"] * 2 + ["2022-06-01"] * 4),
        }
    )


def test_overlap_by_hand(plots):
    found = overlap(plots, "method", ["usual", "rip", "mound"], ["slope", "texture"])
    table = found.set_index(["trait", "method"])
    # Slopes of the usual practice 2 to 6: rip has 5 and 6 of four inside; usual has only 6 in 5 to 10.
    assert table.loc[("slope", "rip"), ["n_plots", "inside"]].tolist() == [4, 50.0]
    assert table.loc[("slope", "rip"), "inside_against"] == pytest.approx(100 / 3)
    assert table.loc[("slope", "mound"), ["inside", "inside_against"]].tolist() == [0.0, 0.0]
    assert table.loc[("texture", "rip"), "inside"] == 100.0
    assert table.loc[("texture", "mound"), "inside"] == 0.0


def test_dates_are_compared_in_days(plots):
    found = balance(plots, "method", ["usual", "rip", "mound"], ["planted_date"]).set_index("method")
    assert found.loc["usual", "value"] == 0.0
    assert found.loc["rip", "value"] == 5.0
    assert found.loc["rip", "unit"] == "days after the first planting"
    # Austin (2009): 5 days over the root of half the variances 25 and 0.
    assert found.loc["rip", "standardised_difference"] == pytest.approx(5 / np.sqrt(12.5))


def test_sites_are_a_trait_of_their_own():
    frame = planting({"Oddle Flat": {"usual": 2, "rip": 1}, "Snarrow Rise": {"rip": 3}})
    line = confounding(frame).overlap.set_index("trait").loc["site"]
    assert (line["inside"], line["inside_against"]) == (25.0, 100.0)


def test_a_trait_that_is_nowhere_known_is_blank(plots):
    found = overlap(plots.assign(slope=np.nan), "method", ["usual", "rip"], ["slope"])
    assert np.isnan(found["inside"].item())
