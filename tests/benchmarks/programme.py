"""Seconds of a programme: with 1, 2 and 4 workers, a second time without changes, and on larger clusters.

``python -m tests.benchmarks.programme [STUDIES]`` writes so many invented studies (300 where none is named),
runs them as ``survivor programme`` does with each number of workers, and prints the tables.
The last table is a simulation: tasks as long as those measured, handed out one after another at the cost
that the scheduler was measured to have for a task that does nothing, to workers that take the next one. Its
last column says where it stops paying: from how many workers on twice as many save less than a tenth.
The figures are printed, not tested.
"""

from __future__ import annotations

import hashlib
import heapq
import os
import resource
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

import numpy as np

from survivor.demo.programme import write_programme as write_invented
from survivor.programme import write_programme
from survivor.programme.cluster import Cluster, on_cluster
from survivor.programme.record import FOLDER, Question
from survivor.programme.running import put_together, take_studies
from survivor.programme.study_answers import answers_of
from survivor.programme.writing import is_written

STUDIES: Final = 300
WORKERS: Final = (1, 2, 4)
LARGE: Final = (2, 8, 64, 512)
_EMPTY: Final = 2_000  # tasks that do nothing
_SAMPLE: Final = 40  # studies whose length is measured one by one
_MANY: Final = 60  # plots of a study that are many


def processor() -> float:
    """Processor seconds of this process and of those that it started and that have ended."""
    own, others = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return own.ru_utime + own.ru_stime + others.ru_utime + others.ru_stime


def timed(work: Callable[[], object]) -> tuple[float, float]:
    """Clock and processor seconds of some work."""
    clock, spent = time.monotonic(), processor()
    work()
    return time.monotonic() - clock, processor() - spent


def digest(folder: Path) -> str:
    """Digest of every file of a folder that is not hidden."""
    found = hashlib.sha256()
    for path in sorted(folder.rglob("*")):
        if path.is_file() and not path.name.startswith("."):
            found.update(path.relative_to(folder).as_posix().encode() + path.read_bytes())
    return found.hexdigest()[:12]


def run(top: Path, out: Path, workers: int) -> None:
    """Do what the command does."""
    taken = take_studies(top, cluster=Cluster(workers))
    if not is_written(taken.records, out):
        write_programme(put_together(taken), out)


def lengths(top: Path) -> list[tuple[int, float]]:
    """Plots, and seconds of the processor, of some studies, each by itself in this process."""
    question = Question("12 months", 365.0, "measured")
    folders = sorted(path.parent.relative_to(top).as_posix() for path in top.rglob("study.toml"))
    sample = folders[:: max(1, len(folders) // _SAMPLE)]
    answers_of(str(top), sample[0], question)  # what is loaded once
    measured = []
    for folder in sample:
        began = processor()
        record = answers_of(str(top), folder, question)
        measured.append((record.counts.get("plots", 0), processor() - began))
    return measured


def told_of(measured: Sequence[tuple[int, float]]) -> str:
    """Say how long studies took, and those of many plots among them."""
    many = [seconds for plots, seconds in measured if plots >= _MANY]
    usable = [plots for plots, _ in measured if plots]
    said = f"A study ({np.mean(usable):.0f} plots): {np.mean([seconds for _, seconds in measured]):.2f} s"
    return f"{said}; of {_MANY} plots or more ({len(many)} of {len(measured)}): {np.mean(many):.2f} s."


def cost_of_a_task() -> float:
    """Seconds of the scheduler for one task that does nothing."""
    with on_cluster(Cluster(2)) as handing:
        client = handing._client
        client.gather(client.map(abs, range(10)))
        started = time.monotonic()
        client.gather(client.map(abs, range(-_EMPTY, 0)))
        return (time.monotonic() - started) / _EMPTY


def simulated(tasks: Sequence[float], workers: int, cost: float) -> float:
    """Seconds until the last of some tasks is done, handed out in their order at a cost each."""
    free = [0.0] * workers
    handed = 0.0
    for task in tasks:
        handed += cost
        start = max(heapq.heappop(free), handed)
        heapq.heappush(free, start + task)
    return max(free)


def stops_paying(tasks: Sequence[float], cost: float) -> int:
    """From how many workers on twice as many save less than a tenth."""
    workers = 1
    while simulated(tasks, 2 * workers, cost) < 0.9 * simulated(tasks, workers, cost):
        workers *= 2
    return workers


def main(studies: int = STUDIES) -> None:
    """Print the tables."""
    with tempfile.TemporaryDirectory() as held:
        top = Path(held) / "programme"
        clock, spent = timed(lambda: list(write_invented(top, studies)))
        print(
            f"| {studies} studies | clock, s | processor, s | digest of what is written |\n|---|---|---|---|"
        )
        print(f"| written by the demo | {clock:.1f} | {spent:.1f} | |", flush=True)
        for workers in WORKERS:
            shutil.rmtree(top / FOLDER, ignore_errors=True)
            out = Path(held) / f"out-{workers}"
            clock, spent = timed(lambda out=out, workers=workers: run(top, out, workers))
            print(f"| {workers} workers | {clock:.1f} | {spent:.1f} | {digest(out)} |", flush=True)
            clock, spent = timed(lambda out=out, workers=workers: run(top, out, workers))
            print(f"| again, nothing changed | {clock:.1f} | {spent:.1f} | {digest(out)} |", flush=True)
        measured, cost = lengths(top), cost_of_a_task()
        taken = take_studies(top)
        alone = timed(lambda: write_programme(put_together(taken), Path(held) / "alone"))[1]
        print(f"\nLoad of the machine: {os.getloadavg()[0]:.1f} programs for {os.cpu_count()} cores.")
        print(told_of(measured), f"A task: {1000 * cost:.2f} ms of the scheduler.")
        print(f"To put {studies} studies together and write the page: {alone:.1f} s, of one processor.\n")
        print("| studies (simulated) | " + " | ".join(f"{w} workers" for w in LARGE) + " | stops paying at |")
        print("|---" * (len(LARGE) + 2) + "|")
        each = [seconds for _, seconds in measured]
        for many in (studies, 10 * studies, 100 * studies):
            tasks = sorted((each * (many // len(each) + 1))[:many], reverse=True)
            told = " | ".join(f"{simulated(tasks, workers, cost):.1f} s" for workers in LARGE)
            print(f"| {many:,} | {told} | {stops_paying(tasks, cost)} workers |")
        print(f"\nMore than {np.mean(each) / cost:.0f} workers would wait for the scheduler.")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else STUDIES)
