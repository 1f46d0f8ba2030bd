"""The guideline of the demo's three seasons in a browser and as a PDF: the same tests as a report's.

Its kinds of ground are named to do harm in one of the two pages looked at.
"""

from __future__ import annotations

import itertools
import re
import subprocess
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd
import pikepdf
import pytest
from pydantic import BaseModel

from survivor.guideline import Guideline, write_guideline
from tests.document import poppler
from tests.document.browsing import (
    in_a_browser,
    no_barrier,
    nothing_over_the_edge,
    opened,
    printed,
    tabbed,
    words_to_read,
)
from tests.document.poppler import needs_poppler, text_of
from tests.document.reading import elements, tags

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = in_a_browser

GROUND = "clay flats"
HOSTILE = '<script>alert(1)</script> & "flats" $5 #pagebreak() *b*'
FOLDERS = ("demo", "hostile")


def renamed(part: Any) -> Any:
    """The same with a kind of ground named to do harm, wherever it stands."""
    if isinstance(part, str):
        return part.replace(GROUND, HOSTILE)
    if isinstance(part, tuple):
        return tuple(renamed(each) for each in part)
    if isinstance(part, pd.DataFrame):
        return part.assign(ground=part["ground"].map(renamed)) if "ground" in part else part
    if isinstance(part, BaseModel):
        return part.model_copy(
            update={name: renamed(getattr(part, name)) for name in type(part).model_fields}
        )
    if is_dataclass(part) and not isinstance(part, type) and "guideline" in type(part).__module__:
        names = [each.name for each in fields(part) if each.name not in ("seasons", "path")]
        return replace(part, **{name: renamed(getattr(part, name)) for name in names})
    return part


@pytest.fixture(scope="module")
def hostile(made: Guideline) -> Guideline:
    return renamed(made)


