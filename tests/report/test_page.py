from __future__ import annotations

import itertools
import re
import subprocess
import sys
from pathlib import Path

import pytest

from survivor.analysis import Analysis
from survivor.errors import WritingError
from survivor.report.forms import write_report
from tests.document.reading import Element, read, undrawn
from tests.report.making import SITES, build


@pytest.fixture(scope="module")
def tree(page: str) -> Element:
    return read(page)


@pytest.fixture(scope="module")
def backing(annex_page: str) -> Element:
    return read(annex_page)


def test_ids_are_unique_and_every_link_is_met(tree: Element, backing: Element) -> None:
    ids = [e.attributes["id"] for e in tree.all() if "id" in e.attributes]
    assert len(ids) == len(set(ids))
    asked = [
        value for e in tree.all() for name, value in e.attributes.items() if name in ("href", "xlink:href")
    ]
    assert asked
    within = {value.removeprefix("#") for value in asked if value.startswith("#")}
    assert within <= set(ids)
    # The others lead to a section of the annex, or to another file of the same folder.
    there = {e.attributes["id"] for e in backing.all() if "id" in e.attributes}
    for value in set(asked) - {f"#{name}" for name in within}:
        file, _, key = value.partition("#")
        assert file in ("annex.html", "officer.html", "report.xlsx"), value
        assert not key or key in there, value
    for name in ("aria-labelledby", "aria-describedby"):
        named = {part for e in tree.all() for part in e.attributes.get(name, "").split()}
        assert named <= set(ids)


def test_nothing_is_loaded_and_no_script_runs(page: str, tree: Element) -> None:
    # What is not a link within the page must not be there at all; text may name anything.
    assert not {e.name for e in tree.all()} & {"script", "link", "img", "iframe", "object", "embed", "base"}
    assert not [e for e in tree.all() if set(e.attributes) & {"src", "srcset", "onload", "onclick", "xmlns"}]
    style = "".join(e.text(()) for e in tree.all("style"))
    assert "@import" not in style
    assert "url(" not in style
    assert "http:" not in page
    assert "https:" not in page
    assert all(target.startswith("#") for target in re.findall(r"url\(([^)]*)\)", page))


def test_it_says_its_language_and_title_and_adapts_to_the_screen(page: str, tree: Element) -> None:
    assert page.startswith("<!doctype html>\n")
    assert tree.all("html")[0].attributes["lang"] == "en-GB"
    assert "Invented season" in tree.all("title")[0].text()
    assert any(e.attributes.get("name") == "viewport" for e in tree.all("meta"))
    style = tree.all("style")[0].text(())
    for needed in ("prefers-color-scheme: dark", "@media print", "@media (max-width"):
        assert needed in style


def test_landmarks_and_the_skip_link(backing: Element) -> None:
    for name in ("header", "main", "nav", "footer"):
        assert len(backing.all(name)) == 1
    first = backing.all("body")[0].all("a")[0]
    assert first.attributes == {"class": "skip", "href": "#questions"}
    for section in backing.all("section"):
        assert section.attributes["aria-labelledby"]


def test_headings_go_down_one_level_at_a_time(backing: Element) -> None:
    levels = [int(e.name[1]) for e in backing.all("h1", "h2", "h3", "h4", "h5", "h6")]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))


def test_tables_have_captions_and_scopes_and_can_be_reached(backing: Element) -> None:
    tables = backing.all("table")
    assert len(tables) > 15
    for table in tables:
        assert table.attributes["aria-labelledby"] == f"{table.attributes['id']}-caption"
        heads = table.all("thead")[0].all("th")
        assert all(head.attributes["scope"] == "col" for head in heads)
        for row in table.all("tbody")[0].all("tr"):
            cells = row.all("th", "td")
            assert len(cells) == len(heads)
            assert cells[0].name == "th"
            assert cells[0].attributes["scope"] == "row"
            # A card of a narrow window says beside each cell what it is.
            headings = [" ".join(head.text().split()) for head in heads]
            assert [" ".join(cell.attributes["data-under"].split()) for cell in cells] == headings
    regions = [e for e in backing.all("div") if e.attributes.get("role") == "region"]
    assert 0 < len(regions) < len(tables) / 3  # only those that a wide screen may not hold; others are cards
    assert all(e.attributes["tabindex"] == "0" and e.attributes["aria-label"] for e in regions)


