import math

import numpy as np
import pandas as pd
import pytest

from survivor.effects.dose import dose
from survivor.effects.plateau import crossing, not_shown, stops_paying
from survivor.effects.response import Curve, choose_curve, spread_of
from survivor.errors import EffectError
from survivor.models.fit import fit
from tests.effects.making import RADII, planted_by_radius


def levelling(_site, _method, radius):
    """Gains up to 0.6 m, none beyond."""
    return 0.2 + 1.5 * max(0.6 - radius, 0.0)


def straight(_site, _method, radius):
    """A straight line on the log hazard."""
    return math.exp(-0.5 - 0.8 * radius)


# --- the smallest radius from which the gain stays under what is worth having -------------------

POINTS = np.array([0.2, 0.4, 0.6, 0.8, 1.0])
CROSSINGS = {
    # gains between the points, worth 1: the last gain of 3 stands at 0.5 m, the first under 1 at 0.7 m
    "between two steps": ([5.0, 3.0, 0.0, 0.0], 0.5 + 0.2 * 2 / 3),
    "never worth it": ([0.5, 0.2, 0.1, 0.0], 0.2),
    "not reached": ([5.0, 3.0, 2.0, 1.5], None),
    "it must stay under": ([0.5, 0.2, 4.0, 0.0], 0.7 + 0.2 * 3 / 4),
    "on the edge is not under": ([5.0, 3.0, 2.0, 1.0], None),
    "falling survival": ([2.0, -3.0, -4.0, -5.0], 0.3 + 0.2 * 1 / 5),
}


@pytest.mark.parametrize(("gains", "expected"), CROSSINGS.values(), ids=CROSSINGS.keys())
def test_crossing(gains, expected):
    found = crossing(POINTS, np.array(gains), 1.0)
    assert found == (None if expected is None else pytest.approx(expected))


def test_limits_are_where_the_limits_of_the_gain_cross():
    gains = np.array([5.0, 3.0, 0.0, 0.0])
    found = stops_paying(POINTS, gains, 1.0, gains - 1, gains + 1.5)
    # By hand: at 0.5 and 0.7 m the least gain is 2 and -1, the greatest 4.5 and 1.5; at 0.9 m 1.5.
    assert found.value == pytest.approx(0.5 + 0.2 * 2 / 3)
    assert found.lower == pytest.approx(0.5 + 0.2 * 1 / 3)
    assert found.upper is None
    assert "a radius of 0.63 m" in found.sentence
    narrow = stops_paying(POINTS, gains, 1.0, gains - 1, gains + 0.5)
    assert narrow.upper == pytest.approx(0.5 + 0.2 * 2.5 / 3)
    assert narrow.state == "reached"


def test_a_limit_beyond_the_data_is_said():
    gains = np.array([5.0, 3.0, 0.0, 0.0])
    found = stops_paying(POINTS, gains, 1.0, gains - 5, gains + 5)
    assert found.lower is None
    assert found.upper is None
    assert found.sentence.endswith("(95 % CI 0.20 m or less to beyond the data).")


def test_not_reached_is_an_answer():
    gains = np.array([5.0, 3.0, 2.0, 1.5])
    found = stops_paying(POINTS, gains, 1.0, gains - 0.2, gains + 0.2)
    assert (found.value, found.state) == (None, "not reached")
    assert found.sentence.startswith("Up to a radius of")
    assert "so by the lower limit of the gain there, too" in found.sentence


def test_where_not_reached_the_limits_of_the_gain_tell_from_where_it_might_stop():
    gains, least = np.array([5.0, 3.0, 2.0, 1.5]), np.array([4.0, 2.0, 0.0, -1.0])
    found = stops_paying(POINTS, gains, 1.0, least, gains + 1)
    # Between 0.5 m, where the least gain is 2, and 0.7 m, where it is 0.
    assert found.lower == pytest.approx(0.6)
    assert found.value is None
    assert found.upper is None


