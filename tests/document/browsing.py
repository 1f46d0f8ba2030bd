"""What tests in a browser share: whether there is one, and a page opened as a reader would.

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

in_a_browser = [pytest.mark.slow, pytest.mark.skipif(bool(MISSING), reason=MISSING)]

_CUT_OFF = """[...document.querySelectorAll('figure svg')].flatMap(svg => {
    const frame = svg.getBoundingClientRect();
    if (frame.width === 0) return [];
    return [...svg.querySelectorAll('text')].filter(text => {
        const box = text.getBoundingClientRect();
        return box.left < frame.left - 2 || box.right > frame.right + 2
            || box.top < frame.top - 2 || box.bottom > frame.bottom + 2;
    }).map(text => svg.getAttribute('aria-labelledby') + ': ' + text.textContent);
})"""
_DRAWN_ONCE = (
    "[...document.querySelectorAll('figure')].map(f => [...f.querySelectorAll('svg')]"
    ".filter(s => s.getBoundingClientRect().width > 0).length)"
)
# A table that is wider than its place scrolls in a frame of its own that the keyboard reaches.
_OUTSIDE = """[...document.querySelectorAll('main *, header *')].filter(each => {
    const box = each.getBoundingClientRect();
    const framed = each.closest('.scroll[tabindex="0"]');
    return box.width > 0 && !framed && (box.right > innerWidth + 1 || box.left < -1
        || (getComputedStyle(each).overflowX !== 'visible' && each.scrollWidth > each.clientWidth + 1));
}).map(each => each.tagName + ': ' + each.textContent.trim().slice(0, 60))"""


def open_browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield found
        found.close()


def opened(browser: Browser, file: Path, **options: Any) -> tuple[Page, list[str]]:
    """Open a page; return it and everything that went wrong or was asked for besides the file itself."""
    page = browser.new_page(**options)
    amiss: list[str] = []
    page.on("console", lambda message: amiss.append(f"console: {message.text}"))
    page.on("pageerror", lambda error: amiss.append(f"error: {error}"))
    page.on("request", lambda request: amiss.append(request.url) if request.url != file.as_uri() else None)
    page.goto(file.as_uri())
    return page, amiss


def barriers(page: Page) -> str:
    """Return what axe finds, in words; empty where it finds nothing."""
    found = Axe().run(page)
    return "" if found.violations_count == 0 else str(found.generate_report())


def words_cut_off(page: Page) -> list[str]:
    """Words of a figure that its frame cuts off."""
    found: list[str] = page.evaluate(_CUT_OFF)
    return found


def outside(page: Page) -> list[str]:
    """Elements that stand over the edge of the window, or hide some of their words."""
    found: list[str] = page.evaluate(_OUTSIDE)
    return found


def times_drawn(page: Page) -> list[int]:
    """How often each figure is shown: once for the eye, wide or narrow."""
    found: list[int] = page.evaluate(_DRAWN_ONCE)
    return found


def tabbed(page: Page, times: int) -> list[tuple[float, int, str]]:
    """Places that the keyboard comes to: distance from the top, place in the document, first words.

    Past the last of them the keyboard leaves the page, and no more are told.
    """
    found = []
    for _ in range(times):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement === document.body"):
            break
        found.append(
            page.evaluate(
                "[document.activeElement.getBoundingClientRect().top + scrollY,"
                " [...document.querySelectorAll('*')].indexOf(document.activeElement),"
                " document.activeElement.textContent.trim().slice(0, 40)]"
            )
        )
    return [(float(top), int(place), str(text)) for top, place, text in found]


def no_barrier(browser: Browser, file: Path, scheme: str) -> None:
    """Fail where a page asks for anything besides itself, or axe finds a barrier."""
    page, amiss = opened(browser, file, color_scheme=scheme)
    violations = barriers(page)
    page.close()
    assert amiss == []
    assert violations == ""


def nothing_over_the_edge(browser: Browser, file: Path, width: int) -> None:
    """Fail where something stands over the edge, words are cut off, or a figure is not drawn once."""
    page, _ = opened(browser, file, viewport={"width": width, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert outside(page) == []
    assert words_cut_off(page) == []
    assert set(times_drawn(page)) <= {1}  # wide or narrow; a document may have no figure
    page.close()


def printed(browser: Browser, file: Path, to: Path) -> Path:
    """Print a page to a PDF, without what is only for a screen."""
    page, _ = opened(browser, file)
    page.emulate_media(media="print")
    screen_only = page.locator("nav, .skip")
    assert screen_only.count() > 0
    assert not any(each.is_visible() for each in screen_only.all())
    page.pdf(path=to, format="A4")
    page.close()
    assert to.stat().st_size > 50_000
    return to
