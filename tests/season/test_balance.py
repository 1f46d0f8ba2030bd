"""The daily water balance: worked by hand, closed to the last drop, and honest about days not known."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from survivor.errors import SeasonError
from survivor.season.balance import COLUMNS, MOST_ETO, water_balance, water_balances
from survivor.season.soil import Patch

# 100 mm in all, 50 of them readily; the root zone uses what the reference does.
PLAIN = Patch(0.30, 0.10, depth_m=0.5, depletion_fraction=0.5, patch_coefficient=1.0)


def days(rain, eto, first="2023-01-01") -> pd.DataFrame:
    dates = pd.date_range(first, periods=len(rain), freq="D")
    return pd.DataFrame({"date": dates, "rain_mm": rain, "eto_mm": eto}).astype({"rain_mm": float})


def test_three_days_by_hand():
    # Depletion 40 at first. Day 1: 40 + 6 = 46. Day 2: 1 mm is below a fifth of 6 and lost; 46 + 6 = 52.
    # Day 3: Ks = (100 - 52) / (100 - 50) = 0.96; 0.96 x 6 = 5.76; 57.76.
    balance = water_balance(days([0, 1, 0], [6.0, 6.0, 6.0]), PLAIN, start_mm=40)
    table = balance.table
    assert list(table.columns) == list(COLUMNS)
    np.testing.assert_allclose(table["depletion_mm"], [46, 52, 57.76])
    np.testing.assert_allclose(table["et_mm"], [6, 6, 5.76])
    np.testing.assert_allclose(table["ks"], [1, 1, 0.96])
    np.testing.assert_allclose(table["effective_rain_mm"], [0, 0, 0])
    np.testing.assert_allclose(table["drainage_mm"], [0, 0, 0])
    assert table["stressed"].tolist() == [False, False, True]


def test_the_day_that_breaks_a_drought_by_hand():
    # FAO-56 eq. 84 and 85, rain entering first. Depletion 80, 30 past the ready water. 40 mm fall: 40 are
    # missing, under the 50 that are ready, so Ks is 1 and the day uses 6 in full: 46 in the evening. 20 mm
    # leave 60 missing: Ks = (100 - 60) / (100 - 50) = 0.8, 4.8 are used: 64.8.
    broken = water_balance(days([40], [6.0]), PLAIN, start_mm=80).table.iloc[0]
    np.testing.assert_allclose(broken[["ks", "et_mm", "depletion_mm"]].astype(float), [1.0, 6.0, 46.0])
    assert not broken["stressed"]
    eased = water_balance(days([20], [6.0]), PLAIN, start_mm=80).table.iloc[0]
    np.testing.assert_allclose(eased[["ks", "et_mm", "depletion_mm"]].astype(float), [0.8, 4.8, 64.8])
    assert eased["stressed"]


def test_a_day_not_known_may_be_as_dry_as_a_hot_one():
    # A grass reference of 9 mm a day is the highest average that FAO-56 gives (table 2, warm and arid; from
    # memory), and single days in dry wind go beyond: of a day not known they must lie between the paths.
    for asked in (9.0, 13.0):
        truth = water_balance(days([0, 0], [asked, 4.0]), PLAIN, start_mm=10).table
        table = water_balance(days([0, 0], [np.nan, 4.0]), PLAIN, start_mm=10).table
        assert (table["driest_mm"] >= truth["depletion_mm"]).all()
        assert (table["wettest_mm"] <= truth["depletion_mm"]).all()
    # All is ready here, so the driest path uses the whole bound.
    np.testing.assert_allclose(table["driest_mm"], [10 + MOST_ETO, 14 + MOST_ETO])


def test_rain_fills_the_soil_and_the_rest_drains():
    # Depletion 30. Day 1: 30 - 45 + 5 = -10: 10 drain, none is left missing. Day 2: 0 - 2 + 4 = 2.
    table = water_balance(days([45, 2], [5.0, 4.0]), PLAIN, start_mm=30).table
    np.testing.assert_allclose(table["drainage_mm"], [10, 0])
    np.testing.assert_allclose(table["depletion_mm"], [0, 2])


def test_no_more_is_used_than_there_is():
    # A sand so shallow that a day asks for more than it holds: 5 mm in all, 10 asked for.
    shallow = Patch(0.10, 0.05, depth_m=0.1, patch_coefficient=1.0)
    table = water_balance(days([0, 0], [10.0, 10.0]), shallow, start_mm=0).table
    np.testing.assert_allclose(table["et_mm"], [5, 0])
    np.testing.assert_allclose(table["depletion_mm"], [5, 5])


def test_weeds_on_the_root_zone_bring_stress_sooner():
    record = days([0.0] * 60, [6.0] * 60)
    with_weeds, without = (
        water_balance(
            record, Patch(0.28, 0.14, depth_m=0.5, radius_m=radius, root_radius_m=0.6), start_mm=0
        ).table["stressed"]
        for radius in (0.2, 0.6)
    )
    assert with_weeds.idxmax() < without.idxmax()
    assert with_weeds.sum() > without.sum()


patches = st.builds(
    lambda wilting, held, depth, ready, coefficient: Patch(
        wilting + held, wilting, depth_m=depth, depletion_fraction=ready, patch_coefficient=coefficient
    ),
    st.floats(0.02, 0.3),
    st.floats(0.03, 0.25),
    st.floats(0.05, 1.5),
    st.floats(0.1, 0.8),
    st.floats(0.0, 1.4),
)
falls = st.one_of(st.just(0.0), st.floats(0, 5), st.floats(0, 150))
weathers = st.lists(st.tuples(falls, st.floats(0, MOST_ETO)), min_size=1, max_size=80)


@given(weathers, patches, st.floats(0, 1))
def test_every_drop_is_accounted_for(weather, patch, share):
    rain, eto = (np.array(values) for values in zip(*weather, strict=True))
    start = share * patch.total_mm
    table = water_balance(days(rain, eto), patch, start_mm=start).table
    depletion = table["depletion_mm"].to_numpy()
    fall = np.concatenate([[start], depletion[:-1]]) - depletion
    gained = table["effective_rain_mm"] - table["et_mm"] - table["drainage_mm"]
    np.testing.assert_allclose(gained, fall, rtol=0, atol=1e-9)
    assert gained.sum() == pytest.approx(start - depletion[-1], abs=1e-9 * len(table))
    assert (depletion >= 0).all()
    assert (depletion <= patch.total_mm + 1e-9).all()
    assert table["ks"].between(0, 1).all()
    assert (table["et_mm"] >= 0).all()
    assert (table["et_mm"] <= patch.coefficient * table["eto_mm"] + 1e-9).all()
    assert (table["effective_rain_mm"] <= table["rain_mm"]).all()
    assert (depletion[table["drainage_mm"] > 0] == 0).all()
    assert not table["stressed"].isna().any()


@given(
    weathers,
    patches,
    st.floats(0, 1),
    st.lists(st.sampled_from(["rain", "eto", "both", "", "", "", "", ""]), min_size=80, max_size=80),
)
def test_the_truth_lies_between_the_two_paths(weather, patch, share, lost):
    rain, eto = (np.array(values) for values in zip(*weather, strict=True))
    truth = water_balance(days(rain, eto), patch, start_mm=share * patch.total_mm).table
    gone = np.array(lost[: len(rain)])
    seen = days(
        np.where(np.isin(gone, ["rain", "both"]), np.nan, rain),
        np.where(np.isin(gone, ["eto", "both"]), np.nan, eto),
    )
    table = water_balance(seen, patch).table  # nor is it known how it began
    near = 0.051  # mm; two paths as near as that go on as one
    assert (table["wettest_mm"] <= truth["depletion_mm"] + near).all()
    assert (table["driest_mm"] >= truth["depletion_mm"] - near).all()
    known = table["depletion_mm"].notna()
    assert (table.loc[known, "depletion_mm"] - truth.loc[known, "depletion_mm"]).abs().max() <= near or not (
        known.any()
    )
    told = table["stressed"].notna()
    differ = told & (table["stressed"].fillna(False).astype(bool) != truth["stressed"].astype(bool))
    edge = near / (patch.total_mm - patch.ready_mm)  # of Ks, within which the word may go either way
    assert (truth.loc[differ, "ks"] >= 1 - edge).all()


def test_a_day_not_known_is_not_made_up():
    rain = [0.0, np.nan, 0.0, 0.0, 200.0, 0.0]
    balance = water_balance(days(rain, [5.0] * 6), PLAIN, start_mm=20)
    table = balance.table
    # After day 1 it is 25. Day 2: full at the wettest, 30 at the driest. Day 5 fills it on both paths.
    assert table["depletion_mm"].isna().tolist() == [False, True, True, True, False, False]
    np.testing.assert_allclose(table["wettest_mm"], [25, 0, 5, 10, 0, 5])
    np.testing.assert_allclose(table["driest_mm"], [25, 30, 35, 40, 0, 5])
    assert table["et_mm"].isna().tolist() == [False, True, False, False, False, False]
    assert table["drainage_mm"].isna().tolist() == [False, True, False, False, True, False]
    assert table["stressed"].tolist() == [False] * 6  # dry as it may be, 40 is under 50
    assert any("Rain is not known on 1 of 6 days" in note for note in balance.notes)
    assert any("within limits only on 3 of 6 days" in note for note in balance.notes)


def test_stress_in_doubt_is_neither_yes_nor_no():
    rain = [0.0, np.nan] + [0.0] * 14
    table = water_balance(days(rain, [5.0] * 16), PLAIN, start_mm=45).table
    # Driest: 50 before day 2, which is not yet short; 55 before day 3, which is. Wettest: full in the evening
    # of day 2, so 5 (k - 3) before day k, above 50 from day 14 on.
    assert table["stressed"].isna().tolist() == [False] * 2 + [True] * 11 + [False] * 3
    assert table["stressed"].iloc[:2].tolist() == [False] * 2
    assert table["stressed"].iloc[13:].tolist() == [True] * 3


def test_a_missing_row_is_a_missing_day():
    whole = days([0.0] * 5, [5.0] * 5)
    table = water_balance(whole.drop(index=2), PLAIN, start_mm=0).table
    assert len(table) == 5
    assert table.loc[2, ["rain_mm", "eto_mm", "et_mm", "depletion_mm"]].isna().all()


def test_an_unknown_start_is_closed_by_rain():
    table = water_balance(days([0.0, 120.0, 0.0], [3.0] * 3), PLAIN).table
    assert table["depletion_mm"].isna().tolist() == [True, False, False]
    assert table["wettest_mm"].iloc[0] == pytest.approx(3)
    assert table["driest_mm"].iloc[0] == pytest.approx(100)


def test_many_patches_are_reckoned_as_one_by_one():
    rng = np.random.default_rng(3)
    record = days(rng.gamma(0.3, 10, 90), rng.uniform(1, 8, 90))
    record.loc[40, "rain_mm"] = np.nan
    several = [PLAIN, Patch(0.18, 0.08, depth_m=0.4), Patch(0.42, 0.30, depth_m=0.7, depletion_fraction=0.3)]
    for patch, balance in zip(several, water_balances(record, several), strict=True):
        pd.testing.assert_frame_equal(balance.table, water_balance(record, patch).table)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda d: d.drop(columns="eto_mm"), "no column eto_mm"),
        (lambda d: d.assign(rain_mm=-1.0), "below 0"),
        (lambda d: d.assign(date=d["date"].iloc[0]), "stands twice"),
        (lambda d: d.iloc[:0], "no days"),
    ],
)
def test_a_record_that_cannot_be_used_is_refused(change, words):
    with pytest.raises(SeasonError, match=words):
        water_balance(change(days([0.0, 0.0], [5.0, 5.0])), PLAIN)


def test_a_start_that_the_soil_cannot_hold_is_refused():
    with pytest.raises(SeasonError, match=r"0 \(full\) to 100 mm"):
        water_balance(days([0.0], [5.0]), PLAIN, start_mm=101)


def test_a_balance_shows_itself():
    balance = water_balance(days([0.0, np.nan, 3.0], [5.0] * 3), PLAIN, start_mm=20)
    assert "<table" in balance._repr_html_()
    assert "depletion_mm" in repr(balance)
    ax = balance.plot()
    assert ax.get_ylabel() == "Soil water left, mm"
