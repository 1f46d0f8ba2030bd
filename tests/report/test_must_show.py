"""What is printed is what was found: the committed example reports, every form against every other.

Text, picture, page, document, workbook, summary and findings of one report have to hold the same
numbers at the precision that each prints. ``test_examples.py`` sees to it that the examples are
those of the code.
"""

from __future__ import annotations

import io
import json
import re
import shutil
import subprocess
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from python_calamine import CalamineWorkbook

from survivor.figures.words import difference, limits, money, number, per_100, per_100_limits
from survivor.report.summary import FIRST
from tests.report.reading import Element, read

REPORTS = Path(__file__).parents[2] / "reports"
COHORTS = ("tagged", "counts")
_NUMBER = re.compile(r"\d+(?:,\d{3})*(?:\.\d+)?")

pytestmark = pytest.mark.skipif(
    not (REPORTS / "tagged" / "findings.json").is_file(), reason="no example reports in this copy"
)


@dataclass(frozen=True)
class Forms:
    """One report as its readers have it."""

    page: Element
    document: str  # without any space, and without the foot of each page
    book: dict[str, list[dict[str, Any]]]
    findings: dict[str, Any]
    summary: str


@cache
def forms(cohort: str) -> Forms:
    folder = REPORTS / cohort
    book = CalamineWorkbook.from_filelike(io.BytesIO((folder / "report.xlsx").read_bytes()))
    sheets = {}
    for name in book.sheet_names:
        head, *rows = book.get_sheet_by_name(name).to_python()
        sheets[name] = [dict(zip(map(str, head), row, strict=True)) for row in rows]
    return Forms(
        page=read((folder / "report.html").read_text(encoding="utf-8")),
        document=_document(folder / "report.pdf"),
        book=sheets,
        findings=json.loads((folder / "findings.json").read_text(encoding="utf-8")),
        summary=_squeezed((folder / "summary.txt").read_text(encoding="utf-8")),
    )


def _document(file: Path) -> str:
    if shutil.which("pdftotext") is None:
        return ""
    out = subprocess.run(["pdftotext", "-raw", str(file), "-"], capture_output=True, text=True, check=True)
    pages = [page.strip().splitlines() for page in out.stdout.split("\f") if page.strip()]
    foot = re.compile(rf"\d+ of {len(pages)}")
    assert all(foot.search(page[-1]) for page in pages), "each page ends with its foot"
    return _squeezed(" ".join(line for page in pages for line in page[:-1]))


def _squeezed(text: str) -> str:
    return re.sub(r"\s", "", text)


def rows_of(page: Element, key: str) -> list[dict[str, str]]:
    """Read a table of the page: cells by their headings."""
    table = next(e for e in page.all("table") if e.attributes.get("id") == key)
    head, *rows = [[" ".join(c.text().split()) for c in row.all("th", "td")] for row in table.all("tr")]
    return [dict(zip(head, row, strict=True)) for row in rows]


@pytest.mark.parametrize("cohort", COHORTS)
def test_every_answer_stands_word_for_word_in_every_form(cohort: str) -> None:
    report = forms(cohort)
    page = _squeezed(report.page.text())
    answers = {row["key"]: row["answer"] for row in report.book["findings"]}
    for finding in report.findings["findings"]:
        said = finding["answer"]
        begun = _squeezed(said[:1].upper() + said[1:])
        assert begun in page, finding["key"]
        assert answers[finding["key"]] == said
        if report.document:
            assert begun in report.document, finding["key"]
        if finding["key"] in FIRST:
            assert begun in report.summary


@pytest.mark.parametrize("cohort", COHORTS)
def test_the_numbers_of_a_finding_are_those_of_its_answer(cohort: str) -> None:
    for finding in forms(cohort).findings["findings"]:
        if finding["estimate"] is None or finding["key"] == "radius":
            continue
        told = set(_NUMBER.findall(finding["answer"]))
        unit, middle = finding["unit"], finding["estimate"]
        ends = [finding[name] for name in ("lower", "upper")]
        if "established" in unit:
            printed = {number(value, 2) for value in (middle, *ends)}
        elif finding["methods"] and unit == "per 100 planted":
            written, span = difference(middle, *ends)
            printed = set(_NUMBER.findall(f"{written} {span}"))
        elif unit == "per 100 planted":
            printed = set(_NUMBER.findall(f"{per_100(middle)} {per_100_limits(*ends)}"))
        else:
            printed = set(_NUMBER.findall(f"{number(middle)} {limits(*ends)}"))
        assert printed <= told, (finding["key"], printed - told)
        if "seedlings in" in finding["answer"]:
            counts = {number(finding[name]) for name in ("n_seedlings", "n_plots", "n_sites")}
            assert counts <= told, finding["key"]


