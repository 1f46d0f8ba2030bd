"""Ratios of hazards by period as a result, and residuals by round of visits."""

import numpy as np
import pandas as pd
import pytest
from matplotlib.text import Text
from scipy import stats

from survivor.effects.hazards import hazards, residual_rounds
from survivor.errors import ModelError
from survivor.models.by_period import fit_by_period
from survivor.models.cox import scaled_residuals
from survivor.models.fit import fit
from tests.models.cohorts import counts


def test_the_table_holds_every_method_and_period_with_t_limits():
    model = fit(counts(planted=40), "method")
    found, parts = hazards(model), fit_by_period(model, "method")
    table = found.table
    assert list(table.columns[:3]) == ["period", "method", "against"]
    assert found.periods == parts.periods
    assert table["method"].astype(str).tolist() == ["auger", "rip"] * 3
    np.testing.assert_allclose(table["estimate"], parts.estimate.T.ravel())
    # Limits by hand for one row: t on its own degrees of freedom.
    row = table.iloc[3]
    half = stats.t.ppf(0.975, row["df"]) * row["std_error"]
    assert row["hazard_ratio_upper"] == pytest.approx(np.exp(row["estimate"] + half))
    assert row["p_value"] == pytest.approx(2 * stats.t.sf(abs(row["estimate"] / row["std_error"]), row["df"]))
    assert found.test == parts.proportional
    assert found.variance == "CR2"


def test_rounds_of_visits_average_the_residuals_by_deaths():
    frame = counts(planted=40)
    # One site is visited three days later: the same round.
    late = frame["site"] == "site 1"
    frame = frame.assign(stop_day=frame["stop_day"] + 3 * late)
    frame.loc[late & (frame["start_day"] > 0), "start_day"] += 3
    model = fit(frame, "method", model="cox")
    table = residual_rounds(model).table
    rip = table[table["method"] == "rip"]
    assert rip["first_day"].tolist() == [40, 150, 365]
    assert rip["last_day"].tolist() == [43, 153, 368]
    assert rip["deaths"].sum() == frame["died"].sum()
    each = scaled_residuals(model)
    first = each[(each["term"] == "method[T.rip]") & (each["day"] < 50)]
    assert rip["estimate"].iloc[0] == pytest.approx(np.average(first["scaled"], weights=first["deaths"]))
    overall = model.table.set_index("term").loc["method[T.rip]", "estimate"]
    assert np.average(rip["estimate"], weights=rip["deaths"]) == pytest.approx(overall)
    assert set(rip["overall"]) == {overall}


def test_schoenfeld_residuals_are_had_from_the_fit_and_drawn_from_their_rounds():
    model = fit(counts(planted=40), "method", model="cox")
    pd.testing.assert_frame_equal(model.residuals("schoenfeld"), scaled_residuals(model))
    found = residual_rounds(model)
    drawing = found.plot()
    assert len(drawing.axes) >= len(found.table["method"].unique())
    for name, ax in zip(found.table["method"].unique(), drawing.axes, strict=False):
        points = ax.collections[-1].get_offsets()
        own = found.table[found.table["method"] == name]
        assert points[:, 0].tolist() == pytest.approx(own["day"].tolist())
        assert name in " ".join(text.get_text() for text in ax.findobj(match=Text))
    assert found.checks == ()
    other = model.data.rename(columns={"method": "works"})
    renamed = residual_rounds(fit(other, "works", model="cox"), by="works")
    assert list(renamed.table.columns) == ["works", *found.table.columns[1:]]
    assert renamed.plot().axes
    with pytest.raises(ModelError, match=r"survivor\.diagnose\(fit\)\.residuals"):
        fit(counts(), "method").residuals("schoenfeld")
    with pytest.raises(ModelError, match="no residuals 'martingale' of this fit"):
        model.residuals("martingale")


def test_only_a_grouped_fit_has_periods():
    with pytest.raises(ModelError, match="needs a grouped fit"):
        hazards(fit(counts(), "method", model="cox"))