def test_a_bend_that_is_not_shown_stops_nowhere():
    """Straight on the scale of the model: whatever bend the curve shows is chance."""
    rng = np.random.default_rng(11)
    frame = planted_by_radius(straight, plants=60)
    frame["died"] = rng.binomial(60, frame["died"] / 60)
    found = dose(frame)
    assert found.p_value < 0.05 < found.line_p_value
    stops = found.stops_paying
    assert (stops.value, stops.lower, stops.upper, stops.state) == (None, None, None, "not shown")
    assert "A straight line fits about as well as a curve" in stops.sentence
    assert str(found.along_line) in stops.sentence
    # The truth along the grid, per 10 cm: within the limits.
    low, high = found.along_line.from_m, found.along_line.to_m
    alive = [100 * math.exp(-straight("", "", radius)) for radius in (low, high)]
    truth = (alive[1] - alive[0]) / (high - low) / 10
    assert found.along_line.lower < truth < found.along_line.upper


def test_no_gain_worth_having_needs_no_bend():
    """Where every gain is shown to be too small, straight or not, more does not pay."""
    frame = planted_by_radius(lambda *_: 0.2, plants=20_000)
    frame["died"] += np.tile([3, -2, 1, 0, -3, 2], 4)
    found = dose(frame)
    assert found.stops_paying.value == pytest.approx(found.table["weed_free_radius_m"].iloc[0])
    assert "From the smallest radius looked at" in found.stops_paying.sentence


def test_soil_volume_is_area_times_depth():
    found = dose(planted_by_radius(levelling), soil_depth_m=0.4)
    assert found.table["volume_m3"].to_numpy() == pytest.approx(0.4 * found.table["area_m2"].to_numpy())
    assert "volume_m3" not in dose(planted_by_radius(levelling)).table


def test_mean_area_is_the_mean_of_areas():
    found = dose(planted_by_radius(straight), radius_measured="after planting")
    expected = np.mean([math.pi * radius**2 for radius in RADII])
    assert found.description["mean_area_m2"].to_numpy() == pytest.approx(expected)
    assert expected > math.pi * np.mean(RADII) ** 2 + 0.1


def test_no_response_is_not_shown():
    assert "cannot be ruled out" in not_shown(0.4, 1.0).sentence


@pytest.mark.parametrize("model", ["cox", "logistic"])
def test_other_models_answer_too(model):
    frame = planted_by_radius(levelling)
    frame["died"] += np.tile([3, -2, 1, 0, -3, 2], 4)
    given = {"at": 365} if model == "logistic" else {}
    found = dose(fit(frame, "method", model=model, **given))
    assert 0.4 < found.stops_paying.value < 0.9
    assert found.p_value < 0.01


# --- the curve -----------------------------------------------------------------------------------


def test_the_bends_hold_no_line():
    frame = pd.DataFrame({"weed_free_radius_m": np.linspace(0.1, 1.4, 40)})
    curve = Curve("spline", "weed_free_radius_m", (0.3, 0.6, 0.9, 1.2))
    found = curve.add_to(frame)[list(curve.bends)].to_numpy()
    knots = curve.add_to(pd.DataFrame({"weed_free_radius_m": curve.knots}))[list(curve.bends)].to_numpy()
    line = np.column_stack([np.ones(4), curve.knots])
    assert line.T @ knots == pytest.approx(np.zeros((2, 2)), abs=1e-12)
    # Natural: straight beyond the outer knots.
    outside = found[frame["weed_free_radius_m"] > 1.2]
    assert np.diff(outside, 2, axis=0) == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize(
    ("radii", "shape"),
    [((0.5, 1.0), "groups"), ((0.4, 0.7, 1.0), "groups"), (RADII, "spline")],
)
def test_the_shape_follows_the_number_of_radii(radii, shape):
    frame = planted_by_radius(straight, radii=radii)
    curve, _ = choose_curve(
        spread_of(frame, "weed_free_radius_m", ["site", "method"]), "weed_free_radius_m", None
    )
    assert curve.shape == shape


