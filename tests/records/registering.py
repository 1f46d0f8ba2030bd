"""A study whose visits can be read as sheets and as a register, and what both are to give."""

from __future__ import annotations

import csv
from pathlib import Path

import pandas as pd

from survivor.analysis.models import first_plants
from survivor.records import Records
from survivor.records.accounts import counted_up

TAGGED = Path(__file__).parents[2] / "datasets" / "tagged"
SITES = ("Tarn Hollow", "Vossel Flat")
RULES = ((None, "censored"), ("unknown", "censored"), (None, "dead"), (None, "alive"))


def a_study(folder: Path, rows: list[list[str]], file: str) -> Path:
    folder.mkdir(parents=True)
    for name in ("plots.csv", "diary.csv", "study.toml", *(path.name for path in TAGGED.glob("*_*.csv"))):
        (folder / name).write_bytes((TAGGED / name).read_bytes())
    plots = (folder / "plots.csv").read_text().splitlines(keepends=True)
    (folder / "plots.csv").write_text("".join(line for line in plots if line.startswith(("Site,", *SITES))))
    text = (folder / "study.toml").read_text().replace('"visits.csv"', f'"{file}"')
    (folder / "study.toml").write_text(text)
    if "*" not in file and file.endswith(".csv"):
        with (folder / file).open("w", newline="") as sheet:
            csv.writer(sheet, lineterminator="\n").writerows(rows)
    return folder


def tidy(accounts: pd.DataFrame) -> pd.DataFrame:
    table = counted_up(accounts).drop(columns="row")
    return table.sort_values(list(table.columns)).reset_index(drop=True)


def summed(intervals: pd.DataFrame) -> pd.DataFrame:
    plain = intervals.assign(method=intervals["method"].astype(str))
    keys = [name for name in plain.columns if name not in ("tag", "at_risk", "died")]
    return plain.groupby(keys, dropna=False)[["at_risk", "died"]].sum().reset_index()


def by_cause(records: Records) -> pd.Series:
    deaths = records.deaths(first_plants(records.intervals)).astype({"method": str})
    return deaths.groupby(["method", "start_day", "stop_day", "cause"])["died"].sum()
