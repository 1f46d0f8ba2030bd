"""The rooms put together behind the guard, and what is said when something cannot be done."""

from __future__ import annotations

import asyncio
import contextlib
import logging
from collections.abc import AsyncIterator, Callable
from pathlib import Path

from starlette.applications import Starlette
from starlette.background import BackgroundTask
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from survivor.desk.desk import Desk, answer, desk_of, script, style
from survivor.desk.folder import Folder
from survivor.desk.guard import Door, Guard
from survivor.desk.jobs import Jobs
from survivor.desk.readings import Readings
from survivor.desk.rooms import about, guideline, plan, problems, report, seasons, sheets
from survivor.errors import DeskError, SurvivorError

_ROOMS = (seasons, sheets, about, problems, report, plan, guideline)
_GOODBYE = 0.7  # seconds for the last page to come whole
_KEPT = "private, max-age=86400, immutable"  # how pages look: the last one has nobody to ask any more
_SAYS = logging.getLogger("survivor")


def make_app(path: Path, door: Door, stop: Callable[[], None]) -> tuple[Guard, Desk]:
    """Make the application of a desk.

    Parameters
    ----------
    path
        Folder that it is opened on.
    door
        Its address and secrets.
    stop
        Ends the server.

    Returns
    -------
    app, desk
        What is served, and what its rooms share.

    Raises
    ------
    DeskError
        When there is no such folder.
    """
    folder = Folder.of(path)
    desk = Desk(folder, Jobs(folder.root), Readings(folder), stop)

    @contextlib.asynccontextmanager
    async def life(_: Starlette) -> AsyncIterator[None]:
        yield
        await desk.close()

    looks = [
        Route("/desk.css", _text(style(), "text/css")),
        Route("/desk.js", _text(script(), "text/javascript")),
        Route("/stop", _stop, methods=["POST"]),
    ]
    app = Starlette(
        routes=[*looks, *(route for room in _ROOMS for route in room.ROUTES)],
        lifespan=life,
        exception_handlers={SurvivorError: _known, OSError: _disk, HTTPException: _http, Exception: _unknown},
    )
    app.state.desk = desk
    return Guard(app, door), desk


def _text(content: str, kind: str) -> Callable[[Request], Response]:
    def give(_: Request) -> Response:
        return Response(content, media_type=kind, headers={"Cache-Control": _KEPT})

    return give


async def _stop(request: Request) -> Response:
    desk = desk_of(request)
    await desk.close()

    async def later() -> None:
        await asyncio.sleep(_GOODBYE)
        desk.stop()

    last = answer(request, "stopped")
    last.background = BackgroundTask(later)
    return last


async def _known(request: Request, fault: Exception) -> Response:
    assert isinstance(fault, SurvivorError)
    return answer(request, "fault", 404 if isinstance(fault, DeskError) else 409, fault=fault)


async def _disk(request: Request, fault: Exception) -> Response:
    assert isinstance(fault, OSError)
    _SAYS.warning("%s", fault)
    plain = DeskError(
        f"a file cannot be read or written: {fault.strerror or 'the disk refuses it'}",
        mend="check that there is room on the disk, and that you may read and write in this folder",
    )
    return answer(request, "fault", 500, fault=plain)


async def _http(request: Request, fault: Exception) -> Response:
    assert isinstance(fault, HTTPException)
    if request.url.path.startswith(("/progress/", "/watch/")):
        return PlainTextResponse(fault.detail, fault.status_code)
    plain = DeskError("there is no such page", mend="go back to the seasons")
    if fault.status_code != 404:
        plain = DeskError(fault.detail, mend="go back and try again")
    return answer(request, "fault", fault.status_code, fault=plain)


async def _unknown(request: Request, fault: Exception) -> Response:
    _SAYS.error("a fault of the desk itself", exc_info=fault)
    plain = DeskError(
        "the desk came to something that it does not know, and did nothing",
        mend="the same can be done by the command; the window in which the desk was started says more",
    )
    return answer(request, "fault", 500, fault=plain)
