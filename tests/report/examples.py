"""The committed example reports as their readers have them."""

from __future__ import annotations

import io
import json
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from python_calamine import CalamineWorkbook

from tests.document import poppler
from tests.document.reading import Element, read

REPORTS = Path(__file__).parents[2] / "reports" / "examples"
COHORTS = ("tagged", "counts")

with_examples = pytest.mark.skipif(
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
        summary=squeezed((folder / "summary.txt").read_text(encoding="utf-8")),
    )


def _document(file: Path) -> str:
    if not poppler.HERE:
        return ""
    pages = [page.strip().splitlines() for page in poppler.text_of(file).split("\f") if page.strip()]
    foot = re.compile(rf"\d+ of {len(pages)}")
    assert all(foot.search(page[-1]) for page in pages), "each page ends with its foot"
    return squeezed(" ".join(line for page in pages for line in page[:-1]))


def squeezed(text: str) -> str:
    return re.sub(r"\s", "", text)


def rows_of(page: Element, key: str) -> list[dict[str, str]]:
    """Read a table of the page: cells by their headings."""
    table = next(e for e in page.all("table") if e.attributes.get("id") == key)
    head, *rows = [[" ".join(c.text().split()) for c in row.all("th", "td")] for row in table.all("tr")]
    return [dict(zip(head, row, strict=True)) for row in rows]
