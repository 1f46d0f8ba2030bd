"""The table of visits counts the plots that somebody saw, not the rows of the sheet."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import pandas as pd

from survivor.report.planting import visits_table
from survivor.study import load

DATASETS = Path(__file__).parents[2] / "datasets"


def test_plots_without_a_state_at_a_visit_are_not_counted_as_seen() -> None:
    made = visits_table(SimpleNamespace(records=load(DATASETS / "tagged").records))
    sheet = pd.read_csv(DATASETS / "tagged" / "visits.csv", dtype=str, keep_default_na=False)
    seen = sheet[sheet["State"] != ""]
    by_hand = seen.drop_duplicates(["Visit", "Site", "Block", "Plot"]).groupby("Visit").size()
    assert [row[2] for row in made.rows] == by_hand.astype(str).to_list()


def test_a_blank_count_is_no_visit() -> None:
    rows = pd.DataFrame(
        {
            "site": "Hill",
            "block": "",
            "plot": ["1", "2", "1", "2"],
            "visit": ["May", "May", "June", "June"],
            "date": pd.to_datetime(["2022-05-03", "2022-05-03", "2022-06-07", "2022-06-07"]),
            "alive": pd.array([9, None, 0, 8], dtype="Int64"),
        }
    )
    made = visits_table(SimpleNamespace(records=SimpleNamespace(visits=rows)))
    assert [(row[0], row[2]) for row in made.rows] == [("May", "1"), ("June", "2")]
    empty = rows.assign(alive=pd.array([None] * 4, dtype="Int64"))
    assert visits_table(SimpleNamespace(records=SimpleNamespace(visits=empty))) is None
