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
# Every text of a drawing as it is shown: its letters in pixels, its words, and those of others under them.
_LETTERS = """[...document.querySelectorAll('figure svg')].flatMap(svg => {
    if (svg.getBoundingClientRect().width === 0) return [];
    const name = svg.getAttribute('aria-labelledby') + ': ';
    const texts = [...svg.querySelectorAll('text')].map(text => [text, text.getBoundingClientRect()]);
    return texts.map(([text, box], place) => {
        const on = text.getScreenCTM(), scale = Math.sqrt(Math.abs(on.a * on.d - on.b * on.c));
        const under = texts.slice(place + 1).filter(([_, other]) =>
            Math.min(box.right, other.right) - Math.max(box.left, other.left) > 1.5
            && Math.min(box.bottom, other.bottom) - Math.max(box.top, other.top) > 4);
        return [parseFloat(getComputedStyle(text).fontSize) * scale, name + text.textContent,
            under.map(([other, _]) => other.textContent).join(' | ')];
    });
})"""
LEAST_LETTERS = 16  # pixels; the words of a page have 17
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


def barriers(page: Page, *, colours_alone: bool = False) -> str:
    """Return what axe finds, in words; empty where it finds nothing.

    ``colours_alone``: only what is asked of colours, of a page of which the rest is seen in other colours.
    """
    asked = {"resultTypes": ["violations"]}
    if colours_alone:
        asked["runOnly"] = ["color-contrast", "link-in-text-block"]
    found = Axe().run(page, options=asked)
    return "" if found.violations_count == 0 else str(found.generate_report())


def words_cut_off(page: Page) -> list[str]:
    """Words of a figure that its frame cuts off."""
    found: list[str] = page.evaluate(_CUT_OFF)
    return found


def outside(page: Page) -> list[str]:
    """Elements that stand over the edge of the window, or hide some of their words."""
    found: list[str] = page.evaluate(_OUTSIDE)
    return found


def words_to_read(browser: Browser, file: Path) -> int:
    """Fail where letters of a drawing are smaller than a page's words, or words lie on others; count them."""
    read = 0
    page, _ = opened(browser, file)
    for width in (1280, 390):
        page.set_viewport_size({"width": width, "height": 800})
        found = page.evaluate(_LETTERS)
        read += len(found)
        assert [(size, words) for size, words, _ in found if size < LEAST_LETTERS - 0.05] == []
        assert [(words, under) for _, words, under in found if under] == []
    page.close()
    return read


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


def no_barrier(browser: Browser, file: Path) -> None:
    """Fail where a page asks for anything besides itself, or axe finds a barrier, by light or in the dark."""
    page, amiss = opened(browser, file, color_scheme="light")
    by_light = barriers(page)
    page.emulate_media(color_scheme="dark")
    assert page.evaluate("matchMedia('(prefers-color-scheme: dark)').matches")
    in_the_dark = barriers(page, colours_alone=True)
    page.close()
    assert amiss == []
    assert (by_light, in_the_dark) == ("", "")


def nothing_over_the_edge(browser: Browser, file: Path) -> None:
    """Fail where something stands over the edge, words are cut off, or a figure is not drawn once."""
    page, _ = opened(browser, file)
    for width in (1400, 360):
        page.set_viewport_size({"width": width, "height": 800})
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
