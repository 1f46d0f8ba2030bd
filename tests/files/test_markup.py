"""Tags of a workbook's XML are found, and in time that grows with its length, whatever it holds.

With a pattern such as ``<c [^>]*>.*?</c>`` each of these texts takes from ten seconds to many minutes.
"""

from __future__ import annotations

import re
import time
import zipfile
from pathlib import Path

import pytest

from survivor.files import bounds, errors_shown, looks
from survivor.files.markup import ANY_PREFIX, attributes, element, tag

MANY = 150_000
PATTERNS = {
    "cell": re.compile(element(ANY_PREFIX + "c")),
    "font": re.compile(element("font")),
    "tag": re.compile(tag("c")),
    "cell of OpenDocument": looks._ODS_CELL,
    "shown number": looks._SHOWN,
    "colour": looks._COLOUR,
    "struck through": looks._STRIKE,
    "shared text": bounds._SHARED,
    "value": errors_shown._VALUE,
}
BEGINNINGS = (
    "<c>", "<c r='A1'>", "<c ", "<c", "<x:c ", "</c", "<c/", "<font>", "<font ", "<color rgb=", "<v", "<v>",
    "<f>", "<c t='s'>", "<c t='s' t='s' ", " t='s'", "<strike ", "<text:p>1", "<text:p", "<table:table-cell>",
    "<table:table-cell ", "r='", 'r="', "r", " ", "=",
)  # fmt: skip


def test_elements_are_found_with_their_attributes_and_what_they_hold() -> None:
    text = """<x:c r="A1" t='e'><x:v>#N/A</x:v></x:c><c r="B1"/><c r="C1" s="2"></c><col a="1"/>"""
    text += "<c>5 &lt; 6</c>"
    found = [(attributes(cell["marks"]), cell["held"]) for cell in PATTERNS["cell"].finditer(text)]
    assert found == [
        ({"r": "A1", "t": "e"}, "<x:v>#N/A</x:v>"),
        ({"r": "B1"}, None),
        ({"r": "C1", "s": "2"}, ""),
        ({}, "5 &lt; 6"),
    ]
    assert attributes('name=\'Rise &amp; "Flat"\' id = "&quot;7&quot;"') == {
        "name": 'Rise & "Flat"',
        "id": '"7"',
    }


@pytest.mark.parametrize("beginning", BEGINNINGS)
def test_what_never_ends_is_looked_through_once(beginning: str) -> None:
    text = beginning * (MANY // len(beginning) * 2)
    began = time.process_time()
    for pattern in PATTERNS.values():
        whole = text if isinstance(pattern.pattern, str) else text.encode()
        sum(1 for _ in pattern.finditer(whole))
    attributes(text)
    attributes("a" * MANY)
    assert time.process_time() - began < 10  # on a busy machine; one that looks twice takes far longer


def test_a_workbook_of_beginnings_is_read_at_once(tmp_path: Path) -> None:
    path, never = tmp_path / "sheet.xlsx", "<font><fill><xf <numFmt <c <row <col <v>" * 10_000
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as book:
        book.writestr("xl/workbook.xml", '<workbook><sheets><sheet name="S" r:id="1"/></sheets></workbook>')
        book.writestr("xl/_rels/workbook.xml.rels", '<Relationship Id="1" Target="worksheets/sheet1.xml"/>')
        book.writestr(
            "xl/styles.xml", f"<fonts>{never}</fonts><fills>{never}</fills><cellXfs>{never}</cellXfs>"
        )
        book.writestr("xl/worksheets/sheet1.xml", f"<sheetData><c t='e'><f>{never}</sheetData>")
    began = time.process_time()
    assert looks.hidden(path, "S") == looks.Hidden()
    assert looks.decimals(path, "S", 0, [1]) == {}
    assert looks._looks(path, "S") == {}
    assert errors_shown.errors_shown(path.read_bytes(), "S") == {}
    assert time.process_time() - began < 10
