"""A register of plot counts: read in parts as a sheet of them is read at once."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

import survivor
from survivor.files import datasets
from survivor.records import book, registers
from survivor.records.accounts import number_by
from survivor.records.registers import read_register
from survivor.settings import read_settings
from tests.records.registering import summed, tidy

SITES, PLOTS, PLANTED = 6, 8, 40
DAYS = ("2022-11-10", "2023-05-12", "2023-11-14", "2024-06-03")
METHODS = ("spot spray only", "spray and rip")
HEAD = ["Site", "Plot", "Visit", "Date", "Alive"]
STUDY = """
[study]
name = "Counts in parts (invented)"
as_of = "2024-08-01"
seed = 3

[records]
kind = "counts"
shape = "long"

[records.plots]
file = "plots.csv"

[[records.sheets]]
file = "{file}"

[records.sheets.columns]
site = "Site"
plot = "Plot"
visit = "Visit"
date = "Date"
alive = "Alive"

[design]
usual_practice = "spot spray only"

[[milestones]]
name = "24 months"
day = 730
"""


@pytest.fixture(autouse=True)
def small_parts(monkeypatch):
    monkeypatch.setattr(registers, "_A_PART", 70)
    monkeypatch.setattr(datasets, "_BLOCK", 2_000)


@pytest.fixture(scope="module")
def rows() -> list[list[str]]:
    """Counts of six sites, visit after visit, so that a plot's rows lie far apart; some of them wrong."""
    rng = np.random.default_rng(5)
    alive = np.full((SITES, PLOTS), PLANTED)
    table = []
    for visit, day in enumerate(DAYS, 1):
        alive = rng.binomial(alive, np.where(np.arange(PLOTS) % 2, 0.93, 0.85))
        table += [
            [f"Site {site + 1}", f"P{plot + 1}", str(visit), day, str(alive[site, plot])]
            for site in range(SITES)
            for plot in range(PLOTS)
        ]
    table[60][4] = "many"
    table[75][4] = "-3"
    table[100][4] = "12.5"
    table[130][4] = "60"  # more than were planted
    table[150][3] = "2031-01-01"
    table.append(list(table[20]))  # the same once more
    table.append([*table[33][:4], "1"])  # and another count of one visit
    table.append(["Site 2", "P99", "1", DAYS[0], "9"])
    return [HEAD, *table]


def a_study(folder: Path, file: str) -> Path:
    folder.mkdir(parents=True)
    (folder / "study.toml").write_text(STUDY.format(file=file))
    with (folder / "plots.csv").open("w", newline="") as sheet:
        writer = csv.writer(sheet, lineterminator="\n")
        writer.writerow(["Site", "Plot", "Preparation", "Planted on", "Planted"])
        for site in range(SITES):
            for plot in range(PLOTS):
                writer.writerow(
                    [f"Site {site + 1}", f"P{plot + 1}", METHODS[plot % 2], "2022-06-15", PLANTED]
                )
    return folder


def write(path: Path, rows: list[list[str]]) -> None:
    with path.open("w", newline="") as sheet:
        csv.writer(sheet, lineterminator="\n").writerows(rows)


@pytest.fixture(scope="module")
def at_once(rows, tmp_path_factory):
    study = a_study(tmp_path_factory.mktemp("once") / "study", "counts.csv")
    write(study / "counts.csv", rows)
    return study, book.read_sheets(study, read_settings(study), book.look_away)


def test_the_same_accounts_problems_and_intervals(at_once):
    study, whole = at_once
    parts = read_register(study, read_settings(study))
    pd.testing.assert_frame_equal(tidy(parts.accounts), tidy(whole.accounts))
    by = list(whole.problems.columns)
    pd.testing.assert_frame_equal(
        parts.problems.sort_values(by, ignore_index=True), whole.problems.sort_values(by, ignore_index=True)
    )
    assert {"unreadable-count", "negative-count", "unknown-plot", "repeated-record"} <= set(
        whole.problems["code"]
    )
    pd.testing.assert_frame_equal(summed(parts.intervals), summed(whole.intervals))
    pd.testing.assert_frame_equal(parts.plots, whole.plots)
    assert parts.sizes() == whole.sizes()
    assert whole.intervals["at_risk"].sum() > SITES * PLOTS * PLANTED


@pytest.mark.slow
def test_the_same_findings_from_many_files_of_either_kind(at_once, rows, tmp_path):
    study, whole = at_once
    told = survivor.load(study).findings()
    table = pd.DataFrame(rows[1:], columns=HEAD)
    for kind in ("csv", "parquet"):
        register = a_study(tmp_path / kind, f"counts/*.{kind}")
        (register / "counts").mkdir()
        for number in range(3):  # every plot lies in all of the files
            own = table.iloc[number::3]
            file = register / f"counts/{number}.{kind}"
            if kind == "csv":
                write(file, [HEAD, *own.to_numpy().tolist()])
            else:
                pq.write_table(pa.Table.from_pandas(own, preserve_index=False), file)
        loaded = survivor.load(register)
        assert (
            number_by(loaded.records.accounts, "code").to_dict()
            == number_by(whole.accounts, "code").to_dict()
        )
        ours = loaded.findings()
        assert [finding.question for finding in ours] == [finding.question for finding in told]
        for name in ("estimate", "lower", "upper"):
            values = [
                [np.nan if getattr(finding, name) is None else getattr(finding, name) for finding in some]
                for some in (ours, told)
            ]
            assert values[0] == pytest.approx(values[1], rel=1e-9, nan_ok=True)
