"""Every sentence of a document that keeps its values, and the cell that a value is from."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pandas as pd

from survivor.analysis import Analysis
from survivor.document.elements import Figure, Listing, Paragraph, Report, Table, Terms
from survivor.document.page import sections_of
from survivor.report.tables import findings_table, tables_of
from survivor.sentences import Cell, Sentence, Text, sentences_of


def texts_of(report: Report) -> Iterator[Text]:
    """Give every text of a document in reading order."""
    for section in sections_of(report):
        for block in section.blocks:
            match block:
                case Paragraph():
                    yield block.text
                case Listing():
                    yield from block.items
                case Terms():
                    yield from (meaning for _, meaning in block.pairs)
                case Table():
                    yield block.note
                case Figure():
                    yield from (block.finding, block.caption)
                    if block.table is not None:
                        yield block.table.note


def sentences(report: Report) -> list[Sentence]:
    return [one for text in texts_of(report) for one in sentences_of(text)]


class Tables:
    """The tables of an analysis as they go out, and what stands in their cells."""

    def __init__(self, analysis: Analysis) -> None:
        self.tables = {"findings": findings_table(analysis), **tables_of(analysis)}

    def at(self, cell: Cell) -> Any:
        """Read a cell; every row that its key picks has to hold the same there."""
        rows = self.tables[cell.table]
        for name, value in cell.row:
            rows = rows[rows[name].map(_as_text) == value]
        values = rows[cell.column].unique()
        assert len(values) == 1, cell
        return values[0]


def _as_text(value: Any) -> str:
    return str(value.date()) if isinstance(value, pd.Timestamp) else str(value)
