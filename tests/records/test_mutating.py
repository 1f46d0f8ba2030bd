"""Of every slip that changes the answer a problem names the cell, or a reason why it cannot be seen."""

from __future__ import annotations

import multiprocessing
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import pytest

from tests.records.mutating import MEGABYTES, lines_of, many, why

SHORT, LONG, CHUNKS = 30, 100, 10


def _made(number: int, start: int):
    """Slips seen, those unnamed, and the most memory that this process held, in MB (0: not known)."""
    seen, unnamed = many(number, start)
    held = Path("/proc/self/status")
    peak = held.read_text().split("VmHWM:")[1].split()[0] if sys.platform == "linux" else "0"
    return seen, unnamed, int(peak) / 1024


def every_slip_is_seen_or_cannot_be(number: int, start: int) -> None:
    # In a process of its own, whose memory no other test has used.
    with ProcessPoolExecutor(1, multiprocessing.get_context("spawn")) as alone:
        seen, unnamed, megabytes = alone.submit(_made, number, start).result()
    print("\n".join(lines_of(seen, unnamed)))
    assert [found for found in unnamed if not why(found)] == []
    changed = number - seen["same"] - seen["refused"]
    assert seen["cell"] + seen["row"] + seen["column"] >= 0.8 * changed
    assert megabytes < MEGABYTES


@pytest.mark.slow
def test_every_slip_that_changes_the_answer_is_named_or_cannot_be_seen():
    every_slip_is_seen_or_cannot_be(SHORT, 0)


@pytest.mark.slow
@pytest.mark.parametrize("chunk", range(1, CHUNKS + 1))
def test_so_are_a_thousand(chunk):
    every_slip_is_seen_or_cannot_be(LONG, chunk * LONG)
