"""The room of a plan: its file as a form, power by formula as one types, the whole of it on request."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any, Final

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from survivor.desk.curve import curve_of, simulated_in
from survivor.desk.desk import Desk, answer, desk_of, file_of, onward, stopping
from survivor.desk.folder import REPORTS, safe_name
from survivor.desk.named import files_named, tables_of
from survivor.desk.rooms.about import Form, kept_in, kept_or_faults, typed_in
from survivor.desk.rooms.report import files_in
from survivor.errors import DeskError, SurvivorError

ROOM: Final = "plan"
PAGE: Final = "plan.html"
LAYOUT: Final = "layout"


async def begin(request: Request) -> Response:
    """Write a blank study with its plan, as the command does."""
    desk = desk_of(request)
    typed = await typed_in(request)
    home = desk.folder.inside(safe_name(typed.get("name", "")))
    if home.exists():
        raise DeskError(
            "there is a folder of this name already", where=home.name, mend="give the season another name"
        )
    from survivor.planning.folder import write_blank

    await run_in_threadpool(write_blank, home)
    return onward(ROOM, desk.folder.name_of(home / "plan.toml"))


async def show(request: Request) -> Response:
    """Show the plan file, power by formula, and what was worked out from it."""
    file = file_of(request)
    form = await run_in_threadpool(lambda: Form.made(kept_in(file, ROOM)))
    return answer(request, ROOM, form=form, **await run_in_threadpool(_values, desk_of(request), file))


def _values(desk: Desk, file: Path) -> dict[str, Any]:
    from survivor.planning.planfile import plan_folder

    place = desk.folder.name_of(file)
    folder = desk.folder.root / REPORTS / plan_folder(file)
    files = files_in(desk, folder)
    return {
        "file": place,
        "job": desk.jobs.last(place, ROOM),
        "layout": desk.jobs.last(place, LAYOUT),
        "files": files,
        "folder": desk.folder.name_of(folder),
        "shown": next((each.place for each in files if each.name == PAGE), ""),
        "sketch": _sketch(desk, file, {}),
    }


def _sketch(desk: Desk, file: Path, changes: dict[Any, Any]) -> dict[str, Any]:
    """Work out the size and the power round it by formula, of the file as it would be."""
    from survivor.errors import PlanError
    from survivor.files.editing import edited
    from survivor.files.toml import validated
    from survivor.planning.layout import compared
    from survivor.planning.planfile import Plan, plan_folder
    from survivor.planning.size import power_by_formula

    try:
        desk.folder.keep_inside(file.parent, files_named(tables_of(file)))
        text = edited(kept_in(file, ROOM).text(), changes, file.name, PlanError)
        asked = validated(tomllib.loads(text), Plan, "plan", PlanError)
        plots, seedlings, why, table = power_by_formula(asked, file.parent)
    except SurvivorError as fault:
        return {"fault": fault, "rows": []}
    rows = list(zip(table["plots"].tolist(), table["power"].round().astype(int).tolist(), strict=True))
    folder = desk.folder.root / REPORTS / plan_folder(file)
    wanted = asked.question.power_per_100
    simulated = simulated_in(folder) if compared(asked, plots)[1] == plots else []  # of the blocks compared
    curve = curve_of(rows, simulated, wanted, plots) if rows else None
    return {
        "fault": None, "plots": plots, "seedlings": seedlings, "why": why, "rows": rows, "curve": curve,
        "wanted": wanted,
    }  # fmt: skip


async def sketch(request: Request) -> Response:
    """Give the part of the page with the power by formula, for what is typed and not kept yet."""
    desk, file = desk_of(request), file_of(request)
    typed = await typed_in(request)

    def worked_out() -> dict[str, Any]:
        from survivor.desk.forms import changes_in, form_of

        kept = kept_in(file, ROOM)
        changes, faults = changes_in(form_of(kept.model, kept.tables()), typed)
        if faults or kept.faults_after(changes):
            return {"fault": None, "rows": []}
        return _sketch(desk, file, changes)

    return answer(request, "sketch", sketch=await run_in_threadpool(worked_out))


async def change(request: Request) -> Response:
    """Keep what was typed, or show what is wrong with it beside each field and keep nothing."""
    desk, file = desk_of(request), file_of(request)
    typed = await typed_in(request)
    changed, form = await run_in_threadpool(lambda: kept_or_faults(kept_in(file, ROOM), typed))
    if form is not None:
        return answer(request, ROOM, 422, form=form, **await run_in_threadpool(_values, desk, file))
    return onward(ROOM, desk.folder.name_of(file), "kept" if changed else "same")


async def work(request: Request) -> Response:
    """Work the plan out with simulated seasons, as the command does."""
    desk, file = desk_of(request), file_of(request)
    place = desk.folder.name_of(file)
    desk.folder.keep_inside(file.parent, files_named(tables_of(file)))
    desk.jobs.start(place, ROOM, [place])
    return onward(ROOM, place)


async def lay_out(request: Request) -> Response:
    """Write the layout and its field sheets to a new folder, as the command does."""
    desk, file = desk_of(request), file_of(request)
    place = desk.folder.name_of(file)
    typed = await typed_in(request)
    home = desk.folder.inside(safe_name(typed.get("name", "")))
    desk.folder.keep_inside(file.parent, files_named(tables_of(file)))
    made = desk.folder.name_of(home)
    desk.jobs.start(place, LAYOUT, [place, "--out", made], makes=made)
    return onward(ROOM, place)


ROUTES = [
    Route("/new/plan", begin, methods=["POST"]),
    Route("/plan/{place:path}/stop", stopping(ROOM, file_of), methods=["POST"]),
    Route("/plan/{place:path}/sketch", sketch, methods=["POST"]),
    Route("/plan/{place:path}/work", work, methods=["POST"]),
    Route("/plan/{place:path}/layout", lay_out, methods=["POST"]),
    Route("/plan/{place:path}", show),
    Route("/plan/{place:path}", change, methods=["POST"]),
]
