"""Soil water of plots, and stress days: over the season, and between visits."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pydantic import ValidationError

import survivor
from survivor.errors import SeasonError
from survivor.season.balance import water_balance
from survivor.season.gauge import read_gauges
from survivor.season.moisture import soil_water
from survivor.season.rain import COLUMNS
from survivor.season.soil import Patch
from survivor.season.stress import longest_spell_without, stress_days, stress_measures
from survivor.settings import DrySeason, Settings

DRY = DrySeason(start="12-01", end="03-31")
PLAIN = Patch(0.30, 0.10, depth_m=0.5, depletion_fraction=0.5, patch_coefficient=1.0)
FIRST = pd.Timestamp("2022-06-01")


def settings_of(**changes) -> Settings:
    content = {
        "study": {"name": "Invented season"},
        "records": {"kind": "tagged", "sheets": [{"file": "visits.csv"}]},
        "gauges": [
            {"name": "north", "file": "rain.csv", "sites": ["Tarn Hollow"]},
            {"name": "south", "file": "rain.csv", "sites": ["Ombry Rise"]},
        ],
        "weather": [{"gauge": "north", "file": "eto.csv"}],
        "soil": {"root_depth_m": 0.5, "root_radius_m": 0.6},
    }
    return Settings.model_validate_json(json.dumps(content | changes))


def write(folder: Path, rain, eto) -> None:
    days = pd.date_range(FIRST, periods=len(rain), freq="D").strftime("%Y-%m-%d")
    for name, word, values in (("rain.csv", "rain", rain), ("eto.csv", "eto", eto)):
        lines = [
            f"date,{word}",
            *(f"{d},{'' if np.isnan(v) else v}" for d, v in zip(days, values, strict=True)),
        ]
        (folder / name).write_text("\n".join(lines) + "\n", encoding="utf-8")


def plots(**changes) -> pd.DataFrame:
    frame = pd.DataFrame(
        {
            "site": ["Tarn Hollow"] * 4 + ["Ombry Rise"],
            "block": "",
            "plot": ["P1", "P2", "P3", "P4", "P1"],
            "planted_date": FIRST + pd.Timedelta(days=14),
            "texture": ["Loam", "loam", "gravel", "", "loam"],
            "weed_free_radius_m": [0.3, 0.6, 0.4, 0.4, 0.5],
        }
    )
    return frame.assign(**changes)


@pytest.fixture
def season(tmp_path):
    """Rain that fills the soil, then none: 300 days from June on."""
    rain = np.zeros(300)
    rain[:3] = 60
    write(tmp_path, rain, np.full(300, 4.0))
    settings = settings_of()
    return settings, read_gauges(tmp_path, settings.gauges, settings.weather)


def test_without_weather_there_is_no_soil_water(season):
    _, gauges = season
    assert soil_water(settings_of(weather=[]), gauges, plots()) is None


def test_each_plot_has_its_balance_or_its_reason(season):
    water = soil_water(*season, plots())
    table = water.table.set_index(["site", "plot"])
    assert table["balance"].tolist() == [0, 1, -1, -1, -1]
    reasons = table["reason"].tolist()
    assert reasons[:2] == ["", ""]
    assert "'gravel' is no texture class" in reasons[2]
    assert "no texture of the soil is recorded" in reasons[3]
    assert "no weather file goes with south" in reasons[4]
    assert len(water.cannot) == 3
    first = table.iloc[0]
    assert first["weed_share"] == pytest.approx(0.75)
    assert first["coefficient"] == pytest.approx(0.25 * 0.4 + 0.75 * 1.0)
    assert first["total_mm"] == pytest.approx(1000 * (0.28 - 0.14) * 0.5)
    # 70 mm on the circle of the root zone.
    assert first["total_litres"] == pytest.approx(70 * np.pi * 0.36)
    assert water.of("Tarn Hollow", "", "P2") is water.balances[1]
    assert water.of("Tarn Hollow", "", "P4") is None
    assert water.of("Nowhere", "", "P1") is None


def test_plots_alike_share_one_balance(season):
    alike = plots(texture="loam", weed_free_radius_m=0.3)
    water = soil_water(*season, pd.concat([alike, alike]))  # a row for each species
    assert len(water.balances) == 1
    assert len(water.table) == 5


def test_a_texture_for_plots_without_one_and_words_of_the_study(tmp_path, season):
    _, gauges = season
    soil = {
        "root_depth_m": 0.4,
        "texture": "clay",
        "textures": {"gravel": {"field_capacity": 0.12, "wilting_point": 0.04}},
    }
    water = soil_water(settings_of(soil=soil), gauges, plots())
    assert water.table["total_mm"].round(1).tolist()[:4] == [56.0, 56.0, 32.0, 48.0]


def test_a_radius_that_is_needed_and_not_recorded_is_a_reason(season):
    water = soil_water(*season, plots(weed_free_radius_m=np.nan))
    assert "the radius of the weed-free patch is not known" in water.table["reason"].iloc[0]
    _, gauges = season
    as_wide = soil_water(settings_of(soil={}), gauges, plots().drop(columns="weed_free_radius_m"))
    assert as_wide.table["balance"].tolist()[:2] == [0, 0]
    assert np.isnan(as_wide.table["total_litres"].iloc[0])


def test_what_cannot_be_read_or_reckoned_is_said(tmp_path, season):
    settings, _ = season
    (tmp_path / "eto.csv").unlink()
    lost = soil_water(settings, read_gauges(tmp_path, settings.gauges, settings.weather), plots())
    assert any("eto.csv, could not be read" in said for said in lost.cannot)
    assert lost.balances == ()
    (tmp_path / "eto.csv").write_text("date,eto\n2029-01-01,3\n", encoding="utf-8")
    apart = soil_water(settings, read_gauges(tmp_path, settings.gauges, settings.weather), plots())
    assert any("no day in common" in said for said in apart.cannot)


def test_the_patch_of_middling_radius_stands_for_its_texture(season):
    water = soil_water(*season, plots(texture="loam"))
    (typical,) = water.typical
    assert typical.gauge == "north"
    assert typical.soil == "loam, patch of 0.40 m radius"
    assert typical.n_plots == 4


def test_weather_names_a_gauge_of_the_study():
    with pytest.raises(ValidationError, match="none of the \\[\\[gauges\\]\\] of this file"):
        settings_of(weather=[{"gauge": "west", "file": "eto.csv"}])
    with pytest.raises(ValidationError, match="has another \\[\\[weather\\]\\] file beside it"):
        settings_of(weather=[{"gauge": "north", "file": "a.csv"}, {"gauge": "north", "file": "b.csv"}])
    with pytest.raises(ValidationError, match="wilting_point has to be below the field_capacity"):
        settings_of(soil={"textures": {"peat": {"field_capacity": 0.2, "wilting_point": 0.3}}})


def balance(stressed_from: int, length: int = 20, lost: int | None = None):
    """No rain, 5 mm asked for each day; short of water from that day on (0: the first)."""
    eto = np.full(length, 5.0)
    rain = np.zeros(length)
    if lost is not None:
        rain[lost] = np.nan
    start = 50.0 - 5.0 * (stressed_from - 1)
    dates = pd.date_range("2022-12-01", periods=length, freq="D")
    return water_balance(pd.DataFrame({"date": dates, "rain_mm": rain, "eto_mm": eto}), PLAIN, start_mm=start)


def visits(*pairs: tuple[str, str]) -> pd.DataFrame:
    return pd.DataFrame(pairs, columns=["start_date", "stop_date"], index=range(7, 7 + len(pairs))).apply(
        pd.to_datetime
    )


def test_stress_days_lie_after_the_first_visit_and_on_or_before_the_second():
    # Short of water from 5 December on.
    rows = visits(
        ("2022-12-01", "2022-12-04"),
        ("2022-12-04", "2022-12-10"),
        ("2022-12-05", "2022-12-10"),
        ("2022-12-10", "2022-12-20"),
    )
    found = stress_days(rows, balance(4))
    assert found.index.tolist() == rows.index.tolist()
    assert found["stress_days"].tolist() == [0, 6, 5, 10]
    np.testing.assert_allclose(found["stress_share"], [0, 1, 1, 1])


def test_days_in_doubt_give_limits_and_no_number():
    # Not read on the third day: full or drier still; in doubt from the fifth, when the driest is short.
    found = stress_days(
        visits(("2022-11-30", "2022-12-03"), ("2022-12-03", "2022-12-20")), balance(4, lost=2)
    )
    assert found["stress_days"].iloc[0] == 0
    assert np.isnan(found["stress_days"].iloc[1])
    assert np.isnan(found["stress_share"].iloc[1])
    low, high = found.loc[8, ["stress_days_least", "stress_days_most"]]
    assert 0 < low < high == 16
    assert found.loc[8, ["stress_share_least", "stress_share_most"]].tolist() == [low / 17, high / 17]


def test_days_outside_the_record_are_in_doubt():
    found = stress_days(visits(("2022-11-20", "2022-12-10"), ("2022-12-10", "2023-01-10")), balance(4))
    assert found["stress_days"].isna().all()
    assert found["stress_days_least"].tolist() == [6, 10]
    assert found["stress_days_most"].tolist() == [6 + 10, 10 + 21]
    dateless = visits(("2022-12-01", "2022-12-10")).assign(stop_date=pd.NaT)
    assert stress_days(dateless, balance(4)).isna().all(axis=None)


def test_stress_days_of_each_plot(season):
    water = soil_water(*season, plots())
    rows = pd.DataFrame(
        {
            "site": ["Tarn Hollow", "Tarn Hollow", "Tarn Hollow", "Ombry Rise"],
            "block": "",
            "plot": ["P1", "P2", "P4", "P1"],
            "start_date": pd.Timestamp("2022-06-20"),
            "stop_date": pd.Timestamp("2022-09-20"),
        }
    )
    found = survivor.stress_days(rows, water)
    # 35 of 70 mm are ready: 0.85 x 4 mm a day empties them in 11 days, 0.4 x 4 in 22, from 4 June on.
    table = water.of("Tarn Hollow", "", "P1").table
    window = table[(table["date"] > "2022-06-20") & (table["date"] <= "2022-09-20")]
    assert found["stress_days"].iloc[0] == window["stressed"].sum()
    assert found["stress_days"].iloc[0] > found["stress_days"].iloc[1] > 0
    assert found.iloc[2:].isna().all(axis=None)
    assert found["stress_share"].iloc[0] == pytest.approx(found["stress_days"].iloc[0] / 92)


def test_stress_days_need_dates_and_plots(season):
    with pytest.raises(SeasonError, match="no column stop_date"):
        stress_days(visits(("2022-12-01", "2022-12-04")).drop(columns="stop_date"), balance(4))
    with pytest.raises(SeasonError, match="no column site, block, plot"):
        stress_days(visits(("2022-12-01", "2022-12-04")), soil_water(*season, plots()))


def measured(record, **options) -> pd.DataFrame:
    rows = stress_measures(record, "north", "loam", pd.Timestamp("2022-12-01"), DRY, **options)
    assert tuple(rows.columns) == COLUMNS
    return rows.set_index(rows["measure"].str.removesuffix(", loam"))


def test_measures_of_a_season_that_is_known():
    rows = measured(balance(10, length=121))
    assert rows.loc["stress days in the dry season", "value"] == 111
    assert rows.loc["longest run of stress days in the dry season", "value"] == 111
    first = rows.loc["planting to the first stress day"]
    assert first["value"] == 10
    assert first["note"] == (
        "on 11 December 2022; longest spell known to be without: 1 December 2022 to 10 December 2022"
    )


def test_measures_say_what_is_in_doubt():
    rows = measured(balance(10, length=121, lost=20))
    days = rows.loc["stress days in the dry season"]
    assert days["value"] == days["days_with_data"] - 10
    assert "at least; at most 111: not known on" in days["note"]


def test_too_much_in_doubt_gives_no_value():
    rows = measured(balance(10, length=60))
    assert np.isnan(rows.loc["stress days in the dry season", "value"])
    assert "not known well enough on 61 of 121 days" in rows.loc["stress days in the dry season", "note"]


def test_no_stress_is_said():
    rows = measured(balance(10, length=8))
    first = rows.loc["planting to the first stress day"]
    assert np.isnan(first["value"])
    assert first["note"].startswith("none to 8 December 2022")
    assert longest_spell_without(balance(0).table) is None


def test_nothing_after_planting():
    rows = measured(balance(4), until=pd.Timestamp("2022-11-01"))
    assert "there is no soil water after planting" in rows["note"].iloc[0]
