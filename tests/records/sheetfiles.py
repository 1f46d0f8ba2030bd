"""One small table written as people save it: text in any encoding, XLSX, ODS (made by hand)."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Callable, Sequence
from xml.sax.saxutils import escape

import xlsxwriter

Table = Sequence[Sequence[str]]

_MANIFEST = (
    '<?xml version="1.0"?><manifest:manifest '
    'xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0">'
    '<manifest:file-entry manifest:full-path="/" '
    'manifest:media-type="application/vnd.oasis.opendocument.spreadsheet"/></manifest:manifest>'
)
_ODS = (
    '<?xml version="1.0"?><office:document-content '
    'xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
    'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" '
    'xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0">'
    "<office:body><office:spreadsheet>{}</office:spreadsheet></office:body></office:document-content>"
)
_TYPES = (
    '<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="xml" ContentType="application/xml"/><Override PartName="/xl/workbook.xml" '
    'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/></Types>'
)
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_RELATION = (
    '<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Id="rId1" Type="{office}/{kind}" Target="{target}"/></Relationships>'
)
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


def as_csv(table: Table, *, sign: str = ",", encoding: str = "utf-8") -> bytes:
    text = io.StringIO()
    csv.writer(text, delimiter=sign, lineterminator="\n").writerows(table)
    return text.getvalue().encode(encoding, errors="replace")


def as_xlsx(table: Table, name: str = "Visits") -> bytes:
    held = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    book = xlsxwriter.Workbook(held, options)
    sheet = book.add_worksheet(name)
    for number, row in enumerate(table):
        for column, cell in enumerate(row):
            sheet.write_string(number, column, cell)
    book.close()
    return held.getvalue()


def as_ods(table: Table, name: str = "Visits") -> bytes:
    rows = "".join(f"<table:table-row>{''.join(map(_ods_cell, row))}</table:table-row>" for row in table)
    return ods_of(f'<table:table table:name="{name}">{rows}</table:table>')


def _ods_cell(text: str) -> str:
    kept = "".join(letter for letter in text if letter.isprintable())
    return (
        f'<table:table-cell office:value-type="string"><text:p>{escape(kept)}</text:p></table:table-cell>'
        if kept
        else "<table:table-cell/>"
    )


def ods_of(body: str) -> bytes:
    """Pack an ODS file of which everything but the tables is as it should be."""
    return _packed(
        {
            "mimetype": "application/vnd.oasis.opendocument.spreadsheet",
            "META-INF/manifest.xml": _MANIFEST,
            "content.xml": _ODS.format(body),
        }
    )


def xlsx_of(rows: str, before: str = "") -> bytes:
    """Pack an XLSX file of one sheet whose rows are given as they stand in its XML."""
    return _packed(
        {
            "[Content_Types].xml": _TYPES,
            "_rels/.rels": _RELATION.format(office=_OFFICE, kind="officeDocument", target="xl/workbook.xml"),
            "xl/workbook.xml": f'<?xml version="1.0"?><workbook xmlns="{_MAIN}" xmlns:r="{_OFFICE}"><sheets>'
            '<sheet name="Visits" sheetId="1" r:id="rId1"/></sheets></workbook>',
            "xl/_rels/workbook.xml.rels": _RELATION.format(
                office=_OFFICE, kind="worksheet", target="worksheets/sheet1.xml"
            ),
            "xl/worksheets/sheet1.xml": f'{before}<worksheet xmlns="{_MAIN}"><sheetData>{rows}</sheetData>'
            "</worksheet>",
        }
    )


def xlsx_cell(place: str, text: str) -> str:
    return f'<c r="{place}" t="inlineStr"><is><t>{escape(text)}</t></is></c>'


def _packed(members: dict[str, str]) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, text in members.items():
            packed.writestr(name, text)
    return held.getvalue()


def with_members_changed(book: bytes, change: Callable[[bytes], bytes]) -> bytes:
    """Unpack a workbook, change the bytes of each sheet, and pack it again with true checksums."""
    held = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(book)) as old, zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as new:
        for member in old.infolist():
            content = old.read(member)
            of_sheet = "sheet" in member.filename.lower() or member.filename == "content.xml"
            new.writestr(member.filename, change(content) if of_sheet else content)
    return held.getvalue()