@pytest.mark.parametrize("cohort", COHORTS)
def test_findings_are_the_same_in_file_and_workbook(cohort: str) -> None:
    report = forms(cohort)
    rows = {row["key"]: row for row in report.book["findings"]}
    for finding in report.findings["findings"]:
        row = rows[finding["key"]]
        for name in ("estimate", "lower", "upper"):
            value = finding[name]
            assert row[name] == ("" if value is None else pytest.approx(value, rel=1e-12))
        assert (row["grade"], row["unit"]) == (finding["grade"], finding["unit"])


@pytest.mark.parametrize("cohort", COHORTS)
def test_findings_are_rows_of_the_tables(cohort: str) -> None:
    report = forms(cohort)
    compared = {(row["method"], row["against"]): row for row in report.book["contrasts"]}
    found = 0
    for finding in report.findings["findings"]:
        key = finding["key"]
        source = None
        if " against " in key or key == "headline":
            source = compared[tuple(finding["methods"])]
        elif key == "total":
            source = next(row for row in report.book["in_all"] if row["unit"] == "plants")
        elif key == "stocking":
            source = next(row for row in report.book["in_all"] if row["measure"] == "stocking")
        if source is None or finding["estimate"] is None:
            continue
        found += 1
        for name in ("estimate", "lower", "upper"):
            assert source[name] == pytest.approx(finding[name], rel=1e-12), (key, name)
    assert found >= len(compared)


@pytest.mark.parametrize("cohort", COHORTS)
def test_the_first_screen_prints_the_tables(cohort: str) -> None:
    report = forms(cohort)
    alive = {row["method"]: row for row in report.book["survival"]}
    died = {row["method"]: row["died"] for row in report.book["counted"]}
    cost = {row["method"]: row for row in report.book["payoff"]}
    screen = next(e for e in report.page.all("section") if e.attributes.get("id") == "answer")
    drawn = _squeezed(" ".join(svg.text() for svg in screen.all("svg")))
    shown = rows_of(report.page, "survival-table")
    assert {row["Preparation"] for row in shown} == set(alive)
    for row in shown:
        source = alive[row["Preparation"]]
        limits_100 = per_100_limits(source["lower"], source["upper"])
        assert row["Alive per 100 planted"] == per_100(source["estimate"])
        assert row["95 % limits"] == limits_100
        assert _squeezed(f"{per_100(source['estimate'])} ({limits_100})") in drawn
        counts = [number(source[name]) for name in ("n_seedlings", "n_plots", "n_sites")]
        assert [row[name] for name in ("Seedlings", "Plots", "Sites")] == counts
        assert number(died[row["Preparation"]]) in row.values()
        price = cost[row["Preparation"]]
        assert row["Cost per plant established"] == money(price["cost_per_established"], price["currency"])
        if report.document:
            assert _squeezed(f"{per_100(source['estimate'])} {limits_100}") in report.document


@pytest.mark.parametrize("cohort", COHORTS)
def test_printed_tables_round_the_tables_of_the_workbook(cohort: str) -> None:
    report = forms(cohort)
    pairs = {(row["method"], row["against"]): row for row in report.book["contrasts"]}
    for row in rows_of(report.page, "contrasts-table"):
        source = pairs[row["Preparation"], row["Against"]]
        numbers = [source[name] for name in ("estimate", "lower", "upper")]
        written = difference(*(float("nan") if value == "" else value for value in numbers))
        assert (row["Difference per 100 planted"], row["95 % limits"]) == written
    for key, sheet, first in (("species-table", "species", "Species"), ("sites-table", "sites", "Site")):
        if sheet not in report.book:
            continue
        groups = {row[next(iter(row))]: row for row in report.book[sheet]}
        for row in rows_of(report.page, key):
            source = groups[row[first]]
            assert row["Alive per 100 planted"] == per_100(source["estimate"])
            assert row["95 % limits"] == per_100_limits(source["lower"], source["upper"])
    if "heights" in report.book:
        tall = {row["method"]: row for row in report.book["heights"]}
        for row in rows_of(report.page, "heights-table"):
            source = tall[row["Preparation"]]
            assert row["95 % limits"] == per_100_limits(source["lower"], source["upper"])
            assert row["Measured"] == number(source["measured"])
    if "planting_years" in report.book:
        years = {(row["method"], row["planting_year"]): row for row in report.book["planting_years"]}
        for row in rows_of(report.page, "years-table"):
            source = years[row["Preparation"], row["Planted"]]
            assert row["Alive per 100 planted"] == per_100(source["estimate"])