@pytest.fixture(scope="module")
def folders(made: Guideline, hostile: Guideline, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Every file of both guidelines."""
    place = tmp_path_factory.mktemp("guidelines")
    for name, each in zip(FOLDERS, (made, hostile), strict=True):
        write_guideline(each, place / name, issue=False)
    return {name: place / name for name in FOLDERS}


@pytest.mark.parametrize("name", FOLDERS)
def test_nothing_is_asked_for_and_axe_finds_no_barrier(
    browser: Browser, folders: dict[str, Path], name: str
) -> None:
    no_barrier(browser, folders[name] / "guideline.html")


@pytest.mark.parametrize("name", FOLDERS)
def test_nothing_runs_over_the_edge_and_no_words_are_cut_off(
    browser: Browser, folders: dict[str, Path], name: str
) -> None:
    nothing_over_the_edge(browser, folders[name] / "guideline.html")


@pytest.mark.parametrize("name", FOLDERS)
def test_letters_of_the_chart_are_as_large_as_words_and_lie_on_no_others(
    browser: Browser, folders: dict[str, Path], name: str
) -> None:
    assert words_to_read(browser, folders[name] / "guideline.html") > 20


@pytest.mark.parametrize("width", [360, 1400])
def test_the_keyboard_goes_through_the_page_in_reading_order(
    browser: Browser, folders: dict[str, Path], width: int
) -> None:
    page, _ = opened(browser, folders["demo"] / "guideline.html", viewport={"width": width, "height": 800})
    places = tabbed(page, 20)
    page.close()
    assert len(places) > 8
    assert places[0][2] == "Skip to the answer"
    order = [place for _, place, _ in places]
    assert order == sorted(order)
    assert len(set(order)) == len(order)
    if width == 360:  # one column: what comes next stands lower
        heights = [height for height, _, _ in places[1:]]
        assert heights == sorted(heights)


def test_it_prints_without_what_is_only_for_a_screen(
    browser: Browser, folders: dict[str, Path], tmp_path: Path
) -> None:
    file = printed(browser, folders["demo"] / "guideline.html", tmp_path / "printed.pdf")
    if poppler.HERE:
        words = re.sub(r"\s+", " ", text_of(file))
        assert "On clay flats nothing is advised yet in place of spot spray only" in words
        assert "No product and no rate" in words or "no product and no rate" in words
        over_the_edge(file)


def test_a_ground_named_as_a_script_stays_text_everywhere(browser: Browser, folders: dict[str, Path]) -> None:
    page, amiss = opened(browser, folders["hostile"] / "guideline.html")
    assert page.evaluate("document.querySelectorAll('script, b').length") == 0
    assert "<script>alert(1)</script>" in page.inner_text("body")
    assert "<script>alert(1)</script>" in page.evaluate(
        "[...document.querySelectorAll('svg desc, svg title, svg text')].map(e => e.textContent).join(' ')"
    )
    page.close()
    assert amiss == []
    for name in ("advice.csv", "try-next.csv"):
        assert set(pd.read_csv(folders["hostile"] / name)["ground"]) == {HOSTILE, "loam slopes"}


@needs_poppler
def test_the_document_says_a_hostile_ground_as_it_is(folders: dict[str, Path]) -> None:
    words = re.sub(r"\s", "", text_of(folders["hostile"] / "guideline.pdf"))
    assert words.count(re.sub(r"\s", "", HOSTILE)) >= 3


@pytest.mark.parametrize("name", FOLDERS)
def test_the_document_is_one_or_two_pages_and_tagged_in_reading_order(
    folders: dict[str, Path], name: str
) -> None:
    # ISO 14289-1 (PDF/UA-1), from memory: marked, a language, a title shown, the mark; one heading of
    # the first level, and no level left out; tables with heads.
    with pikepdf.open(folders[name] / "guideline.pdf") as pdf:
        assert 1 <= len(pdf.pages) <= 2
        assert pdf.Root.MarkInfo.Marked
        assert str(pdf.Root.Lang) == "en-GB"
        assert pdf.Root.ViewerPreferences.DisplayDocTitle
        with pdf.open_metadata() as metadata:
            assert metadata["pdfuaid:part"] == "1"
        found = tags(pdf)
        levels = [int(tag[2:]) for tag in found if re.fullmatch(r"/H\d", tag)]
        assert levels[0] == 1
        assert levels.count(1) == 1
        assert all(after - before <= 1 for before, after in itertools.pairwise(levels))
        for table in (each for each in elements(pdf.Root.StructTreeRoot) if str(each.S) == "/Table"):
            inside = [str(each.S) for each in elements(table)]
            assert "/TH" in inside
            assert inside.count("/TD") > inside.count("/TH")
        assert found.count("/Table") == 2  # what stands behind the advice and what it costs, when to start
        assert found.count("/L") >= 2


@needs_poppler
def test_letters_of_the_document_s_chart_are_as_large_as_its_words(folders: dict[str, Path]) -> None:
    # "(+)" stands in the chart alone; the sentence below the answer begins with "Plants".
    high = {word: low - top for _, top, _, low, word in boxes_of(folders["demo"] / "guideline.pdf")[0]}
    assert high["(+)"] >= high["Plants"]


@needs_poppler
@pytest.mark.parametrize("name", FOLDERS)
def test_no_words_of_the_document_are_cut_or_lie_on_others(
    folders: dict[str, Path], name: str, tmp_path: Path
) -> None:
    file = folders[name] / "guideline.pdf"
    over_the_edge(file)
    boxes = boxes_of(file)
    for page in boxes:
        assert len(page) > 200
        for place, (left, top, right, low, word) in enumerate(page):
            for other in page[place + 1 :]:
                wide = min(right, other[2]) - max(left, other[0])
                high = min(low, other[3]) - max(top, other[1])
                assert not (wide > 1 and high > 3), (word, other[4])
    # Rendered, the margins are bare: nothing runs out of the page.
    subprocess.run(["pdftoppm", "-r", "50", "-gray", str(file), str(tmp_path / "page")], check=True)
    images = sorted(tmp_path.glob("page*.pgm"))
    assert len(images) == len(boxes)
    for image in images:
        rows = grey(image)
        edge = 12  # 6 mm at 50 dots an inch; the margins are 13 mm and more
        for line in (rows[0], rows[edge], rows[-1], *(row[:edge] + row[-edge:] for row in rows)):
            assert min(line) > 200
        assert min(min(row) for row in rows) < 100


def test_the_same_input_gives_the_same_bytes(made: Guideline, folders: dict[str, Path]) -> None:
    # Beside the first, since the plan names its study by the way to it.
    again = write_guideline(made, folders["demo"].parent / "again", issue=False)
    for file in again:
        assert file.read_bytes() == (folders["demo"] / file.name).read_bytes(), file.name


def boxes_of(file: Path) -> list[list[tuple[float, float, float, float, str]]]:
    """The words of every page with their boxes, in points."""
    number = r'"([\d.]+)"'
    word = re.compile(rf"<word xMin={number} yMin={number} xMax={number} yMax={number}>(.*?)</word>")
    pages = text_of(file, "-bbox").split("<page ")[1:]
    return [
        [(*(float(each) for each in found[:4]), found[4]) for found in word.findall(page)] for page in pages
    ]


def over_the_edge(file: Path) -> None:
    """Fail where words stand outside an A4 page less 5 mm."""
    inset, wide, high = 5 / 25.4 * 72, 595.3, 841.9
    for page in boxes_of(file):
        out = [box[4] for box in page if box[0] < inset or box[2] > wide - inset or box[3] > high - inset]
        assert out == []


def grey(image: Path) -> list[bytes]:
    """Rows of a grey picture (PGM, one byte a dot)."""
    head, size, _, dots = image.read_bytes().split(b"\n", 3)
    assert head == b"P5"
    wide, high = (int(each) for each in size.split())
    return [dots[row * wide : (row + 1) * wide] for row in range(high)]
