"""The demo cohorts: written the same every time, true to their parameters, readable by the study file."""

from __future__ import annotations

import io
import json
import re
import zipfile
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from survivor.demo import write_demo
from survivor.demo.counts import METHODS, SPELLINGS, VISITS
from survivor.demo.tagged import COHORT, SITES
from survivor.errors import DemoError
from survivor.season.stress import stress_days
from survivor.settings import read_settings
from survivor.simulate.cohort import true_effects
from survivor.study import load

COMMITTED = Path(__file__).parents[2] / "datasets"


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    write_demo(folder)
    return folder


@pytest.fixture(scope="module")
def plots(demo: Path) -> pd.DataFrame:
    return pd.read_csv(demo / "tagged" / "plots.csv")


@pytest.fixture(scope="module")
def visits(demo: Path) -> pd.DataFrame:
    return pd.read_csv(demo / "tagged" / "visits.csv", dtype=str, keep_default_na=False)


@pytest.fixture(scope="module")
def counts(demo: Path) -> pd.DataFrame:
    """Plot rows of the workbook, headers joined as 'upper / lower'."""
    sheet = pd.read_excel(demo / "counts" / "plot counts.xlsx", header=None, engine="calamine")
    top = sheet.iloc[0].ffill()
    headers = [
        upper if pd.isna(lower) else f"{upper} / {lower}"
        for upper, lower in zip(top, sheet.iloc[1], strict=True)
    ]
    body = sheet.iloc[2:].set_axis(headers, axis=1)
    return body[body["Plot / No."].notna()]


@pytest.mark.slow  # the committed files, written earlier, are held to the same bytes below
def test_writes_the_same_bytes_again_lists_every_file_and_writes_nothing_else(
    demo: Path, tmp_path: Path
) -> None:
    home = tmp_path / "deep" / "down"
    written = write_demo(home)
    assert sorted(written) == sorted(path for path in home.rglob("*") if path.is_file())
    for path in written:
        name = path.relative_to(home)
        assert path.read_bytes() == (demo / name).read_bytes(), name


@pytest.mark.slow
@pytest.mark.skipif(not COMMITTED.is_dir(), reason="an installed package has no datasets folder")
def test_committed_files_are_what_is_written_now(demo: Path) -> None:
    fresh = {path.relative_to(demo) for path in demo.rglob("*") if path.is_file()}
    kept = {path.relative_to(COMMITTED) for path in COMMITTED.rglob("*") if path.is_file()}
    assert fresh == kept
    for name in sorted(fresh):
        assert (COMMITTED / name).read_bytes() == (demo / name).read_bytes(), name


def test_small_enough_to_keep_beside_the_code(demo: Path) -> None:
    assert sum(path.stat().st_size for path in demo.rglob("*")) < 3_000_000


@pytest.mark.parametrize("cohort", ["tagged", "counts"])
def test_says_that_it_is_invented(demo: Path, cohort: str) -> None:
    assert "invented" in (demo / cohort / "DATA-DICTIONARY.md").read_text(encoding="utf-8")
    assert "invented places" in read_settings(demo / cohort).study.note
    assert "invented" in json.loads((demo / cohort / "truth.json").read_text(encoding="utf-8"))["what"]


@pytest.mark.parametrize("cohort", ["tagged", "counts"])
def test_study_file_names_files_and_columns_that_are_there(demo: Path, cohort: str) -> None:
    settings = read_settings(demo / cohort)
    for gauge in settings.gauges:
        header = (demo / cohort / gauge.file).read_text(encoding="utf-8").splitlines()[0].split(",")
        assert set(gauge.columns.values()) == set(header)
    for weather in settings.weather:
        header = (demo / cohort / weather.file).read_text(encoding="utf-8").splitlines()[0].split(",")
        assert set(weather.columns.values()) == set(header)
    sheets = [*settings.records.sheets, *([settings.records.plots] if settings.records.plots else [])]
    for sheet in sheets:
        if sheet.file.endswith(".csv"):
            header = (demo / cohort / sheet.file).read_text(encoding="utf-8").splitlines()[0].split(",")
            assert set(sheet.columns.values()) == set(header)


def test_dictionaries_name_every_column(demo: Path) -> None:
    text = (demo / "tagged" / "DATA-DICTIONARY.md").read_text(encoding="utf-8")
    for name in ("plots.csv", "visits.csv", "temperature_north.csv"):
        for header in (demo / "tagged" / name).read_text(encoding="utf-8").splitlines()[0].split(","):
            assert header in text


