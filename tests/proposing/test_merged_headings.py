"""Headings merged downwards beside headings of visits merged across, as a form that is printed has them."""

from __future__ import annotations

from pathlib import Path

import xlsxwriter

import survivor
from survivor.proposing.proposal import propose

VISITS = ("10/07/2024", "13/12/2024", "08/04/2025")
NAMES = ("Tag", "Plot", "Prep", "Species")


def written(path: Path) -> None:
    """Write 12 seedlings in 4 plots: state and height at each visit under its day."""
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("Emu Flat")
        sheet.merge_range(0, 0, 0, 9, "Emu Flat, planted 18/06/2024. A = alive, D = dead")
        for column, name in enumerate(NAMES):
            sheet.merge_range(2, column, 3, column, name)
        for place, day in enumerate(VISITS):
            column = len(NAMES) + 2 * place
            sheet.merge_range(2, column, 2, column + 1, f"Visit {place + 1} {day}")
            sheet.write_row(3, column, ["State", "Ht cm"])
        for seedling in range(12):
            plot = seedling // 3
            alive = [True, seedling != 4, seedling % 4 > 0]
            cells = [("A" if one else "D", 20 + 5 * place if one else "") for place, one in enumerate(alive)]
            row = [100 + seedling, f"P{plot + 1}", ("Spray", "Spray and rip")[plot % 2], "blackwood"]
            sheet.write_row(4 + seedling, 0, [*row, *(value for cell in cells for value in cell)])


def test_headings_merged_downwards_are_whole_in_the_header(tmp_path: Path) -> None:
    written(tmp_path / "seedlings.xlsx")
    (tmp_path / "study.toml").write_text(propose(tmp_path), "utf-8")
    study = survivor.load(tmp_path)
    assert "blank-key" not in set(study.problems["code"])
    assert (study.accounts["fate"] == "used").sum() == 36
    heights = study.records.visits["height_cm"].dropna()
    assert len(heights) == 12 + 11 + 9
