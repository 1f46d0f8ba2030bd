"""Every room as a person meets it: no barrier, focus always seen, words that can be read, a picture."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.desk.reading_age import reading_age, sentences_of
from tests.desk.rooms import PICTURES, ROOMS, at_rest, filled, opened_on, pictures
from tests.desk.started import Started, come_in
from tests.document.browsing import barriers, in_a_browser, outside

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = in_a_browser

README = Path(__file__).parents[2] / "README.md"
EVERY = (*ROOMS.values(), "/sheets/counts", "/sheets/all/season-2021", "/problems/tagged", "/nowhere")
OLDEST = 14

_NOT_SEEN = """() => [...document.querySelectorAll(
    'a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex="0"]')].filter(each => {
    each.focus();
    const look = getComputedStyle(each), box = each.getBoundingClientRect();
    const bar = document.querySelector('.keep')?.getBoundingClientRect();
    const hidden = bar && !each.closest('.keep') && box.top >= bar.top && box.bottom <= bar.bottom
        && box.left < bar.right && box.right > bar.left;
    return document.activeElement === each && box.width > 0
        && (look.outlineStyle === 'none' || parseFloat(look.outlineWidth) < 2 || hidden
            || box.bottom < 0 || box.top > innerHeight);
}).map(each => each.tagName + ' ' + (each.id || each.textContent.trim().slice(0, 30)))"""

# What a room says itself: neither cells of a sheet, nor what a command says, nor names of files.
_OWN_WORDS = """() => [...document.querySelectorAll(
    'main p, main li, main h2, main h3, main label, main legend, main summary, main .hint, main figcaption')]
    .filter(each => !each.closest('.grid, .files, pre, dl, .cards'))
    .filter(each => !each.querySelector('p, li, h2, .hint'))
    .map(each => each.textContent.replace(/\\s+/g, ' ').trim())"""


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Started]:
    with opened_on(filled(tmp_path_factory.mktemp("desk"))) as started:
        yield started


@pytest.mark.parametrize("width", [1280, 390])
def test_no_room_has_a_barrier(browser: "Browser", desk: Started, width: int):
    """With every form and table open: axe finds nothing, focus is seen, nothing lies beyond the edge."""
    page, amiss = come_in(browser, desk, viewport={"width": width, "height": 800})
    for room in EVERY:
        page.goto(desk.origin + room)
        at_rest(page)
        page.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true; })")
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            assert page.evaluate(f"matchMedia('(prefers-color-scheme: {scheme})').matches")
            assert barriers(page, colours_alone=scheme == "dark") == "", (room, scheme)
            page.keyboard.press("Tab")
            assert page.evaluate(_NOT_SEEN) == [], (room, scheme)
            assert page.evaluate("document.documentElement.scrollWidth") <= width, (room, scheme)
            over = [each for each in outside(page) if not each.startswith(("INPUT", "OPTION"))]
            assert over == [], (room, scheme)
    assert [each for each in amiss if "404" not in each] == []  # a page that is not there is a room too
    page.context.close()


def test_every_room_is_read_at_fourteen(
    browser: "Browser", desk: Started, capsys: pytest.CaptureFixture[str]
):
    page, _ = come_in(browser, desk)
    ages = {}
    for name, address in ROOMS.items():
        page.goto(desk.origin + address)
        at_rest(page)
        ages[name] = reading_age(sentences_of(page.evaluate(_OWN_WORDS)))
    page.goto(f"{desk.origin}/problems/tagged")  # of many cells the first are named, and how many more
    assert set(re.findall(r"(.)and [\d,]+ more", page.locator("main").inner_text())) == {" "}
    page.context.close()
    with capsys.disabled():
        print("\nreading age of each room:", ", ".join(f"{name} {age:.1f}" for name, age in ages.items()))
    assert {name: age for name, age in ages.items() if age > OLDEST} == {}


def test_the_readme_shows_a_picture_of_each_room(browser: "Browser", desk: Started, tmp_path: Path):
    """Made anew here, so that what the README shows can be made; letters differ from machine to machine."""
    from PIL import Image

    made = pictures(browser, desk, tmp_path)
    assert [file.stem for file in made] == list(ROOMS)
    shown = re.findall(r"reports/desk/(\w+)\.png", README.read_text(encoding="utf-8"))
    assert sorted(set(shown)) == sorted(ROOMS)
    for file in made:
        with Image.open(file) as new, Image.open(PICTURES / file.name) as kept:
            assert new.size == kept.size
            assert len(new.convert("RGB").getcolors(10**6) or []) > 8  # a page, not a blank
        assert (PICTURES / file.name).stat().st_size < 120_000
