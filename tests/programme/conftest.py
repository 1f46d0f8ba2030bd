"""Processes of a cluster that are there at once, for tests that look at something else than their start."""

from __future__ import annotations

from collections.abc import Iterator

import dask
import pytest

from tests.copies import copies


@pytest.fixture
def copied() -> Iterator[None]:
    """Let the processes of a cluster be copies of one that has loaded all, which is kept.

    As a rule each is started anew and loads all, which is longer than what the tests have for it to do.
    """
    copies()
    with dask.config.set({"distributed.worker.multiprocessing-method": "forkserver"}):
        yield
