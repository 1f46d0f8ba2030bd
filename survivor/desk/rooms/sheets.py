"""The room of sheets: each table as its owner knows it, and what its columns and words are taken for."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Iterator, Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route

from survivor.desk.desk import Desk, answer, desk_of, home_of, onward, stopping
from survivor.desk.grids import Grid, site_chosen
from survivor.desk.named import STUDY_FILE, files_named, mark_of, stamp_of, tables_of
from survivor.desk.rooms.report import files_in
from survivor.desk.rooms.seasons import SHEETS, proposed
from survivor.desk.uploads import EARLIER, add_files, dropped
from survivor.errors import SurvivorError

if TYPE_CHECKING:
    from survivor.files.comparing import Differences
    from survivor.files.faults import Place
    from survivor.records.shown import Shown
    from survivor.settings import Settings, Visit

ROOM: Final = "sheets"
FIELD_SHEETS: Final = "sheets"  # the verb that writes them
_MOST_CELLS: Final = 20  # shown of those that changed between two copies
_LOOK_AGAIN: Final = 1.0  # seconds between two looks at the files
_ORDERS: Final = ("day-first", "month-first")


async def show(request: Request) -> Response:
    """Show every sheet of a season as it stands and as it is understood."""
    desk, home = desk_of(request), home_of(request)
    place = desk.folder.name_of(home)
    job = desk.jobs.last(place, FIELD_SHEETS)
    return answer(request, ROOM, place=place, endings=SHEETS, job=job, **await _values(desk, home))


async def _values(desk: Desk, home: Path) -> dict[str, Any]:
    reading = await desk.readings.of(home)
    from survivor.files.headers import BY_STUDY_FILE  # loaded by the reading

    values: dict[str, Any] = {
        "name": desk.folder.title_of(home),
        "fault": reading.fault,
        "files": mark_of(reading.stamp),
        "sheets": [],
        "used": reading.words,
        "problems": [],
        "states": [],
        "proposes": not (home / STUDY_FILE).is_file(),
        "unread": [],
        "written": [],
        "laid_out": False,
        "next_visit": reading.study is not None,
        "copies": [],
        "visits": (),
        "questions": [],
        "of": "",
        "told": BY_STUDY_FILE,
    }
    if values["proposes"]:
        values["fault"] = await run_in_threadpool(_why_not_proposed, home)
    else:
        values |= await run_in_threadpool(_questions, home)
    if reading.study is not None:
        from survivor.records.accounts import HEADINGS

        problems = reading.study.records.first_problems["severity"]
        values["name"] = reading.study.settings.study.name
        values["problems"] = [
            (heading.partition(": ")[0], number)
            for severity, heading in HEADINGS.items()
            if (number := int((problems == severity).sum()))
        ]
    settings = await run_in_threadpool(_settings, desk, home)
    if settings is not None:
        from survivor.files.faults import literals_in
        from survivor.planning.next_sheets import is_laid_out
        from survivor.settings import Sheet

        values["sheets"] = [Grid.of(shown) for shown in reading.shown]
        values["visits"] = settings.records.visits
        values["states"] = list(literals_in(Sheet.model_fields["states"].annotation))
        values["copies"] = await run_in_threadpool(lambda: list(_copies(home)))
        values["written"] = [file for file in files_in(desk, home) if file.name.endswith((".xlsx", ".csv"))]
        values["laid_out"] = is_laid_out(home)
        named = set(files_named(tables_of(home / STUDY_FILE)))
        values["unread"] = sorted(
            path.name for path in home.iterdir() if path.suffix.lower() in SHEETS and path.name not in named
        )
    return values


def _why_not_proposed(home: Path) -> SurvivorError | None:
    from survivor.proposing.proposal import propose

    try:
        propose(home)
    except SurvivorError as fault:
        return fault
    return None


def _settings(desk: Desk, home: Path) -> Settings | None:
    from survivor.settings import read_settings

    try:
        desk.folder.keep_inside(home, files_named(tables_of(home / STUDY_FILE)))
        return read_settings(home)
    except SurvivorError:
        return None  # the fault is shown as that of the reading


def _copies(home: Path) -> Iterator[tuple[str, int, int, int, list[tuple[str, str, str]]]]:
    """Give each file of which an earlier copy is kept, with what differs: rows added, gone, cells changed."""
    kept = home / EARLIER
    for earlier in [] if kept.is_symlink() else sorted(kept.glob("*")):
        now = home / earlier.name
        if earlier.is_symlink() or now.is_symlink():
            continue  # no link is followed
        if (found := _differences(earlier, _stamp(earlier), now, _stamp(now))) is None:
            continue
        cells = [
            (f"{cell.sheet + ', ' if cell.sheet else ''}row {cell.row}", cell.before, cell.now)
            for cell in found.cells[:_MOST_CELLS]
        ]
        yield earlier.name, found.added, found.gone, len(found.cells), cells


def _stamp(file: Path) -> tuple[int, int]:
    try:
        state = file.stat()
    except OSError:
        return 0, -1
    return state.st_mtime_ns, state.st_size


@lru_cache(maxsize=16)
def _differences(
    before: Path, state: tuple[int, int], now: Path, state_now: tuple[int, int]
) -> Differences | None:
    from survivor.files.comparing import differences

    return differences(before, now)


def _questions(home: Path) -> dict[str, Any]:
    """Return the open questions of a study file, in the order of what they change."""
    from survivor.desk.questions import choices_of
    from survivor.desk.study_file import study_in
    from survivor.settings.questions import questions_in

    study = study_in(home)
    asked = [(question, list(choices_of(question))) for question in questions_in(study.text())]
    return {
        "questions": [(question.text, choices) for question, choices in asked if choices],
        "of": study.mark(),
    }


async def change(request: Request) -> Response:
    """Keep in the study file what was chosen for one sheet."""
    desk, home = desk_of(request), home_of(request)
    place = desk.folder.name_of(home)
    reading = await desk.readings.of(home)
    async with request.form(max_fields=2_000) as form:
        kept = await run_in_threadpool(_changed, desk, home, reading.shown, form)
    return onward(ROOM, place, "kept" if kept else "same")


def _changed(desk: Desk, home: Path, sheets: Sequence[Shown], form: FormData) -> bool:
    from survivor.desk.study_file import MARK, study_in

    settings = _settings(desk, home)
    if settings is None:
        return False
    if _text(form, "table") == "records.visits":
        days = _days(("records", "visits"), settings.records.visits, form)
        return study_in(home).change(days, _text(form, MARK))
    chosen = {_key(each.place): each for each in sheets}.get(_text(form, "table"))
    return chosen is not None and study_in(home).change(changes_of(chosen, form), _text(form, MARK))


def _key(place: Place) -> str:
    return ".".join(map(str, place))


def _text(form: Mapping[str, Any], name: str) -> str:
    value = form.get(name, "")
    return value if isinstance(value, str) else ""


def changes_of(shown: Shown, form: FormData) -> dict[Place, Any]:
    """Return what the choices made for a sheet change in the study file."""
    from survivor.files.editing import GONE

    place, sheet = shown.place, shown.sheet
    changes: dict[Place, Any] = {}
    for number, column in enumerate(shown.columns):
        word = _text(form, f"column.{number}")
        if f"column.{number}" not in form or word == column.word or word not in ("", *shown.words):
            continue
        if column.word in sheet.columns:
            told = sheet.columns[column.word]
            left = [] if isinstance(told, str) else [each for each in told if each != column.heading]
            changes.setdefault((*place, "columns", column.word), left or GONE)
        if word:
            changes[*place, "columns", word] = column.heading
    for number, each in enumerate(shown.states):
        state = _text(form, f"state.{number}")
        if _text(form, f"word.{number}") == each.word and state != each.state:
            changes[*place, "states", each.word] = state or GONE
    for key, least in (("skip_rows", 0), ("header_rows", 1)):
        told = _text(form, key)
        if told.isdecimal() and int(told) != getattr(sheet, key):
            changes[*place, key] = int(told) if int(told) != least else GONE
    order = _text(form, "date_order")
    if order != (sheet.date_order or "") and order in ("", *_ORDERS):
        changes[*place, "date_order"] = order or GONE
    grid = Grid.of(shown)
    if "site" in form and (site := site_chosen(grid, form)) != grid.site:
        changes[*place, "every_row", "site"] = site or GONE
    down = [word for word in form.getlist("fill_down") if isinstance(word, str) and word in shown.words]
    if "asked" in form and set(down) != set(sheet.fill_down):
        changes[*place, "fill_down"] = down or GONE
    return changes | _days((*place, "visits"), sheet.visits, form)


def _days(place: Place, visits: Sequence[Visit], form: FormData) -> dict[Place, Any]:
    from survivor.files.editing import GONE

    changes: dict[Place, Any] = {}
    for number, visit in enumerate(visits):
        day = _text(form, f"day.{number}")
        if f"day.{number}" in form and day != (visit.date or ""):
            changes[*place, number, "date"] = day or GONE
    return changes


async def answer_questions(request: Request) -> Response:
    """Keep the answers to open questions in the study file."""
    desk, home = desk_of(request), home_of(request)
    place = desk.folder.name_of(home)
    async with request.form(max_fields=2_000) as form:
        chosen = {name: value for name, value in form.items() if isinstance(value, str)}
    kept = await run_in_threadpool(_answered, home, chosen)
    return onward(ROOM, place, "kept" if kept else "same")


def _answered(home: Path, chosen: Mapping[str, str]) -> bool:
    from survivor.desk.questions import answers_in
    from survivor.desk.study_file import MARK, study_in
    from survivor.settings.questions import answered

    return study_in(home).rewrite(lambda text: answered(text, answers_in(text, chosen)), chosen.get(MARK, ""))


async def drop(request: Request) -> Response:
    """Add files to a season, or new copies of those it has; the earlier copies are kept."""
    desk, home = desk_of(request), home_of(request)
    async with dropped(request) as (_, files):
        await run_in_threadpool(add_files, home, files)
    return onward(ROOM, desk.folder.name_of(home), "dropped")


async def propose(request: Request) -> Response:
    """Propose a study file for the sheets of a folder that has none."""
    desk, home = desk_of(request), home_of(request)
    await run_in_threadpool(proposed, home)
    return onward(ROOM, desk.folder.name_of(home))


async def renew(request: Request) -> Response:
    """Write the field sheets that nobody has filled again, as the command does."""
    desk, home = desk_of(request), home_of(request)
    place = desk.folder.name_of(home)
    desk.jobs.start(place, FIELD_SHEETS, [place or "."])
    return onward(ROOM, place)


async def watch(request: Request) -> Response:
    """Tell when the files of a season are no longer as they were when the page was made of them."""
    desk, home = desk_of(request), home_of(request)
    made_of = request.query_params.get("files", "")

    def as_they_were() -> bool:
        return mark_of(stamp_of(home)) == made_of

    async def news() -> AsyncIterator[str]:
        yield ": watching\n\n"
        while not desk.closing.is_set() and await run_in_threadpool(as_they_were):
            await asyncio.sleep(_LOOK_AGAIN)
        if not desk.closing.is_set():
            yield "event: changed\ndata: changed\n\n"

    return StreamingResponse(news(), media_type="text/event-stream")


ROUTES = [
    Route("/renew/{place:path}/stop", stopping(ROOM, home_of), methods=["POST"]),
    Route("/renew/{place:path}", renew, methods=["POST"]),
    Route("/drop/season/{place:path}", drop, methods=["POST"]),
    Route("/answer/{place:path}", answer_questions, methods=["POST"]),
    Route("/propose/{place:path}", propose, methods=["POST"]),
    Route("/watch/{place:path}", watch),
    Route("/sheets/{place:path}", show),
    Route("/sheets/{place:path}", change, methods=["POST"]),
]
