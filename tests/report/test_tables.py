from __future__ import annotations

import csv
import io
import json
from dataclasses import replace

import pandas as pd

from survivor.analysis import Analysis
from survivor.files.writing import csv_text
from survivor.report.tables import findings_json, tables_of
from tests.report.making import SITES, build


def _rows(table: pd.DataFrame) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(csv_text(table))))


def test_tables_hold_the_numbers_not_rounded(analysis: Analysis) -> None:
    tables = tables_of(analysis)
    read = pd.read_csv(io.StringIO(csv_text(tables["contrasts"])))
    assert list(read["estimate"][:2]) == [15.2, 8.4]
    assert pd.isna(read["estimate"][2])
    assert [row["site"] for row in _rows(tables["sites"])] == list(SITES)


def test_a_cell_that_a_spreadsheet_would_reckon_stays_text() -> None:
    problems = build().records.problems.assign(value=["=1+1", "-9999", "@sum"])
    records = replace(build().records, problems=problems)
    shown = _rows(tables_of(build(records=records))["problems"])
    assert [row["value"] for row in shown] == [
        "'=1+1",
        "-9999",
        "not shown",
    ]


def test_landholders_are_left_out_unless_the_study_file_allows_them(analysis: Analysis) -> None:
    assert "A. Person" not in set(tables_of(analysis)["problems"]["value"])
    privacy = analysis.settings.privacy.model_copy(update={"show_landholders": True})
    allowed = build(settings=analysis.settings.model_copy(update={"privacy": privacy}))
    assert "A. Person" in set(tables_of(allowed)["problems"]["value"])


def test_a_column_of_coordinates_is_left_out() -> None:
    sites = build().described.sites.assign(latitude=-36.0, longitude=145.0)
    assert not {"latitude", "longitude"} & set(tables_of(build(sites=sites))["sites"].columns)


def test_empty_tables_are_not_written() -> None:
    assert "rain" not in tables_of(build(rain_measures=pd.DataFrame()))


def test_findings_are_json_without_a_number_that_json_does_not_know(analysis: Analysis) -> None:
    text = findings_json(build(milestone_day=float("nan")))
    read = json.loads(text, parse_constant=lambda name: (_ for _ in ()).throw(AssertionError(name)))
    assert read["at_day"] is None
    assert read["findings"][0]["grade"] == "moderate"
    assert read["findings"][0]["methods"] == ["rip and spot spray", "spot spray, hand-dug"]
    assert read["findings"][1]["verdict"] == "unclear"
    assert read["provenance"]["sha256 of visits.csv"] == "ab" * 32
    assert findings_json(analysis) == findings_json(analysis)