def test_tagged_design(plots: pd.DataFrame, demo: Path) -> None:
    settings = read_settings(demo / "tagged")
    assert len(plots) == 96
    assert plots["Seedlings"].sum() == 1920
    assert tuple(plots["Site"].unique()) == SITES
    blocks = plots.groupby(["Site", "Block"])
    assert (blocks["Preparation"].nunique() == 6).all()
    assert (blocks["Plot"].nunique() == 6).all()
    assert (
        set(plots["Preparation"]) == {method.name for method in settings.methods} == set(COHORT.method_names)
    )
    assert settings.design.usual_practice == COHORT.method_names[0]
    assert plots["Weed-free radius (m)"].between(0.25, 0.75).all()
    assert (plots.groupby("Preparation")["Weed-free radius (m)"].std() > 0.05).all()
    assert set(pd.to_datetime(plots["Planted on"]).dt.month) == {6, 8}


def test_plots_are_not_numbered_by_method(plots: pd.DataFrame) -> None:
    assert (plots.groupby("Plot")["Preparation"].nunique() > 2).all()


def test_tagged_records_are_untidy_in_known_ways(visits: pd.DataFrame, demo: Path) -> None:
    states = read_settings(demo / "tagged").records.sheets[0].states
    assert set(visits["State"]) - {""} == set(states)
    word = visits["State"].map(states)
    first = visits[visits["Cohort"] == "planting"]
    assert first["Tag"].nunique() == 1920
    assert set(first["Tag"].str.len()) == {4}
    assert not visits.duplicated(["Tag", "Visit"]).any()
    infill = visits[visits["Cohort"] == "infill"]
    assert not set(infill["Tag"]) & set(first["Tag"])
    assert set(infill["Visit"]) == {"5", "6"}
    assert (pd.to_datetime(infill["Planted on"], dayfirst=True).dt.year == 2023).all()
    share = word.value_counts(normalize=True)
    assert 0.01 < share["not found"] < 0.04
    assert 0.02 < share["missing"] < 0.08
    gone = visits.assign(gone=word.isin(["dead", "missing"]), alive=word == "alive")
    ordered = gone.sort_values(["Tag", "Visit"])
    before = ordered.groupby("Tag")["gone"].shift(fill_value=False)
    assert 5 < (before & ordered["alive"]).sum() < 80  # reshoots


def test_no_plant_is_measured_unless_alive(visits: pd.DataFrame) -> None:
    living = visits["State"].isin(["A", "a", "alive"])
    assert (visits.loc[~living, "Height (cm)"] == "").all()
    assert (visits.loc[living, "Likely cause"] == "").all()


def test_tagged_visits_differ_by_site_and_come_in_order(visits: pd.DataFrame) -> None:
    dates = visits.assign(date=pd.to_datetime(visits["Date"], dayfirst=True))
    days = dates.groupby(["Site", "Block", "Visit"])["date"].agg(["nunique", "first"])
    assert (days["nunique"] == 1).all()
    table = days["first"].unstack("Visit")
    assert (table.diff(axis=1).iloc[:, 1:] > pd.Timedelta(0)).to_numpy().all()
    assert table["3"].nunique() > 5


def test_tagged_survival_is_near_the_truth(visits: pd.DataFrame, plots: pd.DataFrame, demo: Path) -> None:
    truth = json.loads((demo / "tagged" / "truth.json").read_text(encoding="utf-8"))
    methods = pd.DataFrame(truth["methods"])
    at_year = methods[methods["at_day"] == 365].set_index("method")["survival"]
    fourth = visits[(visits["Visit"] == "4") & (visits["Cohort"] == "planting")]
    tags = visits[visits["Cohort"] == "planting"].drop_duplicates("Tag")[["Tag", "Site", "Block", "Plot"]]
    told = tags.merge(plots[["Site", "Block", "Plot", "Preparation"]]).merge(
        fourth[["Tag", "State"]], how="left"
    )
    unknown = told["State"].isin(["", "NF"]) | (
        told["State"].isna() & ~told["Tag"].isin(visits.loc[visits["State"].isin(["D", "x", "M"]), "Tag"])
    )
    told = told[~unknown].assign(alive=told["State"].isin(["A", "a", "alive"]))
    by_plot = told.groupby(["Preparation", "Site", "Block"])["alive"].mean()
    mean, error = by_plot.groupby("Preparation").mean(), by_plot.groupby("Preparation").std(ddof=1) / 4
    assert ((100 * mean - at_year).abs() < 100 * 3 * error).all()


