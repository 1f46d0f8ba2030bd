"""Soil water in the section on the season: under the rain, with its limits, and only where asked for."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from survivor.analysis import Analysis
from survivor.document.elements import Figure, Paragraph, Section
from survivor.document.page import picture
from survivor.report.arrangement import ANNEX
from survivor.report.rain import season
from survivor.report.soil_water import soil_water
from survivor.report.tables import tables_of
from survivor.season.balance import water_balance
from survivor.season.moisture import SoilWater, Typical
from survivor.season.soil import Patch, water_held
from tests.document.reading import undrawn
from tests.report.making import CAUSAL, build

PLANTED = pd.Timestamp("2023-06-15")


def water(lost: bool = True, until: str = "2024-07-31") -> SoilWater:
    dates = pd.date_range("2023-01-01", until, freq="D")
    season = np.cos(2 * np.pi * (dates.dayofyear.to_numpy() - 15) / 365)
    falls = np.random.default_rng(4).gamma(0.3, 5.0 - 3.0 * season, len(dates)).round(1)
    if lost:
        falls[(dates >= "2023-12-28") & (dates < "2024-01-02")] = np.nan
    daily = pd.DataFrame({"date": dates, "rain_mm": falls, "eto_mm": 3.5 + 2.5 * season})
    patch = Patch(*water_held("loam"), depth_m=0.5, radius_m=0.4, root_radius_m=0.6)
    balance = water_balance(daily, patch, start_mm=0.0)
    typical = Typical("north gauge", "loam, patch of 0.40 m radius", balance, PLANTED, 12)
    table = pd.DataFrame({"site": ["Tarn Hollow"], "block": "", "plot": "P1", "balance": 0, "reason": ""})
    return SoilWater(table, (balance,), (typical,), ("north gauge: by Hargreaves.",), ("Not for 3 plots.",))


def figure_of(section: Section) -> Figure:
    return next(block for block in section.blocks if isinstance(block, Figure) and "water" in block.key)


@pytest.fixture(scope="module")
def wet() -> Analysis:
    return build(soil_water=water())


def test_without_weather_nothing_changes():
    assert soil_water(build()) == []
    keys = [block.key for block in season(build()).blocks if isinstance(block, Figure)]
    assert not any("water" in key for key in keys)


def test_it_stands_under_the_rain(wet):
    keys = [block.key for block in season(wet).blocks if isinstance(block, Figure)]
    assert keys.index("water-1") == keys.index("rain-1") + 1


def test_the_finding_gives_limits_where_a_day_was_not_read(wet):
    said = figure_of(season(wet)).finding
    assert re.search(r"on at least \d+ and at most \d+ of 122 days, by this model", said)
    table = water().balances[0].table
    dry = table[table["date"].between("2023-12-01", "2024-03-31")]["stressed"]
    assert f"at least {dry.fillna(False).sum()} and at most {dry.fillna(True).sum()} of" in said
    whole = figure_of(season(build(soil_water=water(lost=False))))
    assert "at least" not in whole.finding
    assert "crosses" not in whole.caption
    assert "doubt" not in whole.caption


def test_the_numbers_stand_beside_the_picture(wet):
    figure = figure_of(season(wet))
    shown = water().balances[0].table
    rows = {row[0]: row for row in figure.table.rows}
    july = shown[shown["date"].dt.to_period("M") == "2023-07"]
    assert rows["1 July 2023"][1] == f"{july['rain_mm'].sum():.0f}"
    assert rows["1 December 2023"][1].startswith("at least ")  # a day of it was not read
    assert rows["15 June 2023"][0] == "15 June 2023"
    stress = sum(int(row[6]) for row in figure.table.rows)
    within = shown["date"].between(PLANTED, build().records.visits["date"].max())
    assert stress == shown.loc[within, "stressed"].fillna(False).sum()


def test_what_was_taken_for_granted_is_said(wet):
    words = " ".join(block.text for block in soil_water(wet) if isinstance(block, Paragraph))
    for part in ("modelled, not measured", "FAO-56", "Saxton and Rawls 2006", "Hargreaves", "3 plots"):
        assert part in words


def test_it_says_nothing_of_causes(wet):
    blocks = soil_water(wet)
    words = " ".join(block.text for block in blocks if isinstance(block, Paragraph))
    pictured = " ".join(f"{b.title} {b.finding} {b.caption}" for b in blocks if isinstance(b, Figure))
    assert CAUSAL.findall(f"{words} {pictured}") == []


def test_the_page_holds_it_with_its_numbers(wet):
    assert "Rain and soil water, north gauge" in undrawn(ANNEX.of(wet))
    assert "short of water below" in picture(figure_of(season(wet)), "wide")


@pytest.mark.parametrize("size", ["wide", "narrow"])
def test_it_is_drawn_for_page_and_telephone(wet, size):
    above, below = figure_of(season(wet)).draw(size=size).axes
    assert above.get_ylabel() == "Rain, mm"
    assert below.get_ylabel() == "Soil water left, mm"
    assert below.get_xlim() == above.get_xlim()


def test_a_record_that_ends_before_planting_has_no_picture():
    blocks = soil_water(build(soil_water=water(until="2023-05-01")))
    assert not any(isinstance(block, Figure) for block in blocks)


def test_tables_hold_the_plots_and_the_days(wet):
    tables = tables_of(wet)
    assert tables["soil_water"]["plot"].tolist() == ["P1"]
    assert {"gauge", "soil", "depletion_mm", "stressed"} <= set(tables["soil_water_days"])
    assert "soil_water" not in tables_of(build())
