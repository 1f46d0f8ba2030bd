"""How long the documents are, and whether their page numbers are true; read with poppler, not our own code.

The typesetter's remarks are Python warnings, and a warning fails a test: pages that do not settle, and type
that cannot be found, are seen here for every study below.
"""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path

import pytest

from survivor.report.arrangement import MOST_PAGES, MOST_WORDS
from survivor.report.forms import ANNEX_DOCUMENT, DOCUMENT
from tests.analysis.seasons import write
from tests.document.poppler import needs_poppler, text_of
from tests.report.demo import DATASETS, forms_of, reported
from tests.report.generated import pines, write_generated

pytestmark = needs_poppler


def pages_of(document: bytes, folder: Path) -> list[str]:
    file = folder / "document.pdf"
    file.write_bytes(document)
    return text_of(file, "-layout").split("\f")[:-1]


def documents_of(study: Path) -> dict[str, bytes]:
    """Return the documents of a study; those of the largest are made for other tests too."""
    return reported("tagged") if study == DATASETS / "tagged" else forms_of(study)


def words_in(pages: list[str]) -> int:
    """Count the words of the pages without the foot of each."""
    return sum(len(" ".join(page.strip().splitlines()[:-1]).split()) for page in pages)


@pytest.mark.parametrize(
    "cohort", [pytest.param(name, marks=pytest.mark.slow) for name in ("tagged", "works", "counts")]
)
def test_the_report_has_four_pages_and_1500_words_at_most(cohort: str, tmp_path: Path) -> None:
    pages = pages_of(documents_of(DATASETS / cohort)[DOCUMENT], tmp_path)
    words = words_in(pages)
    print(f"{cohort}: {len(pages)} pages, {words} words")
    assert len(pages) <= MOST_PAGES
    assert words <= MOST_WORDS


STUDIES = {
    "tagged": lambda folder: DATASETS / "tagged",
    "counts": lambda folder: DATASETS / "counts",
    "season of 2021": lambda folder: DATASETS / "seasons" / "season-2021",
    "pines": pines,
    "a small season": lambda folder: write(folder / "s", lambda site, plot: (60, 200, 365)),
    "nobody died": lambda folder: write(
        folder / "s", lambda site, plot: (60, 200, 365), deaths=lambda method, plot: (0, 0)
    ),
    "many visits": lambda folder: write(
        folder / "s", lambda site, plot: tuple(range(30 + site, 700, 45)), sites=7, infill=2
    ),
    "names in other letters": lambda folder: _renamed(
        write(folder / "s", lambda site, plot: (60, 200, 365)),
        {"site 1": "林地 creek 🌱", "site 2": "Ōtepoti ‐ ñandú"},
    ),
}


def _headings(forms: dict[str, bytes]) -> set[str]:
    """Find the headings of the pages of a study: none of them may be the last line of a page."""
    found: set[str] = set()
    for page in ("report.html", "annex.html"):
        found |= set(re.findall(r"<h[23][^>]*>([^<]+)</h[23]>", forms[page].decode()))
    return {unescape(heading).strip() for heading in found}


def _renamed(folder: Path, names: dict[str, str]) -> Path:
    for file in folder.iterdir():
        text = file.read_text(encoding="utf-8")
        for old, new in names.items():
            text = text.replace(old, new)
        file.write_text(text, encoding="utf-8")
    return folder


@pytest.mark.slow
@pytest.mark.parametrize("name", STUDIES)
def test_page_numbers_are_true(name: str, tmp_path: Path) -> None:
    _true(name, STUDIES[name](tmp_path), tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(10))
def test_page_numbers_of_generated_studies_are_true(seed: int, tmp_path: Path) -> None:
    _true(f"seed {seed}", write_generated(tmp_path / "study", seed), tmp_path)


def _true(name: str, study: Path, tmp_path: Path) -> None:
    """Each foot says which page of how many it is, the contents lead there, and no page ends on a heading."""
    forms = documents_of(study)
    for document in (DOCUMENT, ANNEX_DOCUMENT):
        pages = pages_of(forms[document], tmp_path)
        for place, page in enumerate(pages, start=1):
            foot = page.strip().splitlines()[-1]
            assert re.search(rf"\b{place} of {len(pages)}$", foot.strip()), (name, document, foot)
            last = [line.strip() for line in page.strip().splitlines()[:-1] if line.strip()][-1:]
            assert last not in [[heading] for heading in _headings(forms)], (name, document, place, last)
    # The contents of the annex lead to the pages on which its sections begin.
    listed = re.findall(r"^ *(\S.*?) (?:\. ?){3,}[ .\u2060]*(\d+) *$", pages[0], re.MULTILINE)
    assert len(listed) > 10
    for heading, number in listed:
        begun = [line.strip() for line in pages[int(number) - 1].splitlines()]
        assert any(line.startswith(heading[:40]) for line in begun), (name, heading, number)


@pytest.mark.slow
def test_letters_that_no_type_has_are_named_and_the_others_stay(tmp_path: Path) -> None:
    forms = forms_of(STUDIES["names in other letters"](tmp_path))
    annex = " ".join("\n".join(pages_of(forms[ANNEX_DOCUMENT], tmp_path)).split())
    assert "creek" in annex
    assert "Ōtepoti" in annex
    page = forms["annex.html"].decode()
    assert "林地 creek 🌱" in page
    if "林地" not in annex:
        assert "U+6797" in annex