def test_truth_of_tagged_is_that_of_its_parameters(demo: Path) -> None:
    told = json.loads((demo / "tagged" / "truth.json").read_text(encoding="utf-8"))
    table = true_effects(COHORT, (280.0, 365.0, 730.0)).table
    pd.testing.assert_frame_equal(pd.DataFrame(told["methods"]), table.round(4))
    assert table.loc[table["at_day"] == 365, "survival"].between(50, 85).all()
    assert [row["method"] for row in told["methods"][:6]] == COHORT.method_names


def test_counts_design(counts: pd.DataFrame, demo: Path) -> None:
    settings = read_settings(demo / "counts")
    assert len(counts) == 60
    assert counts["Plot / Site"].nunique() == 14
    known = {spelling: name for name, spellings in SPELLINGS.items() for spelling in spellings}
    methods = counts["Planting / Preparation"].map(known)
    assert methods.notna().all()
    assert set(counts["Planting / Preparation"]) == set(known)
    listed = {word for method in settings.methods for word in (method.name, *method.also)}
    assert listed == set(known)
    ground = counts["Plot / Ground"]
    assert (ground[methods == "ripped"] == "hard").mean() > 0.8
    mounded = set(counts.loc[methods == "ripped and mounded", "Plot / Site"])
    assert set(methods[counts["Plot / Site"].isin(mounded)]) == {"ripped and mounded"}


def test_counts_headers_are_those_of_the_study_file(counts: pd.DataFrame, demo: Path) -> None:
    settings = read_settings(demo / "counts")
    asked = {
        *settings.records.sheets[0].columns.values(),
        *(visit.state for visit in settings.records.visits),
    }
    assert asked == set(counts.columns)
    assert {visit.name: visit.date for visit in settings.records.visits} == {
        name: day.isoformat() for name, day in VISITS.items()
    }


def test_counts_are_untidy_in_known_ways(counts: pd.DataFrame, demo: Path) -> None:
    alive = counts[[f"Alive / {name}" for name in VISITS]].astype(float)
    assert (alive.to_numpy() <= counts["Planting / Number planted"].astype(float).to_numpy()[:, None])[
        alive.notna().to_numpy()
    ].all()
    rises = (alive.ffill(axis=1).diff(axis=1) > 0).sum().sum()
    assert rises == 1
    assert alive.isna().sum().sum() > 30
    styles = {
        "date" if not isinstance(value, str) else re.sub(r"\d+", "9", value)
        for value in counts["Planting / Date"]
    }
    assert styles == {"date", "9/9/9", "9-9-9"}
    sheet = pd.read_excel(demo / "counts" / "plot counts.xlsx", header=None, engine="calamine")
    assert sheet.iloc[-1, 0] == "Total"


def test_counts_mislead_where_ground_decided_the_choice(demo: Path) -> None:
    told = json.loads((demo / "counts" / "truth.json").read_text(encoding="utf-8"))
    table = pd.DataFrame(told["methods"])
    year = table[table["at_day"] == 365].set_index("method")
    assert dict(zip(year.index, year["log_hazard_ratio"], strict=True)) == METHODS
    ripped = year.loc["ripped"]
    naive = ripped["survival_where_chosen"] - year.loc["spray and hand-dug hole", "survival_where_chosen"]
    assert ripped["difference"] - naive > 5


def test_counts_survival_is_near_the_truth_where_chosen(counts: pd.DataFrame, demo: Path) -> None:
    table = pd.DataFrame(json.loads((demo / "counts" / "truth.json").read_text(encoding="utf-8"))["methods"])
    truth = table[table["at_day"] == 365].set_index("method")["survival_where_chosen"]
    known = {spelling: name for name, spellings in SPELLINGS.items() for spelling in spellings}
    year = np.where(
        pd.to_datetime(counts["Planting / Date"], format="mixed", dayfirst=True).dt.year == 2021, 2022, 2023
    )
    alive = np.where(year == 2022, counts["Alive / Jul 2022"], counts["Alive / Jul 2023"]).astype(float)
    share = pd.DataFrame(
        {
            "method": counts["Planting / Preparation"].map(known).to_numpy(),
            "survival": 100 * alive / counts["Planting / Number planted"].astype(float).to_numpy(),
        }
    ).dropna()
    each = share.groupby("method")["survival"].agg(["mean", "std", "count"])
    assert ((each["mean"] - truth).abs() < 3 * each["std"] / np.sqrt(each["count"])).all()


