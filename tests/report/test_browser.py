"""Both demo reports opened in a browser, as a reader would: nothing asked of the network, nothing cut off.

Needs Chromium on the machine and the extra ``browser``; without them these checks are
skipped and say so, unless ``SURVIVOR_BROWSER=required`` is set.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import survivor
from survivor.report.page import write_report
from tests.report.conftest import build

DATASETS = Path(__file__).parents[2] / "datasets"
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]

try:
    from axe_playwright_python.sync_playwright import Axe
    from playwright.sync_api import Browser, Page, sync_playwright

    MISSING = "" if CHROMIUM else "Chromium is not on this machine"
except ModuleNotFoundError:
    MISSING = "the extra 'browser' (playwright, axe) is not installed"

if MISSING and os.environ.get("SURVIVOR_BROWSER") == "required":
    raise RuntimeError(f"the browser checks must run here: {MISSING}")

pytestmark = [pytest.mark.slow, pytest.mark.skipif(bool(MISSING), reason=MISSING)]

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
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield opened
        opened.close()


def opened(browser: Browser, file: Path, **options: Any) -> tuple[Page, list[str]]:
    """Open a page; return it and everything that went wrong or was asked for besides the file itself."""
    page = browser.new_page(**options)
    amiss: list[str] = []
    page.on("console", lambda message: amiss.append(f"console: {message.text}"))
    page.on("pageerror", lambda error: amiss.append(f"error: {error}"))
    page.on("request", lambda request: amiss.append(request.url) if request.url != file.as_uri() else None)
    page.goto(file.as_uri())
    return page, amiss


@pytest.mark.parametrize("name", STUDIES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_is_asked_for_and_axe_finds_no_barrier(
    browser: Browser, reports: dict[str, Path], name: str, scheme: str
) -> None:
    page, amiss = opened(browser, reports[name], color_scheme=scheme)
    found = Axe().run(page)
    page.close()
    assert amiss == []
    assert found.violations_count == 0, found.generate_report()


@pytest.mark.parametrize("name", STUDIES)
@pytest.mark.parametrize("width", [360, 1400])
def test_nothing_runs_over_the_edge(
    browser: Browser, reports: dict[str, Path], name: str, width: int
) -> None:
    page, _ = opened(browser, reports[name], viewport={"width": width, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    # Each figure is drawn once for the eye: wide or narrow.
    shown = page.evaluate(
        "[...document.querySelectorAll('figure')].map(f => [...f.querySelectorAll('svg')]"
        ".filter(s => s.getBoundingClientRect().width > 0).length)"
    )
    assert shown
    assert set(shown) == {1}
    page.close()


@pytest.mark.parametrize("name", STUDIES)
@pytest.mark.parametrize("width", [360, 1400])
def test_no_words_of_a_figure_are_cut_off(
    browser: Browser, reports: dict[str, Path], name: str, width: int
) -> None:
    page, _ = opened(browser, reports[name], viewport={"width": width, "height": 800})
    cut = page.evaluate(
        """[...document.querySelectorAll('figure svg')].flatMap(svg => {
            const frame = svg.getBoundingClientRect();
            if (frame.width === 0) return [];
            return [...svg.querySelectorAll('text')].filter(text => {
                const box = text.getBoundingClientRect();
                return box.left < frame.left - 2 || box.right > frame.right + 2
                    || box.top < frame.top - 2 || box.bottom > frame.bottom + 2;
            }).map(text => svg.getAttribute('aria-labelledby') + ': ' + text.textContent);
        })"""
    )
    page.close()
    assert cut == []


def test_the_keyboard_goes_through_the_page_in_reading_order(
    browser: Browser, reports: dict[str, Path]
) -> None:
    page, _ = opened(browser, reports["tagged"])
    places = []
    for _ in range(12):
        page.keyboard.press("Tab")
        places.append(
            page.evaluate(
                "[document.activeElement.getBoundingClientRect().top + scrollY,"
                " document.activeElement.textContent.trim().slice(0, 40)]"
            )
        )
    page.close()
    assert places[0][1] == "Skip to the answer"
    heights = [height for height, _ in places[1:]]
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
