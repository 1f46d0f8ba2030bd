"""Processes of a cluster that are there at once, for tests that look at something else than their start."""

from __future__ import annotations

import multiprocessing
from collections.abc import Iterator
from multiprocessing import forkserver

import dask
import pytest


@pytest.fixture
def copied() -> Iterator[None]:
    """Let the processes of a cluster be copies of one that has loaded all, which is kept.

    As a rule each is started anew and loads all, which is longer than what the tests have for it to do.
    """
    multiprocessing.get_context("forkserver").set_forkserver_preload(
        ["distributed", "survivor.programme.in_parts", "survivor.programme.study_answers"]
    )
    forkserver.ensure_running()
    with dask.config.set({"distributed.worker.multiprocessing-method": "forkserver"}):
        yield