@pytest.mark.parametrize("file", ["tagged/rain_north.csv", "tagged/rain_south.csv", "counts/rain.csv"])
def test_rain_is_a_day_a_row_with_gaps(demo: Path, file: str) -> None:
    rain = pd.read_csv(demo / file)
    dates = pd.to_datetime(rain[["year", "month", "day"]])
    assert dates.is_monotonic_increasing
    assert dates.is_unique
    assert (dates.diff().dt.days > 1).any()
    accumulated = rain.index[rain["days covered"] > 1]
    assert len(accumulated) > 0
    for row in accumulated:
        back = int(rain.loc[row, "days covered"]) - 1
        assert rain.loc[row - back : row - 1, "rain (mm)"].isna().all()
    fallen = rain["rain (mm)"].dropna()
    yearly = fallen[fallen >= 0].sum() / (len(rain) / 365.25)
    assert 350 < yearly < 800
    assert set(rain["quality"]) == {"checked", "provisional"}


def test_temperature_is_a_day_a_row_with_slips(demo: Path) -> None:
    file = demo / "tagged" / "temperature_north.csv"
    assert file.stat().st_size < 50_000
    days = pd.read_csv(file, parse_dates=["date"])
    assert days["date"].is_monotonic_increasing
    assert days["date"].is_unique
    assert (days["date"].diff().dt.days > 1).sum() == 2
    assert days["max temp (C)"].isna().sum() == 2
    crossed = days["min temp (C)"] > days["max temp (C)"]
    assert crossed.sum() == 1
    high = days.loc[~crossed].groupby(days["date"].dt.month)["max temp (C)"].mean()
    assert high.idxmax() in (1, 2)
    assert high.idxmin() in (7, 8)
    assert high.between(10, 32).all()


@pytest.mark.slow
def test_soil_water_is_reckoned_for_the_sites_with_temperature(demo: Path) -> None:
    study = load(demo / "tagged")
    water = study.soil_water
    assert water is not None
    table = water.table
    assert (table["balance"] >= 0).sum() == 48
    assert set(table.loc[table["balance"] < 0, "gauge"]) == {"south gauge"}
    assert table.loc[table["balance"] >= 0, "weed_share"].between(0, 0.85).all()
    days = stress_days(study.intervals, water)
    assert days.index.equals(study.intervals.index)
    assert (days["stress_days_least"] <= days["stress_days_most"]).sum() == days[
        "stress_days_most"
    ].notna().sum()
    assert days["stress_share"].dropna().between(0, 1).all()
    north = study.intervals["site"].isin(["Tarn Hollow", "Quill Creek", "Dunnick Bend", "Pewmoor Gully"])
    assert days.loc[~north].isna().all(axis=None)
    assert days.loc[north, "stress_days_least"].notna().all()
    assert "temperature_north.csv" in set(study.accounts["file"])
    assert "weather-crossed" in set(study.problems["code"])


def test_one_gauge_holds_thirty_years(demo: Path) -> None:
    years = pd.read_csv(demo / "tagged" / "rain_north.csv")["year"]
    assert years.nunique() >= 30


def test_workbook_depends_on_no_compression_library(demo: Path) -> None:
    content = (demo / "counts" / "plot counts.xlsx").read_bytes()
    with zipfile.ZipFile(io.BytesIO(content)) as book:
        assert {item.compress_type for item in book.infolist()} == {zipfile.ZIP_STORED}
        assert {item.date_time for item in book.infolist()} == {(1980, 1, 1, 0, 0, 0)}


@pytest.mark.slow
def test_an_edited_file_is_never_overwritten_without_being_asked(tmp_path: Path) -> None:
    write_demo(tmp_path)
    edited = tmp_path / "tagged" / "study.toml"
    edited.write_text("mine", encoding="utf-8")
    (tmp_path / "counts" / "rain.csv").unlink()
    with pytest.raises(DemoError, match=re.escape(str(edited))) as caught:
        write_demo(tmp_path)
    assert "--overwrite" in caught.value.mend
    assert caught.value.exit_status == 2
    assert edited.read_text(encoding="utf-8") == "mine"
    assert not (tmp_path / "counts" / "rain.csv").exists()
    write_demo(tmp_path, overwrite=True)
    assert edited.read_text(encoding="utf-8") != "mine"
    assert (tmp_path / "counts" / "rain.csv").exists()
