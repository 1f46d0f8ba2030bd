"""Who may ask, and how much: every request goes through here, and every answer gets its headers here."""

from __future__ import annotations

import asyncio
import hmac
import secrets
from dataclasses import dataclass, field
from typing import Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import cookie_parser
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

ENTRANCE: Final = "/enter"
DROPS: Final = "/drop/"  # paths that take files
MOST_TYPED: Final = 4 * 2**20  # bytes of a form without files
LONGEST_WAIT: Final = 30.0  # seconds for the next piece of a request

PAGE_POLICY: Final = (
    "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; img-src 'self' data:; "
    "frame-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
#: For a document made by survivor: it holds its own style, runs nothing and asks for nothing.
DOCUMENT_POLICY: Final = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'self'; sandbox"
)
_ENTERED: Final = (
    '<!doctype html><html lang="en-GB"><title>Desk</title><link rel="icon" href="data:,">'
    '<p><a href="/">To the seasons</a></p>'
)
_HEADERS: Final = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}


@dataclass(frozen=True)
class Door:
    """The one address of this desk and its secrets.

    Attributes
    ----------
    host
        Address and port, as a browser names it.
    key
        Random; stands in the first address only.
    pass_
        Random; the cookie that the key is turned into.
    """

    host: str
    key: str = field(default_factory=lambda: secrets.token_urlsafe(32), repr=False)
    pass_: str = field(default_factory=lambda: secrets.token_urlsafe(32), repr=False)

    @property
    def origin(self) -> str:
        """Origin that pages of this desk have."""
        return f"http://{self.host}"

    @property
    def entrance(self) -> str:
        """The first address."""
        return f"{self.origin}{ENTRANCE}?key={self.key}"

    @property
    def cookie(self) -> str:
        """Name of the cookie: browsers keep cookies by host, whatever the port."""
        return f"survivor-desk-{self.host.rpartition(':')[2]}"


class Guard:
    """Let in whoever came by the first address of this desk, from this machine; refuse all others."""

    def __init__(self, app: ASGIApp, door: Door) -> None:
        self._app, self._door = app, door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return  # no other kind is spoken here
        answer = self._refusal(scope) or self._entered(scope)
        if answer is None:
            await self._app(scope, _bounded(scope, receive), _with_headers(send))
        else:
            await answer(scope, receive, _with_headers(send))

    def _refusal(self, scope: Scope) -> Response | None:
        """Why a request is refused: another host, another origin, no pass, too much to read."""
        headers, door = Headers(scope=scope), self._door
        if headers.getlist("host") != [door.host]:  # another name for this machine: DNS rebinding
            return PlainTextResponse("This is not an address of this desk.", 421)
        changes = scope["method"] not in ("GET", "HEAD")
        origins = headers.getlist("origin")
        if origins != [door.origin] and (origins or changes):
            return PlainTextResponse("Another page may not ask this desk for anything.", 403)
        if headers.get("sec-fetch-site", "none") not in ("none", "same-origin") and (
            scope["path"] != ENTRANCE or headers.get("sec-fetch-mode") != "navigate"
        ):
            return PlainTextResponse("Another page may not ask this desk for anything.", 403)
        if scope["path"] != ENTRANCE and not _same(
            cookie_parser(headers.get("cookie", "")).get(door.cookie, ""), door.pass_
        ):
            return PlainTextResponse(
                "Open the desk by the address that it showed when it was started: it holds the key.", 403
            )
        length = headers.get("content-length", "0")
        if not length.isdecimal() or int(length) > _most(scope):
            return PlainTextResponse("This is more than the desk takes at once.", 413)
        return None

    def _entered(self, scope: Scope) -> Response | None:
        """Turn the key of the first address into the pass."""
        if scope["path"] != ENTRANCE:
            return None
        asked = scope["query_string"].decode("latin-1").removeprefix("key=")
        if not _same(asked, self._door.key):
            return PlainTextResponse("This is not the key of this desk; look at the address again.", 403)
        # Not a redirect: a pass for this site alone is not sent along when another program leads here.
        page = HTMLResponse(_ENTERED)
        page.headers["Refresh"] = "0; url=/"
        page.set_cookie(self._door.cookie, self._door.pass_, httponly=True, samesite="strict", path="/")
        return page


def _same(one: str, other: str) -> bool:
    return hmac.compare_digest(one.encode("utf-8", "replace"), other.encode())


def _most(scope: Scope) -> int:
    """Bytes that a request may have: of files, what a file may unpack to, since no larger one is read."""
    if not scope["path"].startswith(DROPS):
        return MOST_TYPED
    from survivor.files.bounds import MOST_UNPACKED

    return MOST_UNPACKED


def _bounded(scope: Scope, receive: Receive) -> Receive:
    """Hand on a request piece by piece, as long as it is neither too much nor too slow."""
    taken, whole = 0, False

    async def bounded() -> Message:
        nonlocal taken, whole
        if whole:
            return await receive()  # what comes now is that the reader went away
        try:
            message = await asyncio.wait_for(receive(), LONGEST_WAIT)
        except TimeoutError:
            raise HTTPException(408, "What was sent stopped coming; send it again.") from None
        taken += len(message.get("body", b""))
        whole = not message.get("more_body", False)
        if taken > _most(scope):
            raise HTTPException(413, "This is more than the desk takes at once.")
        return message

    return bounded


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers.setdefault(name, value)
            headers.setdefault("Content-Security-Policy", PAGE_POLICY)
        await send(message)

    return sending
