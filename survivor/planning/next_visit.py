"""Field sheets for the next visit of any study that can be read, made from its records alone."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pandas as pd

from survivor.errors import PlanError
from survivor.files.kinds import is_register
from survivor.files.writing import Place, is_there, writing
from survivor.planning.count_sheets import COUNTED, count_sheet_bytes
from survivor.planning.next_sheets import infill_of, last_states
from survivor.planning.sheets import GIVEN, INFILL, PLANTED, SHEET, SheetPlan, sheet_bytes
from survivor.records import Records
from survivor.settings import Settings, find_study_file
from survivor.settings.questions import quoted
from survivor.study import Study, load
from survivor.vocabulary import FIRST_PLANTING, PLOT_KEY
from survivor.words import date

NEXT_VISIT: Final = "the sheet of the next visit"
_KEYS: Final = [*PLOT_KEY, "tag"]
_FIGURES: Final = re.compile(r"(\d+)")


@dataclass(frozen=True)
class NextVisit:
    """A field sheet for the next visit.

    Attributes
    ----------
    file, content
        Its name in the study's folder, and its bytes.
    rows, row, left_off
        Seedlings or plots on it, what a row is of, and seedlings left off, gone at their last two visits.
    waiting
        Records that are excluded until corrected: what they alone tell is not on the sheet.
    lines
        What the study file has to say for it to be read; empty where it names the file already.
    unread
        Earlier such sheets that somebody filled, and that the study file does not name.
    """

    file: str
    content: bytes
    rows: int
    row: str
    left_off: int
    waiting: int
    lines: str
    unread: tuple[str, ...] = ()


def write_next_visit(study: Path) -> tuple[Path, NextVisit]:
    """Write the field sheet of the next visit into the folder of a study.

    Parameters
    ----------
    study
        A study folder or its study file.

    Returns
    -------
    path, made
        Where it is, and what it holds.

    Raises
    ------
    PlanError
        As `next_visit`.
    WritingError
        When it cannot be written, or another process writes to the folder.
    """
    file = find_study_file(study)
    with writing(file.parent, NEXT_VISIT, as_one=False) as place:
        made = next_visit(load(file), file.parent, place)
        (path,) = place.write({made.file: made.content})
    return path, made


def next_visit(study: Study, folder: Path, place: Place) -> NextVisit:
    """Lay out the next visit of a study: every seedling, or plot, with what is known of it last.

    Parameters
    ----------
    study
        Read.
    folder
        Of the study, where the sheet goes.
    place
        Knows which files this command wrote and nobody changed since.

    Raises
    ------
    PlanError
        When no record can be used, or the records are a register of many files.
    """
    settings, records = study.settings, study.records
    if any(is_register(folder / sheet.file) for sheet in settings.records.sheets):
        raise PlanError(
            "these records are a register, of more plants than sheets are printed for",
            where=str(folder),
            mend="make a study of the sites of one visit, and write its sheets",
        )
    visits = records.visits
    if visits.empty:
        raise PlanError(
            "no record can be used, so nothing tells which seedlings there are",
            where=str(folder),
            mend=f"see what is wrong with the records: survivor check {folder}",
        )
    file, touched = _name(folder, place)
    named = {sheet.file for sheet in settings.records.sheets}
    unread = tuple(name for name in touched if name not in named)
    about = _about(settings, visits)
    if settings.records.kind == "tagged":
        rows, left_off = seedling_rows(visits)
        content = sheet_bytes(rows, about)
    else:
        rows, left_off = plot_rows(records), 0
        content = count_sheet_bytes(rows, about)
    waiting = int((records.accounts["fate"] == "excluded").sum())
    row = "seedling" if settings.records.kind == "tagged" else "row"
    return NextVisit(file, content, len(rows), row, left_off, waiting, _lines(settings, file), unread)


def seedling_rows(visits: pd.DataFrame) -> tuple[pd.DataFrame, int]:
    """Return the rows of a sheet of tagged seedlings, and how many are left off.

    Parameters
    ----------
    visits
        As `survivor.records.Records.visits`.

    Returns
    -------
    rows, left_off
        Columns of ``GIVEN``, ``Infill`` and ``Planted on``; infill stands below the first plants of its plot.
    """
    last, gone = last_states(visits.assign(**{word: visits[word].astype(str) for word in [*_KEYS, "state"]}))
    first = visits[visits["cohort"].astype(str) == FIRST_PLANTING].drop_duplicates(_KEYS)
    plants = first[[*_KEYS, "species"]].astype(str).assign(infill="", planted_on="")
    later = infill_of(visits)
    again = set(later[_KEYS].itertuples(index=False, name=None))  # the plant of that tag is another now
    first_still = [key not in again for key in plants[_KEYS].itertuples(index=False, name=None)]
    plants = pd.concat([plants[first_still], later], ignore_index=True)
    stay = [key not in gone for key in plants[_KEYS].itertuples(index=False, name=None)]
    rows = plants[stay].merge(last[[*_KEYS, "state", "seen"]].astype(str), how="left", on=_KEYS)
    rows["state"], rows["seen"] = rows["state"].fillna(PLANTED), rows["seen"].fillna("")
    rows = rows.iloc[_walked(rows, [*PLOT_KEY, "infill", "tag"])]
    rows = rows[[*_KEYS, "species", "state", "seen", "infill", "planted_on"]]
    return rows.set_axis([*GIVEN, *INFILL], axis="columns").reset_index(drop=True), len(plants) - sum(stay)


def plot_rows(records: Records) -> pd.DataFrame:
    """Return the rows of a sheet of counts: a plot, or a species in it, with its last count.

    Parameters
    ----------
    records
        Of plot counts.

    Returns
    -------
    DataFrame
        The first of the columns of a count sheet (`COUNTED`): site, block, plot, species, planted, the last
        count, its day.
    """
    visits = records.visits[records.visits["cohort"].astype(str) == FIRST_PLANTING]
    key = [*PLOT_KEY, "species"]
    texts = visits.assign(**{word: visits[word].astype(str) for word in key})
    plots = texts.groupby(key, sort=False)["planted"].max().reset_index()
    known = texts[texts["alive"].notna()].sort_values("date", kind="stable").groupby(key).tail(1)
    rows = plots.merge(known[[*key, "alive", "date"]], how="left", on=key)
    rows["date"] = rows["date"].dt.strftime("%Y-%m-%d").fillna("")
    for word in ("planted", "alive"):
        rows[word] = rows[word].map(lambda value: "" if pd.isna(value) else f"{value:g}")
    rows = rows.iloc[_walked(rows, key)][[*key, "planted", "alive", "date"]]
    return rows.set_axis(list(COUNTED), axis="columns").reset_index(drop=True)


def _walked(rows: pd.DataFrame, by: Sequence[str]) -> list[int]:
    """Order rows as plots are walked: labels by the numbers in them, 2 before 10."""

    def key(at: int) -> list[Any]:
        return [_parts(str(rows[word].iloc[at])) for word in by]

    return sorted(range(len(rows)), key=key)


def _parts(label: str) -> list[tuple[int, int, str]]:
    parts = _FIGURES.split(label.casefold())
    return [(0, int(part), "") if part.isdigit() else (1, 0, part) for part in parts if part]


def _about(settings: Settings, visits: pd.DataFrame) -> SheetPlan:
    last: pd.Timestamp = visits["date"].max()
    day = last.date() if pd.notna(last) else dt.date(1900, 1, 1)
    return SheetPlan(settings.study.name, "Next visit", f"after {date(day)}", day)


def _name(folder: Path, place: Place) -> tuple[str, tuple[str, ...]]:
    """Return the name of the sheet, that of one which nobody touched or a new one; and the touched ones."""
    touched: list[str] = []
    while True:
        name = f"next-visit{f'-{len(touched) + 1}' if touched else ''}.xlsx"
        if not is_there(folder / name) or place.is_ours(name):
            return name, tuple(touched)
        touched.append(name)


def _lines(settings: Settings, file: str) -> str:
    """Return what the study file has to say for the filled sheet to be read."""
    if any(sheet.file == file for sheet in settings.records.sheets):
        return ""
    return "\n".join(
        [
            "[[records.sheets]]",
            f"file = {quoted(file)}",
            f"sheet = {quoted(SHEET)}",
            "field_sheet = true   # written by survivor, and read by its own headings",
        ]
    )
