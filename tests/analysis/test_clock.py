from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from survivor.analysis.clock import _planted, _rounds, read_day
from survivor.analysis.described import death_periods, deaths_in_dry_season, season_pieces
from survivor.analysis.models import first_plants
from survivor.season.windows import dry_spans
from survivor.settings import DrySeason

SEASON = DrySeason(start="12-01", end="03-31")


def _rows(*planted: str) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "site": [f"s{i}" for i in range(len(planted))],
            "block": "",
            "plot": "1",
            "tag": "",
            "planted_date": pd.to_datetime(list(planted)),
            "start_day": 0,
            "stop_day": 400,
            "at_risk": 10,
            "died": 0,
        }
    )


def test_the_dry_season_starts_at_the_age_that_the_planting_date_says() -> None:
    # From 1 September 2023, 1 December is day 91 and 31 March 2024, the last dry day, day 212.
    spans = dry_spans(_planted(_rows("2023-09-01")), SEASON, 400)
    assert spans.to_dict("records")[0] == {"start_day": 91.0, "stop_day": 213.0, "share": 1.0}


def test_sites_planted_apart_share_only_part_of_it() -> None:
    spans = dry_spans(_planted(_rows("2023-09-01", "2023-10-01")), SEASON, 300)
    assert list(spans["share"]) == [0.5, 1.0, 0.5]
    assert list(spans["start_day"]) == [61.0, 91.0, 183.0]


def test_a_season_within_a_year_and_none_at_all() -> None:
    within = dry_spans(_planted(_rows("2023-01-01")), DrySeason(start="02-01", end="02-28"), 100)
    assert within.to_dict("records") == [{"start_day": 31.0, "stop_day": 59.0, "share": 1.0}]
    assert dry_spans(_planted(_rows("2023-01-01")), None, 100).empty


def test_visits_a_few_days_apart_are_one_round() -> None:
    rows = pd.DataFrame({"stop_day": [40, 36, 45, 110, 365, 371]})
    assert _rounds(rows, 400) == [(36.0, 45.0), (110.0, 110.0), (365.0, 371.0)]


def test_a_round_is_read_on_its_last_day_with_limits() -> None:
    table = pd.DataFrame({"day": [0.0, 350, 365, 380, 384], "lower": [1.0, 0.8, 0.7, 0.6, np.nan]})
    assert read_day(table, 350.0, 384.0) == 380  # on day 384 there are no limits
    assert read_day(table, 384.0, 384.0) == 384


def test_deaths_belong_to_the_period_of_most_of_their_days() -> None:
    # Planted on 1 September 2023: the first dry season is from day 91 on, to day 212. Of days 40 to
    # 100, 51 lie before it; of 80 to 222, most in it; of days 60 to 290 (31 before, 121 in it, 78
    # after) too, though it holds few more than half.
    rows = pd.DataFrame(
        {
            "planted_date": pd.Timestamp("2023-09-01"),
            "start_day": [40.0, 80.0, 60.0, 206.0],
            "stop_day": [100.0, 222.0, 290.0, 274.0],
            "died": [3, 11, 5, 2],
        }
    )
    names = death_periods(rows, season_pieces(SEASON, 290.0))
    assert names == [
        "planting to the first dry season",
        "first dry season",
        "first dry season",
        "after the first dry season",
    ]
    assert deaths_in_dry_season(rows, SEASON) == (21.0, 16.0)
    assert deaths_in_dry_season(rows, None) == (0.0, 0.0)


@pytest.mark.parametrize(("cohort", "kept"), [("planting", 1), ("infill", 0)])
def test_infill_has_a_clock_of_its_own(cohort: str, kept: int) -> None:
    assert len(first_plants(_rows("2023-09-01").assign(cohort=cohort, method="rip"))) == kept
