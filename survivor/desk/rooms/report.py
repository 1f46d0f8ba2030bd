"""The room of the report: made in a process of its own, shown in the page, its files to take along."""

from __future__ import annotations

from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response, StreamingResponse
from starlette.routing import Route

from survivor.desk.changes import changes_between, keep_inputs
from survivor.desk.desk import Desk, answer, desk_of, home_of, onward, stopping
from survivor.desk.folder import REPORTS
from survivor.desk.guard import DOCUMENT_POLICY
from survivor.desk.made import FINDINGS, keep_findings, made_of
from survivor.desk.named import STUDY_FILE, files_named, tables_of

VERB: Final = "report"
PAGE: Final = "report.html"
_GIVEN: Final = (".html", ".pdf", ".xlsx", ".txt", ".json", ".csv", ".md", ".toml")


@dataclass(frozen=True)
class File:
    """A file that can be taken along; a page opens in the browser."""

    name: str
    place: str
    page: bool


async def show(request: Request) -> Response:
    """Show the last report, how far the next one is, and the files."""
    desk, home = desk_of(request), home_of(request)
    place = desk.folder.name_of(home)
    values = await run_in_threadpool(_values, desk, home)
    return answer(request, VERB, place=place, job=desk.jobs.last(place, VERB), **values)


def _values(desk: Desk, home: Path) -> dict[str, Any]:
    folder, own = desk.folder.reports_of(home), desk.folder.own(home)
    tables = tables_of(home / STUDY_FILE)
    made = made_of(folder)
    files = files_in(desk, folder)
    about = tables.get("study")
    return {
        "name": about.get("name", "") if isinstance(about, dict) else desk.folder.title_of(home),
        "made": made.day if made is not None else "",
        "changed": made is not None
        and made.is_of_others([home / STUDY_FILE, *(home / name for name in files_named(tables))]),
        "folder": desk.folder.name_of(folder),
        "files": files,
        "changes": changes_between(own / FINDINGS, folder / FINDINGS, own),
        "shown": next((file.place for file in files if file.name == PAGE), ""),
    }


def files_in(desk: Desk, folder: Path) -> list[File]:
    """Files of a folder that can be taken along, pages first."""
    if not folder.is_dir():
        return []
    names = sorted(path.name for path in folder.iterdir() if path.suffix in _GIVEN and path.name[0] != ".")
    if not is_report(desk, folder):
        names = [name for name in names if name in written_in(folder)]
    files = [File(name, desk.folder.name_of(folder / name), name.endswith(".html")) for name in names]
    return sorted(files, key=lambda file: (not file.page, file.name != PAGE))


def is_report(desk: Desk, path: Path) -> bool:
    """Whether a path is among the reports; elsewhere only what survivor wrote is given out."""
    return path.is_relative_to(desk.folder.root / REPORTS)


def written_in(folder: Path) -> frozenset[str]:
    """Names of the files of a folder that survivor wrote."""
    from survivor.files.writing import written_in as by_manifest

    return by_manifest(folder)


async def make(request: Request) -> Response:
    """Make the report as the command does; where it is being made already, nothing more is started."""
    desk, home = desk_of(request), home_of(request)
    place = desk.folder.name_of(home)
    desk.folder.keep_inside(home, files_named(tables_of(home / STUDY_FILE)))
    folder = desk.folder.reports_of(home)
    if desk.jobs.running(place) is None:
        await run_in_threadpool(_keep, desk, home, folder)
    out = folder.relative_to(desk.folder.root)
    desk.jobs.start(place, VERB, [place or ".", "--out", str(out)])
    return onward(VERB, place)


def _keep(desk: Desk, home: Path, folder: Path) -> None:
    """Keep what the last report said, and what this one is made of."""
    own = desk.folder.own(home)
    keep_findings(folder, own)
    files = [home / STUDY_FILE, *(home / name for name in files_named(tables_of(home / STUDY_FILE)))]
    keep_inputs(files, own, [own / FINDINGS, folder / FINDINGS])


async def progress(request: Request) -> Response:
    """Tell each step of the command that works on a place, as it begins."""
    job = desk_of(request).jobs.running(request.path_params["place"])

    async def steps() -> AsyncIterator[str]:
        if job is not None:
            async for step in job.follow():
                yield f"data: {step}\n\n"
        yield "event: end\ndata: end\n\n"

    return StreamingResponse(steps(), media_type="text/event-stream")


async def give(request: Request) -> Response:
    """Give a file that survivor wrote: a page to look at, any other to take along."""
    desk = desk_of(request)
    file = desk.folder.inside(request.path_params["place"])
    if file.suffix not in _GIVEN or not file.is_file():
        raise HTTPException(404)
    if not is_report(desk, file) and file.name not in await run_in_threadpool(written_in, file.parent):
        raise HTTPException(404)
    if file.suffix == ".html":
        return FileResponse(file, headers={"Content-Security-Policy": DOCUMENT_POLICY})
    return FileResponse(file, filename=file.name)


ROUTES = [
    Route("/report/{place:path}/stop", stopping(VERB, home_of), methods=["POST"]),
    Route("/report/{place:path}", show),
    Route("/report/{place:path}", make, methods=["POST"]),
    Route("/progress/{place:path}", progress),
    Route("/file/{place:path}", give),
]
