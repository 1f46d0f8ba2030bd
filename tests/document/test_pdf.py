"""What a PDF does with hostile words, drawings and wide tables."""

from __future__ import annotations

import io

import pikepdf

from survivor.document.elements import Column, Paragraph, Report, Section, Table
from survivor.document.pdf import _table, document_of, standing_alone


def test_what_the_records_say_is_never_read_as_markup() -> None:
    hostile = '#panic("no") $x$ *b* <a> [b] \\ ` _c_ // d /* e'
    report = Report(hostile, (hostile,), Section("answer", hostile, (Paragraph(hostile),)), (), hostile)
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
