"""The PDF: tags, alternative texts, words; read with pikepdf and pdftotext, not with our own code."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pikepdf
import pytest

from survivor.report.content import report_of
from survivor.report.content.elements import Column, Figure, Paragraph, Report, Section, Table
from survivor.report.document import _table, document_of, standing_alone
from survivor.report.page import pictures_of, sections_of
from tests.report.conftest import SITES


@pytest.fixture(scope="module")
def report(analysis: SimpleNamespace) -> Report:
    return report_of(analysis)


@pytest.fixture(scope="module")
def document(report: Report) -> bytes:
    return document_of(report, pictures_of(report).wide)


@pytest.fixture(scope="module")
def opened(document: bytes) -> Iterator[pikepdf.Pdf]:
    with pikepdf.open(io.BytesIO(document)) as pdf:
        yield pdf


def elements(node: pikepdf.Object) -> Iterator[pikepdf.Dictionary]:
    """Go through the structure tree in reading order."""
    kids = node.get("/K")
    if kids is None:
        return
    for kid in kids if isinstance(kids, pikepdf.Array) else [kids]:
        if isinstance(kid, pikepdf.Dictionary) and "/S" in kid:
            yield kid
            yield from elements(kid)


def tags(pdf: pikepdf.Pdf) -> list[str]:
    return [str(element.S) for element in elements(pdf.Root.StructTreeRoot)]


def test_it_is_tagged_for_reading_aloud(opened: pikepdf.Pdf, report: Report) -> None:
    # ISO 14289-1 (PDF/UA-1), from memory: marked, a language, a title shown, the mark.
    assert opened.Root.MarkInfo.Marked
    assert str(opened.Root.Lang) == "en-GB"
    assert opened.Root.ViewerPreferences.DisplayDocTitle
    with opened.open_metadata() as metadata:
        assert metadata["pdfuaid:part"] == "1"
        assert report.title in metadata["dc:title"]


def test_headings_tables_and_figures_carry_their_tags(opened: pikepdf.Pdf, report: Report) -> None:
    found = tags(opened)
    assert found.count("/H1") == 1
    assert found.count("/H2") == 1 + len(report.sections)
    assert found.count("/H3") == sum(len(section.parts) for section in report.sections)
    assert "/TH" in found
    assert "/TD" in found


def test_every_figure_states_its_finding(opened: pikepdf.Pdf, report: Report) -> None:
    figures = [
        block for section in sections_of(report) for block in section.blocks if isinstance(block, Figure)
    ]
    spoken = [str(each.Alt) for each in elements(opened.Root.StructTreeRoot) if "/Alt" in each]
    assert figures
    assert [figure.finding for figure in figures] == spoken


def test_the_same_report_gives_the_same_bytes(report: Report, document: bytes) -> None:
    assert document_of(report, pictures_of(report).wide) == document


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext (poppler) is not on this machine")
def test_every_sentence_and_cell_stands_in_it(document: bytes, report: Report, tmp_path: Path) -> None:
    file = tmp_path / "report.pdf"
    file.write_bytes(document)
    out = subprocess.run(["pdftotext", "-raw", str(file), "-"], capture_output=True, text=True, check=True)
    read = re.sub(r"\s", "", out.stdout)
    for section in sections_of(report):
        for block in section.blocks:
            if isinstance(block, Paragraph):
                for sentence in re.split(r"(?<=[.;]) ", block.text):
                    words = sentence.split()
                    # A page's end may stand inside a sentence, so its halves are looked for.
                    half = len(words) // 2
                    halves = (words[:half], words[half:])
                    assert any("".join(part) in read for part in halves if part), sentence
    assert all("".join(site.split()) in read for site in SITES)


def test_what_the_records_say_is_never_read_as_markup() -> None:
    hostile = '#panic("no") $x$ *b* <a> [b] \\ ` _c_ // d /* e'
    report = Report(hostile, (hostile,), Section("answer", hostile, (Paragraph(hostile),)), ())
    with pikepdf.open(io.BytesIO(document_of(report, {}))) as pdf, pdf.open_metadata() as metadata:
        assert metadata["dc:title"].startswith(hostile)


def test_a_drawing_stands_alone_in_the_colours_of_a_light_page() -> None:
    svg = '<svg viewBox="0 0 1 1"><path id="p" style="fill:var(--ink, #1c2522)"/><use href="#p"/></svg>'
    alone = standing_alone(svg)
    assert 'xmlns="http://www.w3.org/2000/svg"' in alone
    assert "fill:#1c2522" in alone
    assert 'xlink:href="#p"' in alone


def test_no_column_is_narrower_than_its_longest_word_or_number() -> None:
    # Ten columns beside a long note: more letters than a page is wide.
    long = (
        "4 of 121 days are not known, so it may be more; it breaks a run unless all of it is below the limit."
    )
    names = ["Weight", "Cases", *("This season", "Median year", "Decile", "Seedlings", "Died"), "Note"]
    columns = tuple(Column(name, numeric=name not in ("Weight", "Note")) for name in names)
    rows = (("check", "22", "415 mm", "356 mm", "10", "2,455", "1,185", long),) * 2
    shares = [column["share"] for column in _table(Table("t", "c", columns, rows))["columns"]]
    least = [
        max(len(word) for word in f"{name} {cell}".split()) for name, cell in zip(names, rows[0], strict=True)
    ]
    assert all(share > need for share, need in zip(shares, least, strict=True))
    assert shares[3] > len("356 mm")  # a number with its unit stays on one line
    # All of them on a line of 170 mm in letters of 7.2 points, 0.6 as wide as high.
    assert sum(shares) * 7.2 * 0.6 <= 170 / 25.4 * 72
    assert shares[-1] == max(shares)
