"""Both demo reports opened in a browser, as a reader would: nothing asked of the network, nothing cut off."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from survivor.report.forms import write_report
from tests.document.browsing import (
    in_a_browser,
    no_barrier,
    nothing_over_the_edge,
    opened,
    printed,
    tabbed,
    words_to_read,
)
from tests.document.reading import read
from tests.report.demo import reported
from tests.report.making import build
from tests.writing import write_files

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = in_a_browser

STUDIES = ("tagged", "counts", "hostile")
DOCUMENTS = ("report.html", "annex.html", "officer.html")


@pytest.fixture(scope="module")
def reports(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The pages of both demo cohorts, and one whose sites are named to do harm."""
    folder = tmp_path_factory.mktemp("reports")
    found = {name: write_files(folder / name, reported(name)) / "report.html" for name in STUDIES[:2]}
    found["hostile"] = write_report(build(), folder / "hostile")[0]
    return found


@pytest.mark.parametrize("name", STUDIES)
@pytest.mark.parametrize("file", DOCUMENTS)
def test_nothing_is_asked_for_and_axe_finds_no_barrier(
    browser: Browser, reports: dict[str, Path], name: str, file: str
) -> None:
    no_barrier(browser, reports[name].with_name(file))


@pytest.mark.parametrize("name", STUDIES)
@pytest.mark.parametrize("file", DOCUMENTS)
def test_nothing_runs_over_the_edge_and_no_words_are_cut_off(
    browser: Browser, reports: dict[str, Path], name: str, file: str
) -> None:
    nothing_over_the_edge(browser, reports[name].with_name(file))


@pytest.mark.parametrize("name", STUDIES)
@pytest.mark.parametrize("file", DOCUMENTS[:2])
def test_letters_of_charts_are_as_large_as_words_and_lie_on_no_others(
    browser: Browser, reports: dict[str, Path], name: str, file: str
) -> None:
    assert words_to_read(browser, reports[name].with_name(file)) > 20


def test_the_keyboard_goes_through_the_page_in_reading_order(
    browser: Browser, reports: dict[str, Path]
) -> None:
    page, _ = opened(browser, reports["tagged"])
    places = tabbed(page, 12)
    page.close()
    assert places[0][2] == "Skip to the answer"
    heights = [height for height, _, _ in places[1:]]
    assert heights == sorted(heights)


@pytest.mark.parametrize("name", STUDIES)
def test_it_prints(browser: Browser, reports: dict[str, Path], name: str, tmp_path: Path) -> None:
    file = printed(browser, reports[name], tmp_path / "printed.pdf")
    if shutil.which("pdftotext") is None:
        return
    run = subprocess.run(["pdftotext", "-layout", str(file), "-"], capture_output=True, text=True, check=True)
    sheets = [
        [line.strip() for line in sheet.splitlines() if line.strip()] for sheet in run.stdout.split("\f")
    ]
    page = read(reports[name].read_text(encoding="utf-8"))
    headings = {" ".join(each.text().split()) for each in page.all("h2", "h3", "figcaption")}
    assert len(headings) > 8
    for lines in sheets[:-1]:
        assert lines[-1] not in headings  # what stands below a heading stands on its sheet
    # The people and the days stand on one sheet, and so does each short table.
    terms = [" ".join(each.text().split()) for each in page.all("dt")]
    begun = [sum(any(line.startswith(term) for line in lines) for term in terms) for lines in sheets]
    assert sorted(begun)[-1] >= len(terms)


def test_a_site_named_as_a_script_stays_text(browser: Browser, reports: dict[str, Path]) -> None:
    page, _ = opened(browser, reports["hostile"].with_name("annex.html"))
    assert page.evaluate("document.querySelectorAll('script').length") == 0
    assert "<script>alert(1)</script>" in page.inner_text("body")
    page.close()
