"""The room of a guideline: its file as a form, a draft to look at, and a version when it is right."""

from __future__ import annotations

import datetime as dt
import os
from pathlib import Path
from typing import Any, Final

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from survivor.desk.choosing import COLUMNS, NAME, begun, offers, seasons_changed
from survivor.desk.desk import Desk, answer, desk_of, file_of, onward, stopping
from survivor.desk.folder import REPORTS, first_letters, safe_name
from survivor.desk.named import files_named, tables_of
from survivor.desk.rooms.about import Form, kept_in, kept_or_faults, typed_in
from survivor.desk.rooms.report import files_in
from survivor.errors import DeskError
from survivor.files.writing import write_whole

ROOM: Final = "guideline"
PAGE: Final = "guideline.html"


async def show(request: Request) -> Response:
    """Show the guideline file, and the guideline as it was made last."""
    desk, file = desk_of(request), file_of(request)
    form = await run_in_threadpool(lambda: Form.made(kept_in(file, ROOM)))
    return answer(request, ROOM, form=form, **_values(desk, file))


def _values(desk: Desk, file: Path) -> dict[str, Any]:
    place = desk.folder.name_of(file)
    folder = desk.folder.root / REPORTS / file.parent.name
    files = files_in(desk, folder)
    return {
        "seasons": offers(desk.folder, file),
        "file": place,
        "job": desk.jobs.last(place, ROOM),
        "files": files,
        "folder": desk.folder.name_of(folder),
        "shown": next((each.place for each in files if each.name == PAGE), ""),
    }


async def change(request: Request) -> Response:
    """Keep what was typed, or show what is wrong with it beside each field and keep nothing."""
    desk, file = desk_of(request), file_of(request)
    typed = await typed_in(request)
    changed, form = await run_in_threadpool(lambda: kept_or_faults(kept_in(file, ROOM), typed))
    if form is not None:
        return answer(request, ROOM, 422, form=form, **_values(desk, file))
    return onward(ROOM, desk.folder.name_of(file), "kept" if changed else "same")


async def choose(request: Request) -> Response:
    """Take seasons into the guideline, or out of it."""
    desk, file = desk_of(request), file_of(request)
    async with request.form(max_fields=2_000) as form:
        chosen, of = [str(each) for each in form.getlist("season")], str(form.get("of", ""))
    kept = await run_in_threadpool(_chosen, desk, file, chosen, of)
    return onward(ROOM, desk.folder.name_of(file), "kept" if kept else "same")


def _chosen(desk: Desk, file: Path, chosen: list[str], of: str) -> bool:
    from survivor.guideline.file import read_guideline
    from survivor.guideline.record import issued_versions

    issued = issued_versions(file, read_guideline(file).guideline.name)
    return kept_in(file, ROOM).change(seasons_changed(desk.folder, file, chosen, issued), of)


async def begin(request: Request) -> Response:
    """Write a guideline file for some seasons, one kind of ground for each word of a column."""
    desk = desk_of(request)
    async with request.form(max_fields=2_000) as form:
        name, column = (str(form.get(key, "")).strip() for key in ("name", "column"))
        chosen = [str(each) for each in form.getlist("season")]
    home = desk.folder.inside(safe_name(name))
    if home.exists():
        raise DeskError("there is a folder of this name already", where=home.name, mend="give another name")
    if column not in COLUMNS:
        raise DeskError("there is no such column of the plots", mend="go back and choose again")
    studies = []
    for each in chosen:
        season = desk.folder.inside(each)
        reading = await desk.readings.of(season)
        if reading.study is None:
            raise reading.fault or DeskError("there is no such season here", where=first_letters(each))
        studies.append((Path(os.path.relpath(season, home)).as_posix(), reading.study))
    text = await run_in_threadpool(begun, name, studies, column, dt.date.today())
    home.mkdir()
    await run_in_threadpool(write_whole, home / NAME, text.encode(), "the guideline file")
    return onward(ROOM, desk.folder.name_of(home / NAME))


async def draft(request: Request) -> Response:
    """Make the guideline to be looked at; no version is issued."""
    return _made(request, ["--draft"])


async def issue(request: Request) -> Response:
    """Issue this version: what it says is held to from then on."""
    return _made(request, [])


def _made(request: Request, options: list[str]) -> Response:
    desk, file = desk_of(request), file_of(request)
    place = desk.folder.name_of(file)
    desk.folder.keep_inside(file.parent, files_named(tables_of(file)))
    desk.jobs.start(place, ROOM, [place, *options])
    return onward(ROOM, place)


ROUTES = [
    Route("/new/guideline", begin, methods=["POST"]),
    Route("/guideline/{place:path}/seasons", choose, methods=["POST"]),
    Route("/guideline/{place:path}/stop", stopping(ROOM, file_of), methods=["POST"]),
    Route("/guideline/{place:path}/draft", draft, methods=["POST"]),
    Route("/guideline/{place:path}/issue", issue, methods=["POST"]),
    Route("/guideline/{place:path}", show),
    Route("/guideline/{place:path}", change, methods=["POST"]),
]
