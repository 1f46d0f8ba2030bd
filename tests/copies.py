"""Copies of one process that has loaded the package: each loads nothing, and is else a process of its own."""

from __future__ import annotations

import multiprocessing
import os
import pkgutil
import sys
import tempfile
from collections.abc import Sequence
from multiprocessing import forkserver
from multiprocessing.context import ForkServerContext
from pathlib import Path
from unittest import mock

import survivor


def copies() -> ForkServerContext:
    """Return what starts them; the process that they are copies of is started once and ends with this one."""
    context = multiprocessing.get_context("forkserver")
    modules = [module.name for module in pkgutil.walk_packages(survivor.__path__, "survivor.")]
    context.set_forkserver_preload(
        ["distributed", *(name for name in modules if not name.endswith("__main__"))]
    )
    with mock.patch.dict(os.environ, OPENBLAS_NUM_THREADS="1"):  # as the command line has it
        forkserver.ensure_running()
    return context


def run_copied(folder: Path, arguments: Sequence[str], said: str = "") -> None:
    """Run a command in a folder, answer what it asks, and fail where it does."""
    process = copies().Process(target=_run, args=(folder, arguments, said))
    process.start()
    process.join()
    assert process.exitcode == 0, arguments


def _run(folder: Path, arguments: Sequence[str], said: str) -> None:
    from survivor.cli import main

    with tempfile.TemporaryFile() as answers:
        answers.write(said.encode())
        answers.seek(0)
        os.dup2(answers.fileno(), 0)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for number in (1, 2):
        os.dup2(nowhere, number)
    sys.stdin, sys.stdout, sys.stderr = (
        open(number, mode, encoding="utf-8", closefd=False)  # noqa: SIM115
        for number, mode in enumerate("rww")
    )
    os.chdir(folder)
    sys.argv = ["survivor", *arguments]
    main()
