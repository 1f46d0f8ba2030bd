"""Planting seasons told apart by the dry season that plants meet first."""

from __future__ import annotations

import pandas as pd
import pytest

from survivor.season.windows import planting_years
from survivor.settings import DrySeason

SUMMER = DrySeason(start="12-01", end="03-31")


@pytest.mark.parametrize(
    ("dates", "dry", "names"),
    [
        # Winter plantings of two years: the trade's usual case.
        (["2021-07-01", "2021-08-20", "2022-06-25"], SUMMER, ["2021", "2021", "2022"]),
        # From May to September of one year is one season.
        (["2021-05-02", "2021-09-30"], SUMMER, ["2021", "2021"]),
        # Put in within the dry season: they meet that one, as do those of the winter before.
        (["2021-07-01", "2021-12-15", "2022-07-01"], SUMMER, ["2021", "2021", "2022"]),
        # After the dry season, in one calendar year with the ones before it.
        (["2021-02-01", "2021-07-01"], SUMMER, ["2021 (from 1 February 2021)", "2021 (from 1 July 2021)"]),
        # A wet season over the turn of the year, dry from June to September.
        (
            ["2021-11-20", "2022-02-10", "2022-12-01"],
            DrySeason(start="06-01", end="09-30"),
            ["2021/2022", "2021/2022", "2022"],
        ),
        # Without a dry season a pause of 150 days parts seasons.
        (["2021-07-01", "2021-10-01", "2022-07-01"], None, ["2021", "2021", "2022"]),
        (["2021-11-20", "2022-02-10"], None, ["2021/2022", "2021/2022"]),
    ],
)
def test_seasons_have_a_name(dates: list[str], dry: DrySeason | None, names: list[str]) -> None:
    assert list(planting_years(pd.Series(pd.to_datetime(dates)), dry)) == names


def test_a_blank_has_no_season() -> None:
    given = pd.Series(pd.to_datetime(["2021-07-01", None]))
    assert list(planting_years(given, SUMMER)) == ["2021", ""]
