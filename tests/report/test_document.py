"""The PDF: tags, alternative texts, words; read with pikepdf and pdftotext, not with our own code."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import pikepdf
import pytest

from survivor.document.elements import Figure, Paragraph, Report
from survivor.document.page import pictures_of, sections_of
from survivor.document.pdf import document_of, has_set
from survivor.report import forms
from tests.document.poppler import needs_poppler, text_of
from tests.document.reading import elements, tags
from tests.report.making import SITES, build


@pytest.fixture(scope="module")
def document(annex: Report) -> bytes:
    return document_of(annex, pictures_of(annex).wide)


@pytest.fixture(scope="module")
def opened(document: bytes) -> Iterator[pikepdf.Pdf]:
    with pikepdf.open(io.BytesIO(document)) as pdf:
        yield pdf


@pytest.mark.slow
def test_it_is_tagged_for_reading_aloud(opened: pikepdf.Pdf, annex: Report) -> None:
    # ISO 14289-1 (PDF/UA-1), from memory: marked, a language, a title shown, the mark.
    assert opened.Root.MarkInfo.Marked
    assert str(opened.Root.Lang) == "en-GB"
    assert opened.Root.ViewerPreferences.DisplayDocTitle
    with opened.open_metadata() as metadata:
        assert metadata["pdfuaid:part"] == "1"
        assert annex.title in metadata["dc:title"]


def test_headings_tables_and_figures_carry_their_tags(opened: pikepdf.Pdf, annex: Report) -> None:
    found = tags(opened)
    assert found.count("/H1") == 1
    assert found.count("/H2") == 1 + len(annex.sections)
    assert found.count("/H3") == sum(len(section.parts) for section in annex.sections)
    assert "/TH" in found
    assert "/TD" in found


def test_every_figure_states_its_finding(opened: pikepdf.Pdf, annex: Report) -> None:
    figures = [
        block for section in sections_of(annex) for block in section.blocks if isinstance(block, Figure)
    ]
    spoken = [str(each.Alt) for each in elements(opened.Root.StructTreeRoot) if "/Alt" in each]
    assert figures
    assert [figure.described for figure in figures] == spoken


@pytest.mark.slow
def test_the_same_report_gives_the_same_bytes(annex: Report, document: bytes) -> None:
    assert document_of(annex, pictures_of(annex).wide) == document


@needs_poppler
def test_every_sentence_and_cell_stands_in_it(document: bytes, annex: Report, tmp_path: Path) -> None:
    file = tmp_path / "report.pdf"
    file.write_bytes(document)
    read = re.sub(r"\s", "", text_of(file))
    for section in sections_of(annex):
        for block in section.blocks:
            if isinstance(block, Paragraph):
                for sentence in re.split(r"(?<=[.;]) ", block.plain):
                    words = sentence.split()
                    # A page's end may stand inside a sentence, so its halves are looked for.
                    half = len(words) // 2
                    halves = (words[:half], words[half:])
                    assert any("".join(part) in read for part in halves if part), sentence
    assert all("".join(site.split()) in read for site in SITES)


@pytest.mark.slow
def test_once_a_document_is_set_no_copy_of_the_process_is_asked_to_set_another(
    document: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    # POSIX, fork: a copy has the calling thread only, so it would wait for the typesetter's for ever.
    assert document
    assert has_set()
    shared: list[int] = []

    def counting(work: Callable[[Any], Any], pieces: Sequence[Any]) -> list[Any]:
        shared.append(len(pieces))
        return [work(piece) for piece in pieces]

    monkeypatch.setattr(forms, "side_by_side", counting)
    made = forms.report_forms(build("random within blocks"))
    assert made["annex.pdf"].startswith(b"%PDF")
    assert len(shared) == 1  # the figures, which are no documents
