"""The calibration table of the package.

``python -m tests.calibration.table DIRECTORY`` simulates what is not there yet, keeps it
in DIRECTORY a part at a time, so that a run may be stopped and gone on with, and writes
``calibration.csv``, ``peers.csv``, ``plot_weights.csv`` and ``table.md`` beside this module from
whatever parts there are; ``notes.md`` says what they show. ``--only cells|peers|weights|write``
does one of these. The numbers of a part depend on the
seed, the name of its cell and its number only, not on how many processes run.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

import survivor
from tests.calibration import cells, peers, weights

BESIDE = Path(__file__).parent
ROUNDS = 10

Job = tuple[str, Callable[..., dict[str, Any]], tuple[Any, ...]]


def _kept(where: Path, name: str, make: Callable[..., dict[str, Any]], given: tuple[Any, ...]) -> str:
    """Make one part and keep it under its name, whole or not at all."""
    found = make(*given)
    part = where / f".{name}.{os.getpid()}.npz"
    np.savez_compressed(part, **found)
    part.rename(where / f"{name}.npz")
    return name


def cell_part(place: int, part: int) -> dict[str, Any]:
    """Numbers of one part of a cell."""
    found, ended = cells.studies(cells.CELLS[place], part, cells.PART)
    return {"found": found, "ended": ended}


def jobs(only: str | None = None) -> list[Job]:
    """Parts of everything, in rounds: a run that is stopped early has some of each."""
    kinds: list[tuple[str, Callable[..., dict[str, Any]], list[str], int]] = [
        ("cells", cell_part, [cell.name for cell in cells.CELLS], cells.PARTS),
        ("weights", weights.part, [cell.name for cell in weights.CELLS], weights.PARTS),
    ]
    for group in peers.GROUPS:
        names = [group.kept(cell) for cell in cells.CELLS]
        kinds.append(("peers", partial(peers.part, group), names, group.parts))
    found: list[Job] = []
    for turn in range(ROUNDS):
        for kind, make, names, parts in kinds:
            span = range(turn * parts // ROUNDS, (turn + 1) * parts // ROUNDS)
            found += [
                (f"{cells.slug(name)}.{part:02d}", make, (place, part))
                for part in span
                for place, name in enumerate(names)
                if only in (None, kind)
            ]
    return found


def run(where: Path, jobs: list[Job], workers: int) -> None:
    """Do the jobs whose files are not there yet."""
    where.mkdir(parents=True, exist_ok=True)
    left = [job for job in jobs if not (where / f"{job[0]}.npz").exists()]
    with ProcessPoolExecutor(workers) as pool:
        waiting = [pool.submit(_kept, where, *job) for job in left]
        for number, each in enumerate(waiting, start=1):
            print(f"{number} of {len(left)}: {each.result()}", flush=True)


def read(where: Path, name: str) -> dict[str, Any] | None:
    """All parts of a name in order, joined; None where there are none."""
    files = sorted(where.glob(f"{cells.slug(name)}.[0-9][0-9].npz"))
    if not files:
        return None
    parts = [np.load(file) for file in files]
    return {key: np.concatenate([part[key] for part in parts]) for key in parts[0].files}


def calibration(where: Path) -> pd.DataFrame:
    """The table of the reported analysis."""
    rows: list[dict[str, object]] = []
    for cell in cells.CELLS:
        held = read(where, cell.name)
        if held is not None:
            rows += cells.summary(cell, held["found"], held["ended"])
    return pd.DataFrame(rows)


#: Columns shown in ``table.md``, and their headings.
SHOWN = {
    "cell": "studies simulated",
    "analysis": "analysis",
    "weights": "weights",
    "estimate_of": "estimate",
    "asked": "asked",
    "studies": "studies",
    "share": "per 100 (± simulation error)",
    "band": "band",
    "within": "within",
    "target": "target",
    "mean_estimate": "mean estimate",
    "sd_of_estimates": "its SD over studies",
    "root_mean_square_error_reported": "standard error reported",
    "median_df": "median df",
    "penalised": "penalised",
    "failed": "failed",
    "without_limits": "without limits",
}


def markdown(table: pd.DataFrame) -> str:
    """Lines of a Markdown table with figures as they are read."""
    pairs = zip(table["share_per_100"], table["simulation_error"], strict=True)
    shown = table.assign(share=[f"{share:.1f} ± {error:.1f}" for share, error in pairs])
    for name, digits in {"target": 3, "mean_estimate": 3, "sd_of_estimates": 3, "median_df": 1}.items():
        if name in shown:
            shown[name] = shown[name].map(f"{{:.{digits}f}}".format)
    error = "root_mean_square_error_reported"
    shown[error] = shown[error].map("{:.3f}".format)
    columns = [name for name in SHOWN if name in shown]
    lines = [[SHOWN[name] for name in columns], ["---"] * len(columns)]
    lines += shown[columns].astype(str).to_numpy().tolist()
    return "\n".join(f"| {' | '.join(line)} |" for line in lines) + "\n"


TITLES = {
    "calibration": "The reported analysis: grouped, CR2 with Satterthwaite degrees of freedom",
    "peers": "Other analyses of the same studies",
    "plot_weights": "Weights a plot where plots differ ten-fold in size",
}


def write(where: Path, beside: Path = BESIDE) -> None:
    """Write the tables from the parts that there are, with command, seed and version."""
    made = f"python -m tests.calibration.table DIRECTORY; seed {cells.SEED}; survivor {survivor.__version__}"
    tables = {
        "calibration": calibration(where),
        "peers": peers.table(lambda name: read(where, name)),
        "plot_weights": weights.table(lambda name: read(where, name)),
    }
    page = [f"# Calibration\n\nMade by `{made}`. What it shows is said in `notes.md`.\n"]
    for name, table in tables.items():
        if len(table):
            text = table.to_csv(index=False, float_format="%.4g", lineterminator="\n")
            (beside / f"{name}.csv").write_text(f"# {made}\n{text}", encoding="utf-8")
            page.append(f"## {TITLES[name]}\n\n{markdown(table)}")
    (beside / "table.md").write_text("\n".join(page), encoding="utf-8")
    print(*page, sep="\n")


def main() -> None:
    """Run the command."""
    asked = argparse.ArgumentParser(description="Make the calibration table.")
    asked.add_argument("directory", type=Path)
    asked.add_argument("--workers", type=int, default=2)
    asked.add_argument("--only", choices=("cells", "peers", "weights", "write"))
    given = asked.parse_args()
    if given.only != "write":
        run(given.directory, jobs(given.only), given.workers)
    write(given.directory)


if __name__ == "__main__":
    main()