def test_knots_are_quantiles_of_plots_not_of_seedlings():
    frame = planted_by_radius(straight)
    frame.loc[0, "at_risk"] = 100_000
    curve, _ = choose_curve(spread_of(frame, "weed_free_radius_m", ["site"]), "weed_free_radius_m", None)
    expected = np.quantile(np.repeat(RADII, 4), [0.1, 0.5, 0.9])
    assert curve.knots == pytest.approx(expected, abs=1e-4)


def test_spread_within_method_and_site():
    frame = planted_by_radius(straight, radii=(0.5, 0.7))
    frame.loc[frame["site"] == "Snarrow Rise", "weed_free_radius_m"] += 1.0
    spread = spread_of(frame, "weed_free_radius_m", ["site", "method"])
    # By hand: four cells of two plots, each 0.1 m from its mean, four degrees of freedom.
    assert spread.within_sd_m == pytest.approx(math.sqrt(8 * 0.01 / 4))


# --- the response --------------------------------------------------------------------------------


def test_a_response_that_levels_off():
    found = dose(fit(planted_by_radius(levelling), "method"), at=365)
    assert found.shape == "spline"
    assert found.p_value < 1e-4
    assert found.line_p_value < 0.01
    assert 0.5 < found.stops_paying.value < 0.8
    assert found.n_plots == 24
    radius = found.table["weed_free_radius_m"]
    assert radius.is_monotonic_increasing
    assert found.table["area_m2"].to_numpy() == pytest.approx(math.pi * radius.to_numpy() ** 2)


def test_nothing_is_said_outside_the_middle_of_the_plots():
    found = dose(fit(planted_by_radius(levelling), "method"))
    low, high = np.quantile(np.repeat(RADII, 4), [0.05, 0.95])
    assert found.table["weed_free_radius_m"].iloc[[0, -1]].tolist() == pytest.approx([low, high], abs=1e-3)


def test_a_line_gives_the_survival_it_came_from():
    found = dose(fit(planted_by_radius(straight, plants=20_000), "method"), shape="line")
    expected = [100 * math.exp(-straight("", "", radius)) for radius in found.table["weed_free_radius_m"]]
    assert found.table["estimate"].to_numpy() == pytest.approx(expected, abs=0.02)
    assert math.isnan(found.line_p_value)


def test_gain_is_for_each_10_cm():
    found = dose(fit(planted_by_radius(straight, plants=20_000), "method"), shape="line")
    gain = found.gain.iloc[0]
    rise = math.exp(-straight("", "", gain["to_m"])) - math.exp(-straight("", "", gain["from_m"]))
    assert gain["estimate"] == pytest.approx(100 * rise * 0.1 / (gain["to_m"] - gain["from_m"]), abs=0.05)


def test_only_variation_within_method_and_site_counts():
    # Wide patches go with the better site and the better method; within them the radius does nothing.
    frame = planted_by_radius(
        lambda site, method, _: 0.4 + 0.6 * (site == "Oddle Flat") + 0.5 * (method == "usual")
    )
    shift = 0.5 * (frame["site"] == "Snarrow Rise") + 0.5 * (frame["method"] == "spot")
    frame["weed_free_radius_m"] += shift + 0.4 * (
        (frame["site"] == "Snarrow Rise") & (frame["method"] == "spot")
    )
    frame["died"] += np.tile([1, -1, 0, 0, -1, 1], 4)  # plots differ a little, not with the radius
    found = dose(fit(frame, "method"), shape="line")
    assert found.table["estimate"].max() - found.table["estimate"].min() < 0.5
    assert found.p_value > 0.5


def test_no_variation_within_method_and_site_is_refused():
    frame = planted_by_radius(straight, radii=(0.5, 0.505))
    with pytest.raises(EffectError, match=r"varies by 0\.4 cm only"):
        dose(frame)


