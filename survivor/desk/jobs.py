"""Commands in processes of their own: started once for a place, watched step by step, stopped at once."""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import sys
from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

_MOST_LINES: Final = 2_000  # kept of what a command says
_LONGEST_LINE: Final = 2**20
_WIDE: Final = "400"  # columns: what a command says is not wrapped for a terminal


@dataclass(eq=False)
class Job:
    """One command: what it is for, what it says, and how it ended.

    Attributes
    ----------
    place
        Path within the folder that it works on.
    verb
        Of the command line.
    makes
        Path within the folder that it makes anew, where it makes one.
    steps, said
        Lines of its progress, and of its answer.
    status
        How it ended; None while it runs.
    stopped
        Whether it was stopped by the button.
    """

    place: str
    verb: str
    makes: str = ""
    steps: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    status: int | None = None
    stopped: bool = False
    _process: asyncio.subprocess.Process | None = None
    _watch: asyncio.Task[None] | None = None
    _news: asyncio.Condition = field(default_factory=asyncio.Condition)

    @property
    def runs(self) -> bool:
        """Whether it has not ended."""
        return self.status is None

    async def follow(self) -> AsyncIterator[str]:
        """Give each step, those of the past first, until the command ends."""
        told = 0
        while True:
            async with self._news:
                while told == len(self.steps) and self.runs:
                    await self._news.wait()
            for step in self.steps[told:]:
                yield step
            told = len(self.steps)
            if not self.runs:
                return

    async def stop(self) -> None:
        """End the command and what it started, at once."""
        if self.runs:
            self.stopped = True  # one that is only being started is ended as soon as it is there
            if self._process is not None:
                _kill(self._process)
        if self._watch is not None:
            await self._watch

    async def ended(self) -> None:
        """Wait until the command has ended."""
        if self._watch is not None:
            await self._watch

    async def _run(self, arguments: Sequence[str], folder: Path) -> None:
        try:
            self._process = await asyncio.create_subprocess_exec(
                sys.executable, "-m", "survivor", *arguments,
                cwd=folder, env={**os.environ, "COLUMNS": _WIDE, "PYTHONUNBUFFERED": "1", "NO_COLOR": "1",
                                 "PYTHONIOENCODING": "utf-8"},
                stdin=asyncio.subprocess.DEVNULL, stdout=asyncio.subprocess.PIPE,
                stderr=asyncio.subprocess.PIPE, limit=_LONGEST_LINE, start_new_session=True,
            )  # fmt: skip
            if self.stopped:
                _kill(self._process)
            assert self._process.stdout is not None
            assert self._process.stderr is not None
            await asyncio.gather(
                self._hear(self._process.stdout, self.said), self._hear(self._process.stderr, self.steps)
            )
            status = await self._process.wait()
        except OSError as fault:
            self.said.append(f"the command cannot be started: {fault.strerror or fault}")
            status = 2
        async with self._news:
            self.status = status
            self._news.notify_all()

    async def _hear(self, stream: asyncio.StreamReader, lines: list[str]) -> None:
        while True:
            try:
                line = await stream.readline()
            except (
                ValueError
            ):  # a line without end; what follows is heard, or the command would wait for ever
                continue
            if not line:
                return
            if len(lines) < _MOST_LINES:
                async with self._news:
                    lines.append(line.decode("utf-8", "replace").rstrip())
                    self._news.notify_all()


def _kill(process: asyncio.subprocess.Process) -> None:
    with contextlib.suppress(ProcessLookupError):  # it has just ended by itself
        if sys.platform == "win32":
            process.kill()
        else:
            os.killpg(process.pid, signal.SIGKILL)


class Jobs:
    """The last command of each place; one at a time for each."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._last: dict[tuple[str, str], Job] = {}

    def last(self, place: str, verb: str) -> Job | None:
        """Return the command that runs or ran last; None where none was started."""
        return self._last.get((place, verb))

    def running(self, place: str) -> Job | None:
        """Return the command that works on a place now."""
        return next((job for job in self._last.values() if job.place == place and job.runs), None)

    def start(self, place: str, verb: str, arguments: Sequence[str], makes: str = "") -> Job:
        """Start a command; where one works on the place already, that one is returned."""
        if (busy := self.running(place)) is not None:
            return busy
        job = Job(place, verb, makes)
        self._last[place, verb] = job
        job._watch = asyncio.create_task(job._run([verb, *arguments], self._folder))
        return job

    async def close(self) -> None:
        """Stop every command."""
        await asyncio.gather(*(job.stop() for job in self._last.values()))
