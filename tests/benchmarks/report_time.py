"""Seconds and peak memory of reports from a cold start: the demo cohorts, and studies of many plots.

``python -m tests.benchmarks.report_time`` makes every report below in a process of its own, as
``survivor report`` does it, and writes the table in ``report_time.md`` anew; ``... 100 1000`` makes
those of counts with so many plots only, and prints. The figures are printed, not tested.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

DATASETS = Path(__file__).parents[2] / "datasets"
TABLE = Path(__file__).with_suffix(".md")
PLOTS = (100, 1_000, 4_000, 20_000)
SEEDLINGS = 100_000
_BEGIN, _END = "<!-- table -->", "<!-- end -->"
_REPORT = "import sys; from survivor.cli import main; sys.argv = ['survivor', *sys.argv[1:]]; main()"
# Peak memory is kept for all children together, so each report is measured by a parent of its own.
_MEASURED = "from tests.benchmarks.report_time import measured; import sys; measured(sys.argv[1])"
_HEAD = (
    "| report | rows of records | clock, s | processor, s | processor, ms a plot | peak memory, MB | load |",
    "|---|---|---|---|---|---|---|",
)


def measured(study: str) -> None:
    """Make one report in a process of its own; print its seconds, processor seconds and peak memory."""
    with tempfile.TemporaryDirectory() as folder:
        began = time.perf_counter()
        subprocess.run(
            [sys.executable, "-c", _REPORT, "report", study, "--out", folder],
            check=True,
            capture_output=True,
        )
        seconds = time.perf_counter() - began
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    print(seconds, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)  # kilobytes on Linux


def line(name: str, study: Path, plots: int) -> str:
    """Measure one report, as a line of the table."""
    made = subprocess.run(
        [sys.executable, "-c", _MEASURED, str(study)], check=True, capture_output=True, text=True
    )
    seconds, processor, megabytes = map(float, made.stdout.split())
    records = [study / file for file in ("counts.csv", "visits.csv") if (study / file).exists()]
    rows = sum(len(file.read_bytes().splitlines()) - 1 for file in records)
    return (
        f"| {name} | {f'{rows:,}' if rows else ''} | {seconds:.1f} | {processor:.1f} | "
        f"{1000 * processor / plots:.1f} | {megabytes:.0f} | {os.getloadavg()[0]:.0f} |"
    )


def lines(plots: tuple[int, ...], demo: bool) -> list[str]:
    """Measure the reports, printing each line as it is there."""
    from tests.benchmarks.large_studies import write_counts, write_tagged

    found = list(_HEAD)

    def tell(name: str, study: Path, number: int) -> None:
        found.append(line(name, study, number))
        print(found[-1], flush=True)

    if demo:
        tell("demo, tagged (96 plots)", DATASETS / "tagged", 96)
        tell("demo, counts (60 plots)", DATASETS / "counts", 60)
    with tempfile.TemporaryDirectory() as folder:
        for number in plots:
            tell(f"counts, {number:,} plots", write_counts(Path(folder) / str(number), number), number)
        if demo:
            study = write_tagged(Path(folder) / "tagged", SEEDLINGS)
            number = len((study / "plots.csv").read_bytes().splitlines()) - 1
            tell(f"tagged, {SEEDLINGS:,} seedlings ({number:,} plots)", study, number)
    return found


if __name__ == "__main__":
    asked = tuple(map(int, sys.argv[1:]))
    made = lines(asked or PLOTS, demo=not asked)
    if not asked:
        before, rest = TABLE.read_text(encoding="utf-8").split(_BEGIN)
        after = rest.split(_END)[1]
        text = "\n".join([before.rstrip(), "", _BEGIN, "", *made, "", _END, after.lstrip("\n")])
        TABLE.write_text(text.rstrip() + "\n", encoding="utf-8")
