"""A desk in a process of its own, a page in it, and the files that it leaves."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

WORKBOOKS = Path(__file__).parents[1] / "records" / "workbooks"
# Sums of many threads differ in their last digit: that the bytes of two runs are the same is left to the
# desk and the commands, which both see to it themselves.
ALIKE = {name: value for name, value in os.environ.items() if name != "OPENBLAS_NUM_THREADS"}
ALIKE["PYTHONUNBUFFERED"] = "1"
LONG = 600_000  # milliseconds that a report may take on a busy machine


class Started:
    """A desk in a process of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.process = subprocess.Popen(
            [sys.executable, "-m", "survivor", "desk", str(folder), "--no-browser"],
            stdout=subprocess.PIPE,
            text=True,
            env=ALIKE,
        )
        assert self.process.stdout is not None
        found = re.search(r"http://\S+", self.process.stdout.readline())
        assert found
        self.entrance = found[0]
        self.origin = self.entrance.partition("/enter")[0]

    def close(self) -> int:
        assert self.process.stdout is not None
        if self.process.poll() is None:
            self.process.send_signal(2)  # Ctrl-C
        status = self.process.wait(20)
        self.process.stdout.close()
        return status


def come_in(browser: Browser, desk: Started, **options: Any) -> tuple[Page, list[str]]:
    """Come in by the first address; return the page and what goes wrong in it, or is asked for elsewhere."""
    page = browser.new_context(**options).new_page()
    page.set_default_timeout(LONG)
    amiss: list[str] = []

    def asked(address: str) -> None:
        if not address.startswith((desk.origin, "data:")):
            amiss.append(address)

    page.on("console", lambda message: amiss.append(message.text))
    page.on("pageerror", lambda error: amiss.append(str(error)))
    page.on("request", lambda request: asked(request.url))
    page.goto(desk.entrance)
    page.wait_for_url(f"{desk.origin}/")
    return page, amiss


def drop(page: Page, files: list[Path]) -> None:
    """Drop files on the page, as a hand does."""
    sent = [[file.name, list(file.read_bytes())] for file in files]
    transfer = page.evaluate_handle(
        """sent => { const held = new DataTransfer();
        for (const [name, bytes] of sent) held.items.add(new File([new Uint8Array(bytes)], name));
        return held; }""",
        sent,
    )
    page.dispatch_event("main", "drop", {"dataTransfer": transfer})


def files_in(folder: Path) -> dict[str, bytes]:
    """Every file, without those that hold the folder's own path or are the desk's own."""
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in files
        if not any(part.startswith(".") for part in path.relative_to(folder).parts)
    }
