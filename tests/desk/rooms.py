"""The rooms of a desk with invented seasons in it, and a picture of each for those who read about it."""

from __future__ import annotations

import contextlib
import io
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from survivor.planning.folder import write_blank
from survivor.proposing.proposal import propose, write_proposal
from tests.desk.opened import DATASETS, with_seasons
from tests.desk.started import WORKBOOKS, Started, come_in

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

EXAMPLES = Path(__file__).parents[2] / "reports" / "examples"
PICTURES = Path(__file__).parents[2] / "reports" / "desk"
WIDTH, HEIGHT = 1120, 700
_COLOURS = 48  # of a picture: pages have few

#: Picture of each room -> its address.
ROOMS = {
    "seasons": "/",
    "sheets": "/sheets/brackenmere",
    "about": "/about/tagged",
    "problems": "/problems/brackenmere",
    "report": "/report/counts",
    "plan": "/plan/winter/plan.toml",
    "guideline": "/guideline/all/guideline.toml",
}


def filled(folder: Path) -> Path:
    """Fill a folder with invented seasons, a workbook as it came, reports, a plan and a guideline."""
    with_seasons(folder)
    shutil.copytree(DATASETS / "seasons", folder / "all")
    write_blank(folder / "winter")
    home = folder / "brackenmere"
    home.mkdir()
    for sheet in WORKBOOKS.glob("p01-brackenmere*"):
        if sheet.suffix != ".json":
            shutil.copy(sheet, home)
    write_proposal(home, propose(home))
    for name in ("counts", "tagged"):
        shutil.copytree(EXAMPLES / name, folder / "reports" / name)
    return folder


@contextlib.contextmanager
def opened_on(folder: Path) -> Iterator[Started]:
    """Open a desk on a folder for a while."""
    desk = Started(folder)
    try:
        yield desk
    finally:
        desk.close()


def at_rest(page: Page) -> None:
    """Wait until no season is being read and frames are drawn."""
    page.locator("[data-progress]").wait_for(state="detached")
    page.wait_for_load_state("load")


def pictures(browser: Browser, desk: Started, to: Path) -> list[Path]:
    """Take a picture of each room; return the files."""
    from PIL import Image

    to.mkdir(parents=True, exist_ok=True)
    page, _ = come_in(browser, desk, viewport={"width": WIDTH, "height": HEIGHT})
    made = []
    for name, address in ROOMS.items():
        page.goto(desk.origin + address)
        at_rest(page)
        if name == "report":
            page.frame_locator("iframe.report").locator("svg").first.wait_for()
        taken = Image.open(io.BytesIO(page.screenshot()))
        made.append(to / f"{name}.png")
        taken.convert("RGB").quantize(_COLOURS, dither=Image.Dither.NONE).save(made[-1], optimize=True)
    page.context.close()
    return made


def main(to: Path) -> None:
    """Make the pictures of the README: ``python -m tests.desk.rooms``."""
    import tempfile

    from tests.document.browsing import open_browser

    with tempfile.TemporaryDirectory() as place, opened_on(filled(Path(place) / "seasons")) as desk:
        for browser in open_browser():
            for file in pictures(browser, desk, to):
                sys.stdout.write(f"{file.name}: {file.stat().st_size:,} bytes\n")


if __name__ == "__main__":
    main(PICTURES)
