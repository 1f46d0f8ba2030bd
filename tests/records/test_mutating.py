"""Of every slip that changes the answer a problem names the cell, or a reason why it cannot be seen.

Of a thousand slips those are made here that differ; ``python -m tests.records.mutations`` makes 10,000.
"""

from __future__ import annotations

import multiprocessing
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import pytest

from tests.records.mutating import KINDS, MEGABYTES, drawn_slip, lines_of, many, that_differ, why

THOUSAND = 1_000


def _made(seeds: Sequence[int]):
    """Slips seen, those unnamed, and the most memory that this process held, in MB (0: not known)."""
    seen, unnamed = many(seeds)
    held = Path("/proc/self/status")
    peak = held.read_text().split("VmHWM:")[1].split()[0] if sys.platform == "linux" else "0"
    return seen, unnamed, int(peak) / 1024


@pytest.mark.slow
def test_every_slip_that_changes_the_answer_is_named_or_cannot_be_seen():
    seeds = that_differ(THOUSAND)
    # In a process of its own, whose memory no other test has used.
    with ProcessPoolExecutor(1, multiprocessing.get_context("spawn")) as alone:
        seen, unnamed, megabytes = alone.submit(_made, seeds).result()
    print("\n".join(lines_of(seen, unnamed)))
    assert [found for found in unnamed if not why(found)] == []
    changed = len(seeds) - seen["same"] - seen["refused"]
    assert seen["cell"] + seen["row"] + seen["column"] >= 0.8 * changed
    assert megabytes < MEGABYTES


@pytest.mark.slow
def test_every_kind_of_slip_is_among_them():
    slips = {(KINDS[seed % 2], drawn_slip(KINDS[seed % 2], seed)[1].how) for seed in that_differ(THOUSAND)}
    assert len(slips) == len(KINDS) * 14  # five of a cell, four of a row, five of a column
