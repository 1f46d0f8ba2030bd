"""The weed-free patch as visits found it, beside the radius as prepared."""

from __future__ import annotations

from pathlib import Path

import pytest

from survivor.analysis.patch import patch_by_visit
from survivor.study import load

STUDY = """
[study]
name = "patch"
as_of = "2023-12-31"
[records]
kind = "counts"
{plots}
[[records.sheets]]
file = "visits.csv"
[[methods]]
name = "spray"
[[methods]]
name = "scalp"
"""
PLOTS = '[records.plots]\nfile = "plots.csv"\n'
VISITS = """site,plot,method,planted date,date,alive,weed free diameter (cm)
Rise,1,spray,2022-06-01,2022-08-01,20,100
Rise,1,spray,2022-06-01,2023-06-01,15,60
Rise,2,scalp,2022-06-01,2022-08-01,20,90
Rise,2,scalp,2022-06-01,2023-06-01,12,
"""
PREPARED = """site,plot,method,planted date,planted,weed free radius (m)
Rise,1,spray,2022-06-01,20,0.6
Rise,2,scalp,2022-06-01,20,0.5
"""


def _study(folder: Path, *, plots: bool):
    (folder / "study.toml").write_text(STUDY.format(plots=PLOTS if plots else ""), encoding="utf-8")
    (folder / "visits.csv").write_text(VISITS, encoding="utf-8")
    (folder / "plots.csv").write_text(PREPARED, encoding="utf-8")
    return load(folder)


@pytest.mark.parametrize("plots", [True, False])
def test_a_diameter_of_a_visit_is_the_radius_then(tmp_path: Path, plots: bool) -> None:
    study = _study(tmp_path, plots=plots)
    table = patch_by_visit(study.records.visits)
    spray = table[table["method"] == "spray"]
    assert list(spray["mean"]) == [0.5, 0.3]
    assert set(table["measure"]) == {"weed-free radius"}
    assert len(table) == 3  # a blank is no radius of nought
    assert "patch_radius_m" not in study.intervals


def test_the_radius_as_prepared_is_that_of_the_plot_sheet(tmp_path: Path) -> None:
    study = _study(tmp_path, plots=True)
    radius = study.intervals.drop_duplicates("plot").set_index("plot")["weed_free_radius_m"]
    assert radius.to_dict() == {"1": 0.6, "2": 0.5}
    assert "fact-differs" not in set(study.problems["code"])


def test_without_a_plot_sheet_a_radius_that_changed_is_not_taken_as_prepared(tmp_path: Path) -> None:
    study = _study(tmp_path, plots=False)
    assert study.intervals.loc[study.intervals["plot"] == "1", "weed_free_radius_m"].isna().all()
    assert "fact-differs" in set(study.problems["code"])
