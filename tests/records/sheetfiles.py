"""One small table written as people save it: text in any encoding, XLSX, ODS (made by hand)."""

from __future__ import annotations

import csv
import io
import struct
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


def as_xls(table: Table, name: str = "Visits") -> bytes:
    """A workbook of the old kind, its texts shared."""
    texts = list(dict.fromkeys(cell for row in table for cell in row if cell))
    cells = [
        (row, column, texts.index(cell))
        for row, line in enumerate(table)
        for column, cell in enumerate(line)
        if cell
    ]
    return xls_of(texts, {name: cells})


def xls_of(texts: Sequence[str], sheets: dict[str, list[tuple[int, int, int]]]) -> bytes:
    """Pack an old workbook: its shared texts, and of each sheet the row, column and text of its cells."""
    shared, rest = [struct.pack("<II", 0, len(texts))], 8
    for text in texts:  # a text goes on in a further record, behind a sign that one byte is a letter
        head, letters = struct.pack("<HB", len(text), 0), text.encode("latin-1")
        if rest + len(head) + 1 > _MOST_OF_A_RECORD:
            shared, rest = [*shared, b""], 0
        room = _MOST_OF_A_RECORD - rest - len(head)
        shared[-1] += head + letters[:room]
        for at in range(room, len(letters), _MOST_OF_A_RECORD - 1):
            shared.append(b"\0" + letters[at : at + _MOST_OF_A_RECORD - 1])
        rest = len(shared[-1])
    texts_held = b"".join(_record(0x3C if place else 0xFC, part) for place, part in enumerate(shared))
    bodies = []
    for cells in sheets.values():
        held = b"".join(
            _record(0xFD, struct.pack("<HHHI", row, column, 15, text)) for row, column, text in cells
        )
        bodies.append(
            _record(0x809, struct.pack("<HHHHII", 0x600, 0x10, 0, 0, 0, 6)) + held + _record(0x0A, b"")
        )
    begin = _record(0x809, struct.pack("<HHHHII", 0x600, 5, 0, 0, 0, 6))
    names = [struct.pack("<HBB", 0, len(name), 0) + name.encode("latin-1") for name in sheets]
    at = len(begin) + sum(8 + len(name) for name in names) + len(texts_held) + 4
    bounds = b""
    for name, body in zip(names, bodies, strict=True):
        bounds += _record(0x85, struct.pack("<I", at) + name)
        at += len(body)
    return _sectors(begin + bounds + texts_held + _record(0x0A, b"") + b"".join(bodies))


_MOST_OF_A_RECORD = 8224


def _record(kind: int, data: bytes) -> bytes:
    return struct.pack("<HH", kind, len(data)) + data


def _sectors(stream: bytes) -> bytes:
    """Lay one stream into a compound file (MS-CFB): its sectors, their chains, a folder of two entries."""
    stream = stream.ljust(max(4096, -(-len(stream) // 512) * 512), b"\0")
    own, end, free = len(stream) // 512, 0xFFFFFFFE, 0xFFFFFFFF
    tables = 1
    while tables * 128 < own + tables + 1:
        tables += 1
    chain = [*range(1, own), end, end, *([0xFFFFFFFD] * tables)]
    chain += [free] * (tables * 128 - len(chain))

    def entry(name: str, kind: int, first: int, size: int, child: int = free) -> bytes:
        letters = name.encode("utf-16-le") + b"\0\0"
        links = struct.pack("<HBBIII", len(letters), kind, 1, free, free, child)
        return letters.ljust(64, b"\0") + links + bytes(36) + struct.pack("<IQ", first, size)

    folder = entry("Root Entry", 5, end, 0, 1) + entry("Workbook", 2, 0, len(stream))
    head = bytes.fromhex("d0cf11e0a1b11ae1") + bytes(16) + struct.pack("<HHHHH", 0x3E, 3, 0xFFFE, 9, 6)
    head += bytes(6) + struct.pack("<IIIIIIIII", 0, tables, own, 0, 4096, end, 0, end, 0)
    places = [*range(own + 1, own + 1 + tables)]
    head += struct.pack("<109I", *places, *([free] * (109 - tables)))
    return head + stream + folder.ljust(512, b"\0") + struct.pack(f"<{len(chain)}I", *chain)
