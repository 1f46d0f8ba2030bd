"""The three documents in every form: pages, PDFs, workbook, summary, findings and tables."""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import Any, Final

import pandas as pd

from survivor.analysis.result import Analysis
from survivor.document.elements import Report
from survivor.document.page import Pictures, figures_of, page_of, picture
from survivor.document.pdf import document_of, has_set
from survivor.document.workbook import LONGEST_NAME, Book
from survivor.errors import ReportError
from survivor.figures.style import Size
from survivor.files.writing import Place, csv_text, writing
from survivor.parallel import side_by_side
from survivor.report.arrangement import ANNEX, OFFICER, REPORT
from survivor.report.reasons import base_words
from survivor.report.summary import SCHEMA, SUMMARY, published, summary_of
from survivor.report.tables import FOLDER, findings_json, findings_table, tables_of, title_of, to_digits

PAGE: Final = REPORT.file
DOCUMENT: Final = "report.pdf"
ANNEX_DOCUMENT: Final = "annex.pdf"
WORKBOOK: Final = "report.xlsx"
FINDINGS: Final = "findings.json"
CONTENTS: Final = "contents"
FIRST: Final = "observed"  # planted, alive, dead and unknown by preparation
PAGES: Final = (PAGE, ANNEX.file, OFFICER.file)
NAMES: Final = (*PAGES, DOCUMENT, ANNEX_DOCUMENT, WORKBOOK, SUMMARY, FINDINGS, SCHEMA)
WHAT: Final = "the report"


def _quiet(step: str) -> None:
    """Say nothing."""


def write_report(
    analysis: Analysis, folder: Path | Place, say: Callable[[str], None] = _quiet
) -> tuple[Path, ...]:
    """Write the report in every form: pages, PDFs, workbook, summary, findings and tables.

    Parameters
    ----------
    analysis
        A season, analysed.
    folder
        Made where it does not exist; or one that is held.
    say
        Called with a short text before each step.

    Returns
    -------
    tuple of Path
        The page of the report first, then the annex and the officer's sheet, ``report.pdf`` and
        ``annex.pdf``, ``report.xlsx``, ``summary.txt``, ``findings.json`` and its schema, then
        ``tables/*.csv``.

    Raises
    ------
    WritingError
        When the folder cannot be written to, or holds what survivor did not write under one of these names.
    """
    with writing(folder, WHAT, names=NAMES) as place:
        forms = report_forms(analysis, say)
        say("Tables and files")
        tables = {f"{FOLDER}/{name}.csv": csv_text(table) for name, table in _written(analysis).items()}
        return place.write({**forms, **tables})


def report_forms(analysis: Analysis, say: Callable[[str], None] = _quiet) -> dict[str, bytes]:
    """Return a report in every form that is one file, by its name; the page of the report first."""
    say("Writing the report")
    report, annex, officer = (document.of(analysis) for document in (REPORT, ANNEX, OFFICER))
    # A figure may stand in two documents; it is drawn once for each width of page.
    figures = {figure.key: figure for made in (annex, report, officer) for figure in figures_of(made)}
    sizes: tuple[Size, ...] = ("wide", "narrow")
    jobs = [(figure, size) for figure in figures.values() for size in sizes]
    say(f"Drawing {len(jobs)} figures")
    drawn = side_by_side(lambda job: picture(*job), jobs)
    wide = {f.key: svg for (f, size), svg in zip(jobs, drawn, strict=True) if size == "wide"}
    narrow = {f.key: svg for (f, size), svg in zip(jobs, drawn, strict=True) if size == "narrow"}
    pictures = Pictures(wide, narrow)
    pieces: list[Callable[[], Any]] = [
        partial(_pdf, annex, {f.key: wide[f.key] for f in figures_of(annex)}),
        partial(workbook_of, analysis),
        partial(_pdf, report, {f.key: wide[f.key] for f in figures_of(report)}),
    ]
    say("PDFs and workbook")
    annex_pdf, workbook, report_pdf = (
        [make() for make in pieces] if has_set() else side_by_side(lambda make: make(), pieces)
    )
    say("Pages")
    forms = {
        PAGE: page_of(report, pictures).encode(),
        ANNEX.file: page_of(annex, pictures).encode(),
        OFFICER.file: page_of(officer, pictures).encode(),
        DOCUMENT: report_pdf,
        ANNEX_DOCUMENT: annex_pdf,
        WORKBOOK: workbook,
        SUMMARY: summary_of(analysis, report).encode(),
        FINDINGS: findings_json(analysis).encode(),
        SCHEMA: published().encode(),
    }
    return {name: held for name, held in forms.items() if held}


def _written(analysis: Analysis) -> dict[str, pd.DataFrame]:
    """Every table with the digits that any machine gives."""
    return {name: to_digits(table) for name, table in tables_of(analysis).items()}


def _pdf(report: Report, drawn: Mapping[str, str]) -> bytes:
    """Set a document; where it cannot be set that is said, and the other forms are written all the same."""
    try:
        return document_of(report, drawn)
    except ReportError as fault:
        logging.getLogger("survivor").warning("%s", fault)
        return b""


def workbook_of(analysis: Analysis) -> bytes:
    """Return every table as one workbook.

    Parameters
    ----------
    analysis
        A season, analysed.

    Returns
    -------
    bytes
        An XLSX file: a sheet of contents, what was counted, the findings, then every other table. Text stays
        text, formulas and addresses included. The same analysis gives the same bytes:
        the file bears the date of the last visit, not of its making.
    """
    written = _written(analysis)
    # The counts that everybody can check come first.
    first = {FIRST: written[FIRST]} if FIRST in written else {}
    tables = {**first, "findings": to_digits(findings_table(analysis)), **written}
    base = base_words(analysis)
    contents = [(name[:LONGEST_NAME], title_of(name, base), len(table)) for name, table in tables.items()]
    seen = analysis.records.visits.get("date")
    day = seen.max() if seen is not None and seen.notna().any() else None
    book = Book(analysis.settings.study.name, day)
    book.add_table(CONTENTS, pd.DataFrame(contents, columns=["sheet", "holds", "rows"]))
    for name, table in tables.items():
        book.add_table(name, table)
    return book.close()
