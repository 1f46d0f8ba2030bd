"""The room of problems: by what to do about them, each with the way to its cell."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import quote, urlencode

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from survivor.desk.desk import address, answer, desk_of, home_of
from survivor.desk.named import mark_of
from survivor.errors import DeskError

if TYPE_CHECKING:
    from survivor.records.accounts import Cell, Kind
    from survivor.study import Study

ROOM: Final = "problems"
SHEETS: Final = "sheets"
ABOUT: Final = "about"
_MOST_SPOTS: Final = 12  # of one thing to do; the workbook has them all
_BESIDE: Final = 6  # rows shown before and after one at fault


@dataclass(frozen=True)
class Spot:
    """Where a problem is, and the address of its cell; "" where it has none."""

    where: str
    cell: str


@dataclass(frozen=True)
class ToDo:
    """One thing to do: why, and where.

    Attributes
    ----------
    mend
        What to do.
    what
        What is wrong, where it is the same everywhere; else "".
    sheet
        Where all of it is; "" where it is in several sheets.
    spots
        The first of its places.
    number
        Of all its places.
    room
        Room of the desk in which it is done; "" where it is done in the sheet.
    """

    mend: str
    what: str
    sheet: str
    spots: tuple[Spot, ...]
    number: int
    room: str


async def show(request: Request) -> Response:
    """Show what is wrong with the records, worst first, by what to do."""
    desk, home = desk_of(request), home_of(request)
    place = desk.folder.name_of(home)
    reading = await desk.readings.of(home)
    if reading.study is None:
        return answer(
            request,
            ROOM,
            place=place,
            fault=reading.fault,
            files=mark_of(reading.stamp),
            name=desk.folder.title_of(home),
            sorts=[],
            used="",
            following="",
        )
    values = await run_in_threadpool(_values, reading.study, place)
    return answer(request, ROOM, place=place, fault=None, files=mark_of(reading.stamp), **values)


def _values(study: Study, place: str) -> dict[str, Any]:
    from survivor.records.accounts import HEADINGS, following_words, kinds_of, used_words

    sorts, problems = [], study.records.first_problems
    for severity, heading in HEADINGS.items():
        if kinds := kinds_of(problems, severity):
            title, _, lead = heading.partition(": ")
            to_do = [each for kind in kinds for each in _to_do(kind, place)]
            sorts.append((title, lead, sum(each.number for each in to_do), to_do))
    every = study.problems
    following = following_words(every, problems) if len(every) > len(problems) else ""
    return {
        "name": study.settings.study.name,
        "sorts": sorts,
        "used": used_words(study.accounts),
        "following": following,
    }


def _to_do(kind: Kind, place: str) -> Iterator[ToDo]:
    """Give what there is to do about problems of one kind: the same once, with its places."""
    from survivor.words import sentence

    for mend in dict.fromkeys(kind.mends):
        at = [number for number, own in enumerate(kind.mends) if own == mend]
        yield ToDo(
            mend=sentence(mend),
            what=sentence(kind.what) if kind.what else "",
            sheet=kind.sheets[0] if kind.what and len(kind.sheets) == 1 else "",
            spots=tuple(
                Spot(kind.spots[number], _cell(kind.cells[number], place)) for number in at[:_MOST_SPOTS]
            ),
            number=len(at),
            room=_room(mend, kind.cells[at[0]].file),
        )


def _room(mend: str, file: str) -> str:
    """Return the room in which the study file is changed for a problem; "" where the sheet is."""
    if "[records" in mend:
        return SHEETS
    return ABOUT if file.endswith(".toml") or "study file" in mend else ""


def _cell(cell: Cell, place: str) -> str:
    if not cell.row or cell.file.endswith(".toml"):
        return ""
    return f"{address('cell', place)}?" + urlencode(cell._asdict())


async def cell(request: Request) -> Response:
    """Show a sheet at a row, with the cell marked."""
    desk, home = desk_of(request), home_of(request)
    reading = await desk.readings.of(home)
    asked = {name: request.query_params.get(name, "") for name in ("file", "sheet", "row", "column")}
    if reading.study is None or not asked["row"].isdecimal() or len(asked["row"]) > 9:
        raise DeskError("there is no such cell", mend="go back to the problems")
    from survivor.records.shown import rows_around

    found = await run_in_threadpool(
        rows_around, home, reading.study.settings, asked["file"], asked["sheet"], int(asked["row"]), _BESIDE
    )
    if found is None:
        raise DeskError("there is no such sheet among the records", mend="go back to the problems")
    return answer(
        request, "cell", place=desk.folder.name_of(home), shown=found, row=int(asked["row"]),
        parts=asked["column"].split(", "), file=asked["file"], sheet=asked["sheet"],
    )  # fmt: skip


async def marked(request: Request) -> Response:
    """Give the sheets as a workbook with the cells at fault marked, as the command writes it."""
    desk, home = desk_of(request), home_of(request)
    reading = await desk.readings.of(home)
    if reading.study is None:
        raise DeskError("the records cannot be read yet", mend="go back to the problems: they say why")
    from survivor.report.checked.workbook import workbook_of_check

    book = await run_in_threadpool(workbook_of_check, reading.study.records, home)
    name = quote(f"{home.name} marked.xlsx")
    return Response(
        book,
        media_type="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
        headers={"Content-Disposition": f"attachment; filename*=utf-8''{name}"},
    )


ROUTES = [
    Route("/problems/{place:path}", show),
    Route("/cell/{place:path}", cell),
    Route("/marked/{place:path}", marked),
]
