"""A programme to files: the page, the PDF, the workbook and the tables."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Final

import pandas as pd

from survivor.document.elements import Figure, Report, Section
from survivor.document.page import page_of, pictures_of
from survivor.document.pdf import document_of
from survivor.document.workbook import Book
from survivor.files.writing import Place, changed_since, csv_text, writing
from survivor.programme.page import page_of_programme
from survivor.programme.record import StudyRecord, digest_of_records
from survivor.programme.together import Programme

WHAT: Final = "the programme"
PAGE: Final = "programme.html"
DOCUMENT: Final = "programme.pdf"
WORKBOOK: Final = "programme.xlsx"
DIGEST: Final = "programme.json"
NAMES: Final = (PAGE, DOCUMENT, WORKBOOK, DIGEST)


def is_written(records: Iterable[StudyRecord], folder: Path) -> bool:
    """Whether a folder holds the programme of these very studies, every file as it was written."""
    try:
        told = json.loads((folder / DIGEST).read_text(encoding="utf-8"))["studies"]
    except (OSError, ValueError, LookupError, TypeError):
        return False
    return bool(told == digest_of_records(records)) and not changed_since(folder, WHAT)


def tables_of(programme: Programme) -> dict[str, pd.DataFrame]:
    """Every table of a programme, by its name."""
    return {
        "differences": programme.pooled,
        "what lives": programme.lives,
        "targets": programme.targets,
        "planted": programme.watched,
        "studies": programme.studies,
        "each study's differences": programme.units,
        "studies apart": programme.apart,
        "next season": programme.worth,
        "tried": programme.untried,
        "not used": programme.left,
    }


def _printed(report: Report) -> Report:
    """Return the page for print: its figures without their tables, which the workbook has."""

    def section(one: Section) -> Section:
        blocks = tuple(
            replace(block, table=None) if isinstance(block, Figure) else block for block in one.blocks
        )
        return replace(one, blocks=blocks)

    sections = tuple(map(section, report.sections))
    return replace(report, answer=section(report.answer), sections=sections, contents=False)


def write_programme(programme: Programme, folder: Path | Place) -> tuple[Path, ...]:
    """Write the page, the same as PDF, and a workbook of every table.

    Raises
    ------
    WritingError
        When the folder cannot be written to, or holds what survivor did not write under one of these names.
    """
    digest = digest_of_records(programme.records)
    report = page_of_programme(programme, digest)
    pictures = pictures_of(report)
    book = Book(programme.name)
    tables = tables_of(programme)
    for name, table in tables.items():
        book.add_table(name, table)
    files: dict[str, str | bytes] = {
        PAGE: page_of(report, pictures),
        DOCUMENT: document_of(_printed(report), pictures.wide),
        WORKBOOK: book.close(),
        DIGEST: json.dumps({"studies": digest}) + "\n",
        **{
            f"tables/{name.replace(' ', '-').replace(chr(39), '')}.csv": csv_text(table)
            for name, table in tables.items()
        },
    }
    with writing(folder, WHAT, names=NAMES) as place:
        return place.write(files)
