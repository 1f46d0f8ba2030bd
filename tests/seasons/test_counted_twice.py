"""A season counted twice is found whatever its files are called; two true seasons are not refused."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from survivor.errors import PoolingError
from survivor.seasons.counted_twice import are_copies, marks_of, refuse_counted_twice, same_plants
from survivor.simulate.cohort import Cohort
from survivor.simulate.drawing import draw_intervals

COHORT = Cohort(sites=4, blocks=1, seedlings=15, visit_days=((40, 160, 300, 365),))


@pytest.fixture(scope="module")
def season() -> pd.DataFrame:
    return tagged(1)


def tagged(seed: int, year: int = 2022) -> pd.DataFrame:
    drawn = draw_intervals(COHORT, seed)
    drawn["planted_date"] = pd.Timestamp(f"{year}-06-15")
    drawn["tag"] = ""
    return drawn


def test_the_same_table_is_the_same_plants(season):
    assert "plots of the same site and label" in same_plants(season, season.copy())


def test_another_case_spacing_and_a_later_planting_day_do_not_hide_it(season):
    copy = season.assign(
        site=season["site"].str.upper().str.replace(" ", "  "),
        planted_date=season["planted_date"] + pd.Timedelta(days=3),
    )
    assert "plots of the same site and label" in same_plants(season, copy)


def test_sites_renamed_and_dates_shifted_are_found_by_what_became_of_the_plots(season):
    copy = season.assign(
        site="Place " + season["site"].str[-1],
        planted_date=season["planted_date"] - pd.Timedelta(days=400),
    )
    assert "same counts on the same days" in same_plants(season, copy)


def test_tags_give_away_plots_with_new_names(season):
    counted = season.loc[season.index.repeat(season["at_risk"])].reset_index(drop=True)
    counted["died"] = (np.arange(len(counted)) % 3 == 0).astype(int)
    counted["at_risk"] = 1
    counted["tag"] = [f"{number:04d}" for number in range(len(counted))]
    counted["species"] = "blackwood"
    copy = counted.assign(site="Other", plot="X", block="Y")
    assert "tags have the same planting date" in same_plants(counted, copy)


def test_one_plot_taken_over_is_found(season):
    later = tagged(2, 2023)
    plot = season[(season["site"] == season["site"].iloc[0]) & (season["plot"] == season["plot"].iloc[0])]
    both = pd.concat([later, plot], ignore_index=True)
    assert same_plants(season, both).startswith("1 plot of the same site")


def test_the_same_sites_planted_again_are_another_season(season):
    # Same places, same labels, same visit days, a year later: twenty pairs of true seasons.
    for seed in range(2, 22):
        assert same_plants(season, tagged(seed, 2023)) == ""


def test_the_refusal_names_both_and_the_mend(season):
    with pytest.raises(PoolingError, match="counted twice") as caught:
        refuse_counted_twice({"first": season, "second": season.copy()})
    assert caught.value.where == "first and second"
    assert "leave one of them out" in caught.value.mend


def share_a_mark(one: pd.DataFrame, other: pd.DataFrame) -> bool:
    return not set(marks_of(one)).isdisjoint(marks_of(other))


def test_plots_that_share_a_name_by_chance_are_no_copy(season):
    # Sites called alike, planted in one week; another draw, and 12 plants in a plot where the others had 15.
    drawn = draw_intervals(Cohort(sites=4, blocks=1, seedlings=12, visit_days=((50, 170, 310, 370),)), 7)
    other = drawn.assign(planted_date=season["planted_date"].iloc[0] + pd.Timedelta(days=5), tag="")
    assert "plots of the same site and label" in same_plants(season, other)
    assert not are_copies(season, other)
    assert not share_a_mark(season, other)


def test_a_copy_with_a_slip_corrected_and_one_visit_more_is_one(season):
    plot = (season["site"] == season["site"].iloc[0]) & (season["plot"] == season["plot"].iloc[0])
    copy = season.assign(at_risk=season["at_risk"] + plot.astype(int))
    for other in (copy, copy[copy["stop_day"] < 360]):
        assert are_copies(season, other)
        assert share_a_mark(season, other)


def test_a_copy_under_other_names_of_sites_is_one(season):
    copy = season.assign(site="Place " + season["site"].str[-1], planted_date=pd.Timestamp("2020-06-15"))
    assert are_copies(season, copy)
    assert share_a_mark(season, copy)