def test_a_long_note_is_given_room_in_its_table(backing: Element) -> None:
    cells = [(" ".join(cell.text().split()), cell) for cell in backing.all("td")]
    long = {words for words, cell in cells if cell.attributes.get("class") == "long"}
    assert any(len(words) > 40 for words, _ in cells)
    assert long == {
        words for words, cell in cells if len(words) > 40 and cell.attributes.get("class") != "number"
    }


def letters(text: str) -> str:
    return re.sub(r"\W", "", text).casefold()


def test_figures_are_images_with_words_a_caption_and_their_numbers(backing: Element) -> None:
    figures = backing.all("figure")
    assert len(figures) >= 9
    for figure in figures:
        assert figure.all("figcaption")[0].text().strip()
        assert figure.all("details")[0].all("table")
        pictures = figure.all("svg")
        assert len(pictures) == 2  # wide and narrow
        for picture in pictures:
            assert picture.attributes["role"] == "img"
            assert picture.all("title")[0].text().strip()
            finding = picture.all("desc")[0].text().strip()
            # Names stand between quotation marks in a description, and in italics on the page.
            assert letters(finding) in letters(figure.all("figcaption")[0].text())


def test_hostile_names_stay_text(annex_page: str, backing: Element) -> None:
    assert "<script" not in annex_page
    hostile = SITES[1]
    assert any(e.text() == hostile for e in backing.all("th"))
    drawn = " ".join(e.text() for e in backing.all("text"))
    assert "<script>alert(1)</script>" in drawn


def test_the_answer_comes_first_with_its_picture(tree: Element) -> None:
    first = tree.all("main")[0].all("section")[0]
    assert first.attributes["id"] == "answer"
    words = first.text()
    for needed in (
        "15 more seedlings alive per 100 planted",
        "Moderate",
        "Target of 70",
        "58 to 74",
    ):
        assert needed in words
    assert len(first.all("figure")) == 1


@pytest.mark.slow
def test_writing_gives_the_page_first_then_the_other_forms_and_tables(
    analysis: Analysis, page: str, tmp_path: Path
) -> None:
    written = write_report(analysis, tmp_path / "new" / "folder")
    assert [file.name for file in written[:9]] == [
        "report.html",
        "annex.html",
        "officer.html",
        "report.pdf",
        "annex.pdf",
        "report.xlsx",
        "summary.txt",
        "findings.json",
        "findings.schema.json",
    ]
    assert all(file.parent.name == "tables" and file.suffix == ".csv" for file in written[9:])
    assert written[0].read_bytes() == page.encode("utf-8")


def test_a_folder_that_cannot_be_written_is_an_error_with_a_mend(analysis: Analysis, tmp_path: Path) -> None:
    taken = tmp_path / "taken"
    taken.write_text("a file stands where the folder should be")
    with pytest.raises(WritingError, match="What to do"):
        write_report(analysis, taken)


@pytest.mark.slow
def test_the_same_analysis_gives_the_same_bytes_in_another_run(page: str) -> None:
    program = (
        "import sys; from tests.report.making import build\n"
        "from survivor.report.arrangement import REPORT\n"
        "from survivor.document.page import page_of\n"
        "sys.stdout.buffer.write(page_of(REPORT.of(build())).encode())"
    )
    root = Path(__file__).parents[2]
    run = subprocess.run(
        [sys.executable, "-c", program],
        cwd=root,
        capture_output=True,
        check=True,
        env={"PYTHONHASHSEED": "17"},
    )
    assert run.stdout == page.encode("utf-8")


def test_the_page_stays_small(page: str) -> None:
    assert len(page.encode("utf-8")) < 900_000


def test_a_title_of_markup_is_a_title() -> None:
    from survivor.report.arrangement import ANNEX

    analysis = build()
    study = analysis.settings.study.model_copy(update={"name": "</title><b>x"})
    hostile = build(settings=analysis.settings.model_copy(update={"study": study}))
    assert "</title><b>x" not in undrawn(ANNEX.of(hostile))
