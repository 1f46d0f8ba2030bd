"""What all rooms share: the folder, what was read of it, commands that run, and how a page is answered."""

from __future__ import annotations

import hashlib
import importlib
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from threading import Event, Thread
from typing import Any, Final
from urllib.parse import quote

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from survivor.desk.folder import Folder
from survivor.desk.jobs import Jobs
from survivor.desk.readings import Readings
from survivor.errors import DeskError
from survivor.figures.colours import COLOURS

SCRIPT: Final = "desk.js"
EVERY: Final = ":seasons"  # place of the command that reads every season; no folder is made with such a name
READ: Final = "desk"  # its verb

#: Rooms of a study, in the order in which they are walked through: address and name.
ROOMS: Final = (
    ("sheets", "Sheets"), ("about", "About the season"), ("problems", "Problems"), ("report", "Report"),
)  # fmt: skip

#: What the rooms need and the first page does not, the first needed first.
_LATER: Final = (
    "pandas", "survivor.settings", "survivor.study", "survivor.records.shown", "survivor.proposing.reading",
    "survivor.desk.study_file", "survivor.proposing.proposal", "scipy.stats", "survivor.planning.size",
    "survivor.guideline.file",
)  # fmt: skip
_UNITS: Final = ("m", "cm")  # that a word for a column may end with
_CALLED: Final = {
    "method": "preparation", "state": "state of the seedling", "alive": "number alive", "dead": "number dead",
    "planted": "number planted", "date": "day of the visit", "planted_date": "day of planting",
    "planted_until": "last day of planting", "cohort": "planting or infill", "cause": "cause of death",
}  # fmt: skip

_PAGES: Final = Environment(
    loader=PackageLoader("survivor.desk", "templates"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)


@dataclass(frozen=True)
class Desk:
    """One desk, opened on one folder; `stop` ends its server, and `closing` says that it does.

    `tried` are seasons that it has begun to read by itself, `loading` is what loads for the other rooms.
    """

    folder: Folder
    jobs: Jobs
    readings: Readings
    stop: Callable[[], None]
    closing: Event = field(default_factory=Event)
    tried: set[str] = field(default_factory=set)
    loading: list[Thread] = field(default_factory=list)

    def read_unread(self, seasons: frozenset[str]) -> None:
        """Start reading seasons that nobody has read since they changed, unless these were tried already."""
        if seasons - self.tried and self.jobs.running(EVERY) is None:
            self.tried.update(seasons)
            self.jobs.start(EVERY, READ, [".", "--read"])

    def load_the_rest(self) -> None:
        """Begin, once, to load what the other rooms need; the first page waits for none of it."""
        if not self.loading:
            self.loading.append(Thread(target=self._load))
            self.loading[0].start()

    def _load(self) -> None:
        for name in _PAGES.list_templates(extensions=["j2"]):
            _PAGES.get_template(name)
        for name in _LATER:
            if not self.closing.is_set():
                importlib.import_module(name)

    async def close(self) -> None:
        """End what runs and what is followed."""
        self.closing.set()
        await self.jobs.close()


def desk_of(request: Request) -> Desk:
    """Return the desk that a request came to."""
    desk: Desk = request.app.state.desk
    return desk


def answer(
    request: Request, template: str, status: int = 200, *, place: str | None = None, **values: Any
) -> Response:
    """Return a page.

    Parameters
    ----------
    request
        What is answered.
    template
        Name of its template, without ``.html.j2``.
    status
        Of the answer.
    place
        Study that the page is of, as its path within the folder.
    values
        What the template shows.
    """
    desk = desk_of(request)
    room = request.url.path.split("/")[1]
    said = request.query_params.get("said", "")
    shown = {
        "root": desk.folder.root.name,
        "place": place,
        "room": room,
        "rooms": ROOMS,
        "said": NOTICES.get(said, ""),
    }
    return HTMLResponse(_PAGES.get_template(f"{template}.html.j2").render({**shown, **values}), status)


#: What a page says after something was done, by the word in its address.
NOTICES: Final = {
    "kept": "Saved.",
    "same": "Nothing was changed.",
    "dropped": "The files are in the folder.",
    "stopped": "Stopped. The earlier files are as they were.",
}


def onward(room: str, place: str, said: str = "") -> Response:
    """Lead on to a room, so that a reload does nothing again."""
    return RedirectResponse(address(room, place) + (f"?said={said}" if said else ""), 303)


def address(room: str, place: str) -> str:
    """Address of a room of a study, plan or guideline."""
    return f"/{room}/{quote(place)}"


def our_word(word: str) -> str:
    """Write a word of ours for a column as a person reads it, with its unit."""
    if word in _CALLED:
        return _CALLED[word]
    name, _, unit = word.rpartition("_")
    return f"{name.replace('_', ' ')}, in {unit}" if unit in _UNITS else word.replace("_", " ")


_PAGES.globals |= {"address": address, "our_word": our_word}


def style() -> str:
    """Return the one style sheet: colours by use, the look of every page of survivor, and the desk's own."""
    light = "".join(f"--{name}: {colour.light};" for name, colour in COLOURS.items())
    dark = "".join(f"--{name}: {colour.dark};" for name, colour in COLOURS.items())
    shared = files("survivor.document").joinpath("templates", "page.css").read_text(encoding="utf-8")
    own = files("survivor.desk").joinpath("templates", "desk.css").read_text(encoding="utf-8")
    by_night = f"@media screen and (prefers-color-scheme: dark) {{:root {{{dark}}}}}"
    return f":root {{{light}}}\n{by_night}\n{shared}\n{own}"


def script() -> str:
    """Return the one script."""
    return files("survivor.desk").joinpath("templates", SCRIPT).read_text(encoding="utf-8")


#: Stands in the addresses of both, so that a browser keeps them until they change.
_PAGES.globals["looks"] = hashlib.sha256((style() + script()).encode()).hexdigest()[:16]


def home_of(request: Request) -> Path:
    """Folder of the study that an address names.

    Raises
    ------
    DeskError
        When it lies outside, or is no folder.
    """
    found = desk_of(request).folder.inside(request.path_params["place"])
    if not found.is_dir():
        raise DeskError("there is no such season here", mend="go back to the seasons")
    return found


def file_of(request: Request) -> Path:
    """File of tables that an address names.

    Raises
    ------
    DeskError
        When it lies outside, or is no such file.
    """
    found = desk_of(request).folder.inside(request.path_params["place"])
    if found.suffix != ".toml" or not found.is_file():
        raise DeskError("there is no such file here", mend="go back to the seasons")
    return found


def stopping(room: str, of: Callable[[Request], Path]) -> Callable[[Request], Awaitable[Response]]:
    """Make the answer to a room's stop button: what runs there is ended, and what it made last stays.

    Parameters
    ----------
    room
        Where it leads back to.
    of
        Finds what an address names: ``home_of`` or ``file_of``.
    """

    async def stop(request: Request) -> Response:
        desk = desk_of(request)
        place = desk.folder.name_of(of(request))
        if (job := desk.jobs.running(place)) is not None:
            await job.stop()
        return onward(room, place)

    return stop
