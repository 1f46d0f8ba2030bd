"""Both demo reports opened in a browser, as a reader would: nothing asked of the network, nothing cut off."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

import survivor
from survivor.report.page import write_report
from tests.report.browsing import (
    barriers,
    in_a_browser,
    open_browser,
    opened,
    outside,
    tabbed,
    times_drawn,
    words_cut_off,
)
from tests.report.conftest import build

if TYPE_CHECKING:
    from playwright.sync_api import Browser

DATASETS = Path(__file__).parents[2] / "datasets"

pytestmark = in_a_browser

STUDIES = ("tagged", "counts", "hostile")


@pytest.fixture(scope="module")
def reports(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The pages of both demo cohorts, and one whose sites are named to do harm."""
    folder = tmp_path_factory.mktemp("reports")
    found = {name: Path(survivor.load(DATASETS / name).report(folder / name)[0]) for name in STUDIES[:2]}
    found["hostile"] = write_report(build(), folder / "hostile")[0]
    return found


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    yield from open_browser()


@pytest.mark.parametrize("name", STUDIES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_is_asked_for_and_axe_finds_no_barrier(
    browser: Browser, reports: dict[str, Path], name: str, scheme: str
) -> None:
    page, amiss = opened(browser, reports[name], color_scheme=scheme)
    found = barriers(page)
    page.close()
    assert amiss == []
    assert found == ""


@pytest.mark.parametrize("name", STUDIES)
@pytest.mark.parametrize("width", [360, 1400])
def test_nothing_runs_over_the_edge(
    browser: Browser, reports: dict[str, Path], name: str, width: int
) -> None:
    page, _ = opened(browser, reports[name], viewport={"width": width, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert outside(page) == []
    # Each figure is drawn once for the eye: wide or narrow.
    shown = times_drawn(page)
    assert shown
    assert set(shown) == {1}
    page.close()


@pytest.mark.parametrize("name", STUDIES)
@pytest.mark.parametrize("width", [360, 1400])
def test_no_words_of_a_figure_are_cut_off(
    browser: Browser, reports: dict[str, Path], name: str, width: int
) -> None:
    page, _ = opened(browser, reports[name], viewport={"width": width, "height": 800})
    cut = words_cut_off(page)
    page.close()
    assert cut == []


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
    page, _ = opened(browser, reports[name])
    page.emulate_media(media="print")
    assert page.evaluate("getComputedStyle(document.querySelector('nav')).display") == "none"
    printed = tmp_path / "printed.pdf"
    page.pdf(path=printed, format="A4")
    page.close()
    assert printed.stat().st_size > 50_000


def test_a_site_named_as_a_script_stays_text(browser: Browser, reports: dict[str, Path]) -> None:
    page, _ = opened(browser, reports["hostile"])
    assert page.evaluate("document.querySelectorAll('script').length") == 0
    assert "<script>alert(1)</script>" in page.inner_text("body")
    page.close()
