"""The desk's server: on this machine only, opened in the person's browser, stopped by Ctrl-C or a button."""

from __future__ import annotations

import socket
from collections.abc import Callable
from pathlib import Path
from types import FrameType
from typing import Final

import uvicorn

from survivor.desk.app import make_app
from survivor.desk.desk import Desk
from survivor.desk.guard import Door
from survivor.errors import DeskError

LOOPBACK: Final = "127.0.0.1"
_MOST_AT_ONCE: Final = 256  # connections; further ones wait
_LAST_WORDS: Final = 3  # seconds for answers that are on their way when the desk stops


class _Server(uvicorn.Server):
    """A server that says when it listens, and ends what runs before it stops."""

    def __init__(self, config: uvicorn.Config, desk: Desk, ready: Callable[[], None]) -> None:
        super().__init__(config)
        self._desk, self._ready = desk, ready

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """Stop as by the button: Ctrl-C is the ordinary way; asked twice, wait for nothing."""
        self.force_exit = self.should_exit
        self.should_exit = True

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        await self._desk.close()
        await super().shutdown(sockets)

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        self._ready()


def serve(path: Path, ready: Callable[[str], None], port: int = 0) -> None:
    """Open a desk and serve it until it is stopped.

    Parameters
    ----------
    path
        Folder that it is opened on.
    ready
        Called with the first address as soon as it can be asked for.
    port
        Of this machine; 0: any that is free.

    Raises
    ------
    DeskError
        When there is no such folder, or the port is taken.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as listening:
        try:
            listening.bind((LOOPBACK, port))
        except OSError as fault:
            raise DeskError(
                f"port {port} of this machine cannot be used: {fault.strerror or fault}",
                mend="leave --port out, and one that is free is taken",
            ) from fault
        listening.listen(_MOST_AT_ONCE)
        door = Door(f"{LOOPBACK}:{listening.getsockname()[1]}")
        app, desk = make_app(path, door, lambda: setattr(server, "should_exit", True))
        config = uvicorn.Config(
            app,
            http="h11", ws="none", loop="asyncio", lifespan="on", log_level="warning", access_log=False,
            server_header=False, proxy_headers=False, timeout_keep_alive=5,
            timeout_graceful_shutdown=_LAST_WORDS,
        )  # fmt: skip
        server = _Server(config, desk, lambda: ready(door.entrance))
        server.run(sockets=[listening])