def test_two_radii_are_groups():
    frame = planted_by_radius(straight, radii=(0.5, 1.0, 0.5, 1.0), plants=2000)
    frame["died"] += np.tile([5, 5, -5, -5], 4)  # plots differ, not with the radius
    found = dose(fit(frame, "method"))
    assert found.shape == "groups"
    assert found.table["weed_free_radius_m"].tolist() == [0.5, 1.0]
    expected = [100 * math.exp(-straight("", "", radius)) for radius in (0.5, 1.0)]
    assert found.table["estimate"].to_numpy() == pytest.approx(expected, abs=0.05)


def test_measured_after_planting_is_described_not_modelled():
    found = dose(planted_by_radius(straight), radius_measured="after planting")
    assert found.shape == "described"
    assert found.fit is None
    assert found.table.empty
    assert found.description["n_plots"].tolist() == [12, 12]
    assert found.description["mean_m"].to_numpy() == pytest.approx(np.mean(RADII))


def test_a_flat_response_names_no_radius():
    frame = planted_by_radius(lambda *_: 0.4, plants=20)
    frame["died"] += np.concatenate([sign * np.array([3, -3, 1, 2, -3, 0]) for sign in (1, -1, -1, 1)])
    found = dose(fit(frame, "method"))
    assert found.p_value > 0.05
    assert found.stops_paying.value is None
    assert found.stops_paying.sentence.startswith("There is not enough evidence")


def test_plots_without_a_radius_are_named():
    frame = planted_by_radius(straight)
    frame.loc[[0, 1], "weed_free_radius_m"] = np.nan
    found = dose(frame, shape="line")
    assert found.n_plots == 22
    assert any("400 plants, 2 plots wholly" in sentence for sentence in found.checks)


def test_a_radius_a_seedling_counts_plots_and_not_radii():
    """Half the plants of each plot have another radius: 24 plots, 48 radii."""
    frame = planted_by_radius(straight)
    half = frame.assign(at_risk=frame["at_risk"] // 2, died=frame["died"] // 2)
    other = half.assign(weed_free_radius_m=half["weed_free_radius_m"] + 0.05)
    both = pd.concat([half, other], ignore_index=True)
    both["tag"] = ["a"] * len(half) + ["b"] * len(other)
    found = dose(both, shape="line")
    assert found.description["n_plots"].tolist() == [12, 12]
    assert found.n_plots == 24
    both.loc[(both["tag"] == "b") & (both["plot"] == "usual0"), "weed_free_radius_m"] = np.nan
    said = " ".join(dose(both, shape="line").checks)
    assert "200 plants, 0 plots wholly" in said


def test_where_no_bend_is_shown_the_drawn_response_is_the_straight_line_that_is_told():
    rng = np.random.default_rng(5)
    frame = planted_by_radius(straight)
    frame["died"] = np.clip(frame["died"] + rng.integers(-12, 13, len(frame)), 0, frame["at_risk"])
    found = dose(frame)
    assert found.line_p_value >= 0.05
    assert found.shape == "line"
    by_line = dose(frame, shape="line")
    assert found.table["estimate"].tolist() == pytest.approx(by_line.table["estimate"].tolist())
    # From end to end the table rises by what the sentence says for each 10 cm.
    along, ends = found.along_line, found.table.iloc[[0, -1]]
    rise = float(ends["estimate"].diff().iloc[-1])
    wide = 10 * float(ends[found.column].diff().iloc[-1])
    assert rise / wide == pytest.approx(along.estimate, rel=0.02)


def test_other_terms_of_the_fit_are_kept():
    frame = planted_by_radius(straight)
    frame["crew"] = np.where(np.arange(len(frame)) % 2, "first", "second")
    found = dose(fit(frame, "method + crew"), shape="line")
    assert found.fit.table["term"].tolist() == ["crew[T.second]", "weed_free_radius_m"]
    assert found.fit.strata == ("site", "method")


@pytest.mark.parametrize("column", ["radius", "plot"])
def test_a_column_that_is_no_radius_is_refused(column):
    with pytest.raises(EffectError, match=r"absent|no numbers"):
        dose(planted_by_radius(straight), column)
