"""What is printed is what was found: the committed example reports, every form against every other.

Text, picture, page, document, workbook, summary and findings of one report have to hold the same
numbers at the precision that each prints. ``test_examples.py`` sees to it that the examples are
those of the code.
"""

from __future__ import annotations

import pytest

from tests.report.examples import COHORTS, forms, with_examples

pytestmark = with_examples


def printed(value: float) -> float:
    """Return what the file of findings has of a number: twelve digits."""
    return float(f"{value:.12g}")


@pytest.mark.parametrize("cohort", COHORTS)
def test_findings_are_the_same_in_file_and_workbook(cohort: str) -> None:
    report = forms(cohort)
    rows = {row["key"]: row for row in report.book["findings"]}
    for finding in report.findings["findings"]:
        row = rows[finding["key"]]
        for name in ("estimate", "lower", "upper"):
            value = finding[name]
            assert (None if row[name] == "" else printed(row[name])) == value
        assert (row["grade"] or None, row["unit"]) == (finding["grade"], finding["unit"])


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
            assert printed(source[name]) == finding[name], (key, name)
    assert found >= len(compared)
