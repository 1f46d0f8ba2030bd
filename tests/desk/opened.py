"""A desk opened on a folder of invented seasons, asked as a browser would ask it."""

from __future__ import annotations

import shutil
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

from starlette.testclient import TestClient

from survivor.desk.app import make_app
from survivor.desk.guard import Door

DATASETS = Path(__file__).parents[2] / "datasets"
HOST = "127.0.0.1:4711"
ORIGIN = f"http://{HOST}"


class Opened:
    """A desk, its door and a browser that may or may not have come through it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.closed: list[bool] = []
        self.door = Door(HOST)
        self.app, self.desk = make_app(folder, self.door, lambda: self.closed.append(True))
        self.desk.tried.update(path.name for path in folder.iterdir())  # nothing is read by itself

    def stranger(self, **options: Any) -> TestClient:
        return TestClient(self.app, base_url=ORIGIN, follow_redirects=False, **options)

    def browser(self, **options: Any) -> TestClient:
        """Return a browser that came by the first address; it sends its origin as browsers do."""
        browser = self.stranger(headers={"origin": ORIGIN}, **options)
        assert browser.get(f"/enter?key={self.door.key}").status_code == 200
        return browser


def with_seasons(folder: Path) -> Path:
    """Put the two invented seasons of the package into a folder."""
    for name in ("counts", "tagged"):
        shutil.copytree(DATASETS / name, folder / name)
    return folder


class _Form(HTMLParser):
    """Reads what a browser would send of a form that nobody has touched."""

    def __init__(self) -> None:
        super().__init__()
        self.sent: dict[str, str] = {}
        self._select = self._area = ""

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        given = dict(attributes)
        name = given.get("name") or ""
        if tag == "input" and name and given.get("type") != "checkbox":
            self.sent[name] = given.get("value") or ""
        elif tag == "select":
            self._select = name
            self.sent[name] = ""
        elif tag == "option" and "selected" in given:
            self.sent[self._select] = given.get("value") or ""
        elif tag == "textarea":
            self._area = name
            self.sent[name] = ""

    def handle_data(self, data: str) -> None:
        if self._area:
            self.sent[self._area] += data

    def handle_endtag(self, tag: str) -> None:
        if tag == "textarea":
            self._area = ""


def sent_by(page: str) -> dict[str, str]:
    form = _Form()
    form.feed(page)
    return form.sent
