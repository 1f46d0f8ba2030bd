"""Seconds and memory from a register of tagged seedlings to its findings, beside the plain read of its file.

``python -m tests.benchmarks.registers [RECORDS ...]`` writes registers of so many records (1, 8 and 24
million where none is named), as CSV and as Parquet, and takes each from records to findings in a process of
its own, as ``survivor report`` does before it writes. Plots are the same in number at every size (2,592 at
432 sites), so that the table shows what records cost; ``--plots`` lets the plots grow, at 100 seedlings each.
Everything is drawn and written in chunks of sites. The figures are printed, not tested.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.csv as pc
import pyarrow.parquet as pq

from survivor.demo import tagged
from survivor.demo.watching import Habits, watch
from survivor.demo.weather import gauge_file
from survivor.simulate.drawing import draw_records
from tests.benchmarks.large_studies import SEED, tagged_file

RECORDS: Final = (1_000_000, 8_000_000, 24_000_000)
SITES: Final = 432
PER_SEEDLING: Final = 5.25  # records, of six visits: dead plants are not looked for for ever
_CHUNK: Final = 500_000  # seedlings drawn at a time
_MEASURED: Final = "from tests.benchmarks.registers import {}; import sys; {}(sys.argv[1])"
_COLUMNS: Final = (
    "register", "records", "seedlings", "plots", "file, MB", "plain read, s", "to findings, s", "aim, s",
    "processor, s", "of it records, s", "peak memory, MB", "load",
)  # fmt: skip
_HEAD: Final = (f"| {' | '.join(_COLUMNS)} |", "|---" * len(_COLUMNS) + "|")


def chunks(sites: int, per_plot: int) -> Iterator[tuple[pd.DataFrame, pd.DataFrame]]:
    """Draw plots and visits, so many sites at a time."""
    rng = np.random.default_rng(SEED)
    demo, done = tagged.COHORT, 0
    methods = len(demo.methods)
    while done < sites:
        number = min(sites - done, max(1, _CHUNK // (methods * per_plot)))
        cohort = replace(demo, sites=number, blocks=1, seedlings=per_plot, site_effects=None, site_sd=0.35)
        # Of the visits that are drawn only the last is: those on the sheets are made below, and sooner.
        drawn = draw_records(replace(cohort, visit_days=tuple(days[-1:] for days in demo.visit_days)), rng)
        plots = drawn.plots.assign(
            site=[f"Site {int(name.split()[1]) + done:06d}" for name in drawn.plots["site"]]
        )
        plot = np.repeat(np.arange(len(plots)), per_plot)
        of_site = plots["site"].str[5:].astype(int).to_numpy()[plot]
        days = np.array(cohort.visit_days)[of_site % len(cohort.visit_days)]
        seen = watch(drawn.seedlings["death_day"].to_numpy(), days, plot, Habits(), rng)
        planted = drawn.seedlings["planted_date"].to_numpy().astype("datetime64[D]")
        visit, line = np.nonzero(seen.listed.T)
        visits = pd.DataFrame(
            {
                "Site": plots["site"].to_numpy()[plot][line],
                "Block": plots["block"].to_numpy()[plot][line],
                "Plot": plots["plot"].to_numpy()[plot][line],
                "Tag": line + 1,
                "Species": drawn.seedlings["species"].to_numpy()[line],
                "Visit": visit + 1,
                "Date": planted[line] + days[line, visit],
                "State": seen.words[line, visit],
            }
        )
        yield plots, visits
        done += number


def write_register(folder: Path, sites: int, per_plot: int) -> int:
    """Write a register as CSV and as Parquet, each with its study file; returns the number of records."""
    schema = pa.schema(
        [(name, pa.string()) for name in ("Site", "Block", "Plot")]
        + [("Tag", pa.int64()), ("Species", pa.string()), ("Visit", pa.int64()), ("Date", pa.date32())]
        + [("State", pa.string())]
    )
    homes = {kind: folder / kind for kind in ("csv", "parquet")}
    for home in homes.values():
        home.mkdir(parents=True)
    records, sheets = 0, []
    with (
        pc.CSVWriter(homes["csv"] / "visits.csv", schema) as text,
        pq.ParquetWriter(homes["parquet"] / "visits.parquet", schema) as packed,
    ):
        for plots, visits in chunks(sites, per_plot):
            table = pa.Table.from_pandas(visits, schema, preserve_index=False)
            text.write(table)
            packed.write(table)
            records += len(table)
            sheets.append(plots)
    plots = pd.concat(sheets)[
        ["site", "block", "plot", "method", "planted_date", "planted", "weed_free_radius_m"]
    ]
    header = ["Site", "Block", "Plot", "Preparation", "Planted on", "Seedlings", "Weed-free radius (m)"]
    rng = np.random.default_rng(SEED)
    gauges = {name: gauge_file(plan, rng) for name, plan in tagged._GAUGES.items()}
    study = tagged_file(sorted(plots["site"].unique()))
    for kind, home in homes.items():
        plots.to_csv(home / "plots.csv", index=False, header=header, float_format="%.2f")
        for name, raw in gauges.items():
            (home / name).write_bytes(raw)
        (home / "study.toml").write_text(
            study.replace('"visits.csv"', f'"visits*.{kind}"')  # a register at any size
        )
    return records


def plain(path: str) -> None:
    """Read the file as pyarrow does, and print the seconds."""
    began = time.perf_counter()
    read = pq.read_table if path.endswith(".parquet") else pc.read_csv
    assert len(read(path))
    print(time.perf_counter() - began)


def measured(study: str) -> None:
    """Take one register from records to findings; print seconds, of the processor, and for the records."""
    import survivor

    began, spent = time.perf_counter(), _processor()
    loaded = survivor.load(study)
    after = _processor()
    assert loaded.findings()
    seconds = time.perf_counter() - began
    print(seconds, _processor() - spent, after - spent)


def _processor() -> float:
    own, others = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return own.ru_utime + own.ru_stime + others.ru_utime + others.ru_stime


def _held(process: int) -> int:
    """Kilobytes that a process holds by itself, its share of what it shares with its copy among them."""
    try:
        lines = Path(f"/proc/{process}/smaps_rollup").read_text().splitlines()
    except OSError:
        return 0
    return next((int(line.split()[1]) for line in lines if line.startswith("Pss:")), 0)


def _watch(process: int, peak: list[int], done: threading.Event) -> None:
    children = Path(f"/proc/{process}/task/{process}/children")
    while not done.wait(1.0):
        try:
            of_all = [process, *map(int, children.read_text().split())]
        except OSError:
            return
        peak[0] = max(peak[0], sum(map(_held, of_all)))


def run(study: Path) -> tuple[list[float], float]:
    """Measure one register in a process of its own, and the memory of it and its copy from outside."""
    command = [sys.executable, "-c", _MEASURED.format("measured", "measured"), str(study)]
    peak, done = [0], threading.Event()
    alone = os.environ | {"OPENBLAS_NUM_THREADS": "1"}  # as the command line has it
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=alone) as process:
        watcher = threading.Thread(target=_watch, args=(process.pid, peak, done), daemon=True)
        watcher.start()
        out, _ = process.communicate()
    done.set()
    watcher.join()
    if process.returncode:
        raise SystemExit(f"{study}: ended with {process.returncode}")
    return [float(number) for number in out.split()], peak[0] / 1024


def line(kind: str, folder: Path, records: int, sites: int, per_plot: int) -> str:
    """Measure one register, as a line of the table."""
    file = folder / kind / f"visits.{kind}"
    command = [sys.executable, "-c", _MEASURED.format("plain", "plain"), str(file)]
    # Twice: so that the second finds the file in the memory of the system.
    reads = [subprocess.run(command, check=True, capture_output=True, text=True) for _ in range(2)]
    alone = min(float(read.stdout) for read in reads)
    (seconds, processor, of_records), megabytes = run(folder / kind)
    plots = sites * len(tagged.COHORT.methods)
    cells = (
        kind, f"{records:,}", f"{plots * per_plot:,}", f"{plots:,}", f"{file.stat().st_size / 1e6:.0f}",
        f"{alone:.1f}", f"{seconds:.0f}", f"{3 * alone + 20:.0f}", f"{processor:.0f}", f"{of_records:.0f}",
        f"{megabytes:.0f}", f"{os.getloadavg()[0]:.0f}",
    )  # fmt: skip
    return f"| {' | '.join(cells)} |"


if __name__ == "__main__":
    asked = [int(number) for number in sys.argv[1:] if number.isdigit()] or list(RECORDS)
    kinds = [kind for kind in ("csv", "parquet") if kind in sys.argv] or ["csv", "parquet"]
    print(*_HEAD, sep="\n", flush=True)
    for wanted in asked:
        seedlings = wanted / PER_SEEDLING / len(tagged.COHORT.methods)
        sites = round(seedlings / 100) if "--plots" in sys.argv else SITES
        per_plot = max(1, round(seedlings / sites))
        with tempfile.TemporaryDirectory() as place:
            written = write_register(Path(place), sites, per_plot)
            for kind in kinds:
                print(line(kind, Path(place), written, sites, per_plot), flush=True)
