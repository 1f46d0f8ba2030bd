"""Whatever people do to a sheet: an account of every record, or a plain error, never a traceback."""

from __future__ import annotations

import csv
import random
import tempfile
from pathlib import Path

import pytest

from survivor.errors import SurvivorError
from survivor.intervals import check_intervals
from survivor.records import read_records
from survivor.settings import read_settings
from tests.records.conftest import COUNTS, TAGGED, sheet

AIM = '\npurpose = "check a target"\nas_of'
ODD = (
    "", " ", "?", "-", "x", "Total", "n/a", "85%", "-5", "1e9", "0012", "03/04/2022", "44652", "2022-13-45",
    "TRUE", "NaN", "inf", "None", "é", "a" * 300, '"', "1,5", "2032-01-01", "1999-01-01", "dead", "NF", "0",
    "infill",
)  # fmt: skip
SEEDLINGS = "site,block,plot,tag,species,cohort,planting date,visit,date,state,height"
PLOTS = "site,block,plot,species,method,planting date,planted,visit,date,alive,infill"
DATES = {1: "2022-07-01", 2: "2022-08-01", 3: "2022-09-01"}
SHEETS = {
    "tagged": (
        SEEDLINGS.split(","),
        [
            f"Rise,B1,{plot},{tag:03d},oak,planting,2022-06-01,{visit},{date},A,30".split(",")
            for plot in (1, 2)
            for tag in range(3)
            for visit, date in DATES.items()
        ],
    ),
    "counts": (
        PLOTS.split(","),
        [
            f"Rise,B1,{plot},oak,rip,2022-06-01,50,{visit},{date},{50 - visit},".split(",")
            for plot in (1, 2, 3)
            for visit, date in DATES.items()
        ],
    ),
}


def damaged(header: list[str], rows: list[list[str]], dice: random.Random) -> list[list[str]]:
    table = [list(header), *map(list, rows)]
    for _ in range(dice.randint(1, 12)):
        row = dice.randrange(len(table))
        column = dice.randrange(len(header))
        act = dice.random()
        if act < 0.55:
            table[max(row, 1)][column] = dice.choice(ODD)
        elif act < 0.65:
            for each in table[1:]:
                each[column] = dice.choice(ODD)
        elif act < 0.75:
            table.append(list(table[row]))
        elif act < 0.85 and len(table) > 3:
            del table[max(row, 1)]
        elif act < 0.95:
            table.insert(max(row, 1), [""] * len(header))
        else:
            table[0][column] = dice.choice(("", "Notes", "plot", "height (m)", "Radius"))
    return table


def read_damaged(kind: str, seed: int) -> None:
    dice = random.Random(seed)
    table = damaged(*SHEETS[kind], dice)
    head = (TAGGED if kind == "tagged" else COUNTS).replace("\nas_of", AIM)
    rules = '[rules]\nblank = "dead"\nmeasured_means_alive = true\n' if dice.random() < 0.3 else ""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "study.toml").write_text(head + sheet() + rules)
        with (folder / "visits.csv").open("w", newline="", encoding="utf-8") as file:
            csv.writer(file).writerows(table)
        try:
            records = read_records(folder, read_settings(folder))
        except SurvivorError:
            return
    if records.nothing is None:
        check_intervals(records.intervals)
    else:
        assert records.intervals.empty
        assert (records.accounts["fate"] != "used").all()
    filled = [number for number, row in enumerate(table[1:], start=2) if any(cell.strip() for cell in row)]
    assert list(records.accounts["row"]) == filled
    unused = records.accounts[records.accounts["fate"] != "used"]
    assert set(unused["code"]) <= set(records.problems["code"])
    assert (unused["code"] != "").all()
    assert (records.problems["mend"] != "").all()


@pytest.mark.parametrize("kind", SHEETS)
@pytest.mark.parametrize("seed", range(12))
def test_a_damaged_sheet_never_gives_a_traceback(kind: str, seed: int) -> None:
    read_damaged(kind, seed)


@pytest.mark.slow
@pytest.mark.parametrize("kind", SHEETS)
def test_nor_do_many(kind: str) -> None:
    for seed in range(12, 400):
        read_damaged(kind, seed)
