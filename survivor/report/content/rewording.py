"""A report in other words: every text of it, those of its pictures too, put through one rule."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

from survivor.figures.relabel import relabelled
from survivor.figures.style import Drawing, Size
from survivor.report.content.elements import (
    Block,
    Figure,
    Listing,
    Paragraph,
    Report,
    Section,
    Table,
    Terms,
)

Words = Callable[[str], str]


def reworded(report: Report, words: Words) -> Report:
    """Return the report with every text put through ``words``.

    Parameters
    ----------
    report
        In its usual words.
    words
        Takes a text and returns it as it is to be read.
    """
    return replace(
        report,
        about=tuple(map(words, report.about)),
        answer=_section(report.answer, words),
        sections=tuple(_section(section, words) for section in report.sections),
    )


def _section(section: Section, words: Words) -> Section:
    return replace(
        section,
        heading=words(section.heading),
        blocks=tuple(_block(block, words) for block in section.blocks),
        parts=tuple(_section(part, words) for part in section.parts),
    )


def _block(block: Block, words: Words) -> Block:
    if isinstance(block, Paragraph):
        return replace(block, text=words(block.text), label=words(block.label))
    if isinstance(block, Listing):
        return replace(block, items=tuple(map(words, block.items)), label=words(block.label))
    if isinstance(block, Terms):
        pairs = tuple((words(name), words(text)) for name, text in block.pairs)
        return replace(block, pairs=pairs, label=words(block.label))
    if isinstance(block, Figure):
        return replace(
            block,
            title=words(block.title),
            finding=words(block.finding),
            caption=words(block.caption),
            draw=partial(_drawn, block.draw, words),
            table=_table(block.table, words),
        )
    return _table(block, words)


def _table(table: Table, words: Words) -> Table:
    return replace(
        table,
        caption=words(table.caption),
        columns=tuple(replace(column, heading=words(column.heading)) for column in table.columns),
        rows=tuple(tuple(map(words, row)) for row in table.rows),
        note=words(table.note),
    )


def _drawn(draw: Callable[[Size], Drawing], words: Words, size: Size) -> Drawing:
    return relabelled(draw(size), words)
