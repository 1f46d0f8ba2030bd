"""A programme to files: the page, the PDF, the workbook and the tables."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path
from typing import Final

import pandas as pd

from survivor.document.elements import Figure, Report, Section
from survivor.document.page import page_of, pictures_of
from survivor.document.pdf import document_of
from survivor.document.workbook import Book
from survivor.files.writing import Place, csv_text, writing
from survivor.programme.page import page_of_programme
from survivor.programme.together import Programme

WHAT: Final = "the programme"
PAGE: Final = "programme.html"
DOCUMENT: Final = "programme.pdf"
WORKBOOK: Final = "programme.xlsx"
NAMES: Final = (PAGE, DOCUMENT, WORKBOOK)


def digest_of_programme(programme: Programme) -> str:
    """Digest of what every study rests on."""
    told = [(record.folder, sorted(record.files.items())) for record in programme.records]
    return hashlib.sha256(repr(told).encode()).hexdigest()


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
            replace(block, table=None) if isinstance(block, Figure) and block.key != "differences" else block
            for block in one.blocks
        )
        return replace(one, blocks=blocks)

    return replace(report, sections=tuple(map(section, report.sections)), contents=False)


def write_programme(programme: Programme, folder: Path | Place) -> tuple[Path, ...]:
    """Write the page, the same as PDF, and a workbook of every table.

    Raises
    ------
    WritingError
        When the folder cannot be written to, or holds what survivor did not write under one of these names.
    """
    report = page_of_programme(programme, digest_of_programme(programme))
    pictures = pictures_of(report)
    book = Book(programme.name)
    tables = tables_of(programme)
    for name, table in tables.items():
        book.add_table(name, table)
    files: dict[str, str | bytes] = {
        PAGE: page_of(report, pictures),
        DOCUMENT: document_of(_printed(report), pictures.wide),
        WORKBOOK: book.close(),
        **{
            f"tables/{name.replace(' ', '-').replace(chr(39), '')}.csv": csv_text(table)
            for name, table in tables.items()
        },
    }
    with writing(folder, WHAT, names=NAMES) as place:
        return place.write(files)
