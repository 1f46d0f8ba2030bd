from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from survivor.report.content.dryness import (
    deaths_in_dry_season,
    dry_spans,
    first_plants,
    reading_day,
    settled,
    visit_rounds,
)
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
    spans = dry_spans(_rows("2023-09-01"), SEASON, 400)
    assert spans.to_dict("records")[0] == {"start_day": 91.0, "stop_day": 213.0, "share": 1.0}


def test_sites_planted_apart_share_only_part_of_it() -> None:
    spans = dry_spans(_rows("2023-09-01", "2023-10-01"), SEASON, 300)
    assert list(spans["share"]) == [0.5, 1.0, 0.5]
    assert list(spans["start_day"]) == [61.0, 91.0, 183.0]


def test_a_season_within_a_year_and_none_at_all() -> None:
    within = dry_spans(_rows("2023-01-01"), DrySeason(start="02-01", end="02-28"), 100)
    assert within.to_dict("records") == [{"start_day": 31.0, "stop_day": 59.0, "share": 1.0}]
    assert dry_spans(_rows("2023-01-01"), None, 100).empty


def test_visits_a_few_days_apart_are_one_round() -> None:
    rows = pd.DataFrame({"stop_day": [40, 36, 45, 110, 365, 371]})
    assert visit_rounds(rows) == [(36.0, 45.0), (110.0, 110.0), (365.0, 371.0)]


def test_a_curve_is_read_when_the_round_of_the_milestone_is_over() -> None:
    table = pd.DataFrame({"day": [0.0, 350, 365, 380, 384], "lower": [1.0, 0.8, 0.7, 0.6, np.nan]})
    assert reading_day(table, [(350.0, 384.0)], 365) == 380  # on day 384 there are no limits
    assert reading_day(table, [(350.0, 360.0)], 365) == 365
    assert settled(table, 384.0, 384.0) == 384


def test_deaths_are_counted_to_the_dry_season_by_most_of_their_days() -> None:
    rows = pd.DataFrame(
        {
            "start_date": pd.to_datetime(["2023-10-01", "2023-11-20", "2024-03-25"]),
            "stop_date": pd.to_datetime(["2023-12-10", "2024-04-10", "2024-06-01"]),
            "died": [3, 11, 2],
        }
    )
    assert deaths_in_dry_season(rows, SEASON) == (16.0, 11.0)
    assert deaths_in_dry_season(rows, None) == (0.0, 0.0)


@pytest.mark.parametrize(("cohort", "kept"), [("planting", 1), ("infill", 0), ("", 1)])
def test_infill_has_a_clock_of_its_own(cohort: str, kept: int) -> None:
    assert len(first_plants(_rows("2023-09-01").assign(cohort=cohort))) == kept
