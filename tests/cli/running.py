"""The program as a process of its own; folders as they are before and after a command."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from survivor.files.writing import MANIFEST

SURVIVOR = "import sys; from survivor.cli import main; sys.argv[0] = 'survivor'; main()"
# The same, and whoever asks for another machine ends it: every way out of Python passes here (PEP 578).
ALONE = """
import sys
HERE = ("127.0.0.1", "::1", "localhost", "")
def watch(event, arguments):
    if event in ("socket.getaddrinfo", "socket.gethostbyname", "socket.gethostbyaddr"):
        away = str(arguments[0] or "") not in HERE
    elif event in ("socket.connect", "socket.sendto", "socket.bind"):
        away = isinstance(arguments[1], tuple) and str(arguments[1][0]) not in HERE
    else:
        away = event in ("urllib.Request", "ftplib.connect", "smtplib.connect", "webbrowser.open")
    if away:
        print("REACHED OUT", event, arguments, file=sys.stderr)
        import os
        os._exit(99)
sys.addaudithook(watch)
"""


def command(*arguments: object, code: str = SURVIVOR, flags: tuple[str, ...] = ()) -> list[str]:
    """Write the command that runs the program."""
    return [sys.executable, *flags, "-c", code, *map(str, arguments)]


def run(*arguments, code=SURVIVOR, flags=(), cwd=None, before=(), preexec=None, **environment):
    """Run the program to its end."""
    return subprocess.run(
        [*before, *command(*arguments, code=code, flags=flags)],
        capture_output=True,
        cwd=cwd,
        env={**os.environ, **environment},
        preexec_fn=preexec,
        check=False,
    )


def held(folder: Path) -> dict[str, bytes]:
    """Every file below a folder by its name, but for what survivor and libraries keep for themselves."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
        and path.name != MANIFEST
        and ".survivor" not in path.as_posix()
        and ".cache" not in path.parts
    }
