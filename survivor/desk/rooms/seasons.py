"""The room of seasons: what the folder holds, how far each season is, and three ways to begin."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from survivor.desk.choosing import COLUMNS
from survivor.desk.desk import EVERY, READ, Desk, answer, desk_of, onward
from survivor.desk.made import Made, made_of
from survivor.desk.named import STUDY_FILE, files_named, tables_of
from survivor.desk.summaries import summary_of
from survivor.desk.uploads import dropped, keep_files
from survivor.errors import DeskError, StudyFileError
from survivor.files.kinds import TEXT_ENDINGS, WORKBOOK_ENDINGS, kind_of

DEMO: Final = "demo"
SHEETS: Final = (*TEXT_ENDINGS, *WORKBOOK_ENDINGS)


@dataclass(frozen=True)
class Season:
    """A study as the room shows it."""

    place: str
    title: str
    name: str
    headline: str
    made: str
    changed: bool
    read: str


@dataclass(frozen=True)
class Other:
    """A plan or a guideline, or a study file of another name."""

    place: str
    title: str
    name: str
    kind: str
    room: str


async def show(request: Request) -> Response:
    """Show the seasons, plans and guidelines of the folder."""
    desk = desk_of(request)
    seasons, others = await run_in_threadpool(_held, desk)
    unread = frozenset(season.place for season in seasons if season.title and not season.read)
    desk.read_unread(unread)
    page = answer(
        request, "seasons", seasons=seasons, others=others, endings=SHEETS,
        job=desk.jobs.last(DEMO, DEMO), reading=desk.jobs.last(EVERY, READ), columns=COLUMNS,
    )  # fmt: skip
    page.background = BackgroundTask(desk.load_the_rest)
    return page


def _held(desk: Desk) -> tuple[list[Season], list[Other]]:
    seasons, others = [], []
    for file in desk.folder.files(".toml"):
        tables = tables_of(file)
        kind = kind_of(tables)
        if kind == "study" and file.name == STUDY_FILE:
            seasons.append(_season(desk, file, tables))
        elif kind in ("plan", "guideline"):
            others.append(_other(desk, file, tables, kind))
    return [*seasons, *_without_a_study(desk, {season.place for season in seasons})], others


def _without_a_study(desk: Desk, known: set[str]) -> Iterator[Season]:
    """Give each folder just below that holds sheets, and no study file that says what they are."""
    for home in sorted(path for path in desk.folder.root.iterdir() if path.is_dir() and path.name[0] != "."):
        place = home.name
        if home.is_symlink() or place in known or any(each.startswith(f"{place}/") for each in known):
            continue
        if any(path.suffix.lower() in SHEETS for path in home.iterdir()) and not any(home.glob("*.toml")):
            yield Season(place, "", place, "", "", False, "")


def _season(desk: Desk, file: Path, tables: dict[str, Any]) -> Season:
    home, folder = file.parent, desk.folder
    made = made_of(folder.reports_of(home)) or Made("", "", frozenset())
    named = [file, *(home / name for name in files_named(tables))]
    return Season(
        place=folder.name_of(home),
        title=folder.title_of(home),
        name=_named(tables, "study", folder.title_of(home)),
        headline=made.headline,
        made=made.day,
        changed=made.is_of_others(named),
        read=summary_of(folder, home),
    )


def _other(desk: Desk, file: Path, tables: dict[str, Any], kind: str) -> Other:
    return Other(
        place=desk.folder.name_of(file),
        title=desk.folder.title_of(file),
        name=_named(tables, kind, file.stem),
        kind=kind,
        room=kind,
    )


def _named(tables: dict[str, Any], table: str, otherwise: str) -> str:
    about = tables.get(table)
    name = about.get("name") or about.get("title") if isinstance(about, dict) else None
    return name if isinstance(name, str) and name.strip() else otherwise


async def begin(request: Request) -> Response:
    """Make a folder of a season of some sheets, and a study file proposed for them."""
    desk = desk_of(request)
    async with dropped(request) as (name, files):
        home = await run_in_threadpool(keep_files, desk.folder, name, files)
    with contextlib.suppress(StudyFileError):  # its room of sheets says why, and what to do
        await run_in_threadpool(proposed, home)
    return onward("sheets", desk.folder.name_of(home))


def proposed(home: Path) -> None:
    """Write the study file that is proposed for the sheets of a folder, unless there is one."""
    from survivor.proposing.proposal import propose, write_proposal

    if not (home / STUDY_FILE).exists():
        write_proposal(home, propose(home))


async def demo(request: Request) -> Response:
    """Write the demo, as the command does."""
    desk = desk_of(request)
    if (desk.folder.root / DEMO).exists() and desk.jobs.running(DEMO) is None:
        raise DeskError("the demo is here already", where=DEMO, mend="look at it among the seasons")
    desk.jobs.start(DEMO, DEMO, [DEMO])
    return RedirectResponse("/", 303)


async def stop_demo(request: Request) -> Response:
    """Stop writing the demo."""
    if (job := desk_of(request).jobs.running(DEMO)) is not None:
        await job.stop()
    return RedirectResponse("/", 303)


ROUTES = [
    Route("/", show),
    Route("/drop/season", begin, methods=["POST"]),
    Route("/demo", demo, methods=["POST"]),
    Route("/demo/stop", stop_demo, methods=["POST"]),
]
