"""What the page says of the dry season: each gauge by its record, days not read, water not modelled."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest

from survivor.analysis import Analysis
from survivor.report.pages import english as en
from survivor.report.pages.season import season
from survivor.season.rain import COLUMNS, Gap
from survivor.season.windows import Window
from survivor.sentences import Sentence, sentences_of
from tests.report.making import build

DRY = "rain in the dry season"
WINDOW = (pd.Timestamp("2022-12-01"), pd.Timestamp("2023-03-31"))


def measures(*rows: tuple[str, float, float, int, float]) -> pd.DataFrame:
    """Rows of the dry season: gauge, mm, decile, days known of 121, median."""
    planted = pd.Timestamp("2022-06-15")
    held = [
        (gauge, planted, DRY, *WINDOW, mm, "mm", known, 121, decile, median, 30, "")
        for gauge, mm, decile, known, median in rows
    ]
    names = [
        *(
            "gauge",
            "planted_date",
            "measure",
            "window_start",
            "window_end",
            "value",
            "unit",
            "days_with_data",
        ),
        *("days_in_window", "decile", "median", "years_of_record", "note"),
    ]
    return pd.DataFrame(held, columns=names).reindex(columns=list(COLUMNS))


def said(analysis: Analysis) -> list[Sentence]:
    return [
        one
        for block in season(analysis).blocks
        for text in (getattr(block, "text", ()), getattr(block, "finding", ()))
        for one in sentences_of(text)
    ]


NAN = float("nan")


@pytest.mark.parametrize(
    ("known", "least", "words"), [(121, "", "below average"), (117, "at least ", "below average")]
)
def test_a_season_with_days_not_known_brought_at_least_so_much(known: int, least: str, words: str) -> None:
    rain = measures(("north", 58.0, 3.0, known, 88.0), ("south", 51.0, NAN, 121, 108.0))
    first, second, *_ = said(build(rain_measures=rain))
    assert first.template == en.DRY_RAIN[known < 121]
    assert (first.parts["least"], first.parts["words"]) == (least, words)
    assert [value.number for value in (*first.values, *second.values)] == [58.0, 51.0, 108.0]
    # One season is named once; the second gauge has too short a record for a decile.
    assert first.parts["season"] == en.DRY_SEASON.format(years="2022 to 2023")
    assert (second.template, second.parts["season"]) == (en.DRY_RAIN_MEDIAN, en.DRY_BESIDE)


def test_a_gauge_whose_soil_water_is_not_modelled_is_named() -> None:
    rain = measures(("north", 58.0, 3.0, 121, 88.0), ("south", 51.0, NAN, 121, 108.0))
    stress = rain.head(1).assign(measure="stress days in the dry season, loam", value=108.0, unit="days")
    both = said(build(rain_measures=pd.concat([rain, stress])))
    (named,) = [one for one in both if one.template == en.NOT_MODELLED]
    assert named.parts["gauges"].text == "south"
    assert not [one for one in said(build(rain_measures=rain)) if one.template == en.NOT_MODELLED]


def test_days_without_a_reading_are_named_with_the_file_that_lacks_them() -> None:
    rain = measures(("north", NAN, NAN, 105, 88.0))
    given = build(rain_measures=rain)
    days = tuple(day.date() for day in pd.date_range("2023-01-08", "2023-01-23"))
    gap = Gap("north", "shed.csv", Window("dry", *WINDOW), days)
    found = said(replace(given, rain=replace(given.rain, gaps=(gap,))))
    (lacks,) = [one for one in found if one.template == en.DRY_RAIN_GAP]
    assert [value.number for value in lacks.values] == [105, 121]
    (fill,) = [one for one in found if one.template == en.DRY_RAIN_FILL]
    assert fill.parts["when"] == "8 January to 23 January 2023"
    assert fill.parts["file"].text == "shed.csv"
