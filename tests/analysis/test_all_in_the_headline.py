"""Every preparation of the records is in the headline, also one with too few plots or never seen again."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from typer.testing import CliRunner

from survivor.cli import app
from survivor.report.arrangement import REPORT
from survivor.report.summary import summary_of
from tests.analysis.seasons import write
from tests.once import analysed


def visits(site: int, plot: int) -> tuple[int, ...]:
    return (60, 200, 365)


def season(folder: Path, kept: dict[str, int]) -> Path:
    """Rename plots of the other practice: so many of the first go to each name, the rest are left out."""
    write(folder, visits, sites=4)
    path = folder / "visits.csv"
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    plots = list(dict.fromkeys((r["site"], r["plot"]) for r in rows if r["method"] == "other"))
    names = [name for name, number in kept.items() for _ in range(number)]
    called = dict(zip(plots, names, strict=False))
    told = [
        {**row, "method": called.get((row["site"], row["plot"]), row["method"])}
        for row in rows
        if row["method"] == "usual" or (row["site"], row["plot"]) in called
    ]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0].keys())
        writer.writeheader()
        writer.writerows(told)
    return folder


@pytest.mark.slow
def test_a_preparation_with_two_plots_is_named_as_not_compared(tmp_path: Path) -> None:
    """Fewer than three plots in an arm are not compared (the grading rule)."""
    headline = analysed(season(tmp_path, {"rip": 6, "scalp": 2})).findings
    answer = next(finding.answer for finding in headline if finding.key == "headline")
    assert "rip" in answer
    assert (
        "“scalp” could not be compared: scalp has 2 plots at the sites that hold both, and at least 3 are "
        "needed." in answer
    )


@pytest.mark.slow
def test_a_headline_that_cannot_be_answered_is_printed_with_its_reason(tmp_path: Path) -> None:
    folder = season(tmp_path / "study", {"scalp": 2})
    analysis = analysed(folder)
    headline = analysis.findings[0]
    assert (headline.key, headline.grade) == ("headline", "not answered")
    assert "scalp has 2 plots at the sites that hold both, and at least 3 are needed" in headline.answer
    words = " ".join(summary_of(analysis, REPORT.of(analysis)).split())
    said = "No preparation could be compared with “usual”. “scalp” could not be compared: scalp has 2 plots"
    assert headline.question in words
    assert said in words
    run = CliRunner().invoke(app, ["report", str(folder), "--out", str(tmp_path / "out")])
    assert run.exit_code == 0, run.output
    assert said in run.output
