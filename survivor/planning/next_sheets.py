"""Field sheets written again with what is known by now, as long as nobody has touched them.

A sheet is touched once it differs from what survivor last wrote by a byte: people write where nobody
expects it, in a column, a sheet or a comment of their own, or tell the dead by a colour.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.errors import PlanError
from survivor.files.cells import dates
from survivor.files.delimited import read_delimited
from survivor.files.sheets import as_text
from survivor.files.writing import Place, is_there, writing
from survivor.planning.folder import (
    CALENDAR,
    LAYOUT,
    PLOT_HEADER,
    PLOTS,
    TAGS,
    sheet_plan,
    sheet_rows,
    visit_files,
)
from survivor.planning.sheets import sheet_bytes
from survivor.records import Records
from survivor.settings import find_study_file, read_settings
from survivor.study import load
from survivor.vocabulary import INFILL, PLOT_KEY, State

_KEYS = [*PLOT_KEY, "tag"]
GIVEN_TAGS: Final = (*PLOT_KEY, "tag", "species")
_OF_CALENDAR: Final = ("site", "visit", "day", "date", "earliest", "latest")
_GONE = (State.DEAD, State.MISSING)
_KNOWN = (State.ALIVE, State.DEAD, State.MISSING)


@dataclass(frozen=True)
class Renewed:
    """Field sheets written again, those left as they are since somebody saved them, and rows left off.

    ``unread`` says why no last state is told, where nothing filled in can be used.
    """

    written: tuple[Path, ...]
    kept: tuple[Path, ...]
    left_off: int
    unread: str = ""


def is_laid_out(study: Path) -> bool:
    """Tell whether a layout was written to the folder of a study."""
    folder = find_study_file(study).parent
    return all(is_there(folder / name) for name in (TAGS, CALENDAR))


def renew_sheets(study: Path) -> Renewed:
    """Write the field sheets again that are as they were last written, with the last known states.

    A seedling dead or missing at its last two visits is left off.

    Parameters
    ----------
    study
        A folder that a layout was written to.

    Raises
    ------
    PlanError
        When the folder holds no layout.
    WritingError
        When a sheet cannot be written, or another process writes to the folder; every sheet is whole then.
    """
    file = find_study_file(study)
    with writing(file.parent, LAYOUT, as_one=False) as place:
        return _renewed(file, place)


def _renewed(file: Path, place: Place) -> Renewed:
    folder = file.parent
    tags = _read(folder, TAGS, GIVEN_TAGS)
    calendar = _read(folder, CALENDAR, _OF_CALENDAR)
    plots = _read(folder, PLOTS, (PLOT_HEADER["planted"],))
    calendar["day"] = _numbers(calendar["day"], CALENDAR)
    for word in ("earliest", "latest"):
        days = calendar[word].where(calendar["day"].notna(), "")
        calendar[word] = [day and _day(day, CALENDAR).isoformat() for day in days]
    planted = [_day(day, PLOTS) for day in plots[PLOT_HEADER["planted"]] if day]
    visits = visit_files(calendar)
    filled = [v for v in visits if is_there(folder / v.file) and not place.is_ours(v.file)]
    records = load(file).records if filled else None
    last, gone = (None, set[tuple[str, ...]]()) if records is None else last_states(records.visits)
    unread = "" if last is None or len(last) or records is None else _unread(records)
    off = np.array([key in gone for key in tags[_KEYS].itertuples(index=False, name=None)], dtype=bool)
    if not planted:
        raise PlanError("no planting day is given", where=PLOTS, mend="put a day into Planted on")
    name = read_settings(file).study.name
    rows = tags[~off]
    if records is not None and len(later := infill_of(records.visits)):
        again = [key not in gone for key in later[_KEYS].itertuples(index=False, name=None)]
        rows = _by_place(pd.concat([rows.assign(infill="", planted_on=""), later[again]]))
    new = {
        visit.file: sheet_bytes(sheet_rows(rows, visit, last), sheet_plan(name, visit, min(planted)))
        for visit in visits
        if visit not in filled
    }
    written = place.write(new)
    return Renewed(written, tuple(folder / visit.file for visit in filled), int(off.sum()), unread)


def _unread(records: Records) -> str:
    """Say that nothing filled in tells a state; ``records`` are those of the sheets."""
    aside = int((records.accounts["fate"] == "excluded").sum())
    number = f"{aside:,} record{' is' if aside == 1 else 's are'} excluded until corrected"
    return f"no state filled in can be used ({number})" if aside else "no state is filled in"


def infill_of(visits: pd.DataFrame) -> pd.DataFrame:
    """Return the plants put in later: site, block, plot, tag, species, infill, planted_on (ISO)."""
    later = visits[visits["cohort"] == INFILL].drop_duplicates(_KEYS)
    planted = (later["date"] - pd.to_timedelta(later["day"], unit="D")).dt.strftime("%Y-%m-%d").fillna("")
    return later[list(GIVEN_TAGS)].astype(str).assign(infill="yes", planted_on=planted).reset_index(drop=True)


def _by_place(rows: pd.DataFrame) -> pd.DataFrame:
    """Put infill below the first plants of its plot."""
    place = rows.groupby(list(PLOT_KEY), sort=False).ngroup()
    first = rows["infill"].eq("").to_numpy()
    order = np.lexsort((np.arange(len(rows)), ~first, place))
    return rows.iloc[order].reset_index(drop=True)


def last_states(visits: pd.DataFrame) -> tuple[pd.DataFrame, set[tuple[str, ...]]]:
    """Return the last known state of every seedling, and those gone at their last two visits.

    Parameters
    ----------
    visits
        Tidy visits of tagged seedlings: ``site, block, plot, tag, date, state``.

    Returns
    -------
    frame, set
        ``site, block, plot, tag, state, seen`` (ISO); keys of the seedlings gone twice.
    """
    seen = visits[visits["state"].isin(list(_KNOWN))].sort_values("date", kind="stable")
    plants = seen.groupby(_KEYS, sort=False)
    last = plants.tail(1)[[*_KEYS, "state", "date"]].copy()
    last["seen"] = last["date"].dt.strftime("%Y-%m-%d")
    two = plants.tail(2)
    twice = two["state"].isin(list(_GONE)).groupby([two[key] for key in _KEYS]).agg(["sum", "size"])
    gone = twice[(twice["sum"] == 2) & (twice["size"] == 2)]
    return last.drop(columns="date").reset_index(drop=True), {tuple(map(str, key)) for key in gone.index}


def _numbers(column: pd.Series[Any], name: str) -> pd.Series[float]:
    numbers = pd.to_numeric(column.replace("", None), errors="coerce")
    wrong = column[numbers.isna() & (column != "")]
    if len(wrong):
        raise PlanError(
            f"{column.name} is no number: {wrong.iloc[0]!r}",
            where=f"{name}, row {wrong.index[0] + 2}",
            mend="write the number of days there, or write a layout again: survivor layout PLAN --out DIR",
        )
    return numbers


def _day(text: str, name: str) -> dt.date:
    """Read a day, as a layout writes it or as people do."""
    days, _ = dates(pd.Series([text], dtype=object), "day-first")
    if days.isna().iloc[0]:
        raise PlanError(
            f"this is no day: {text!r}", where=name, mend="write it as year-month-day: 2022-06-07"
        )
    day: dt.date = days.iloc[0].date()
    return day


def _read(folder: Path, name: str, needed: Sequence[str]) -> pd.DataFrame:
    """Read a table of the layout, every cell as text; refuse one without the columns that it had."""
    if not (folder / name).is_file():
        raise PlanError(
            f"there is no {name} here, so this is no folder that a layout was written to",
            where=str(folder),
            mend="write a layout first: survivor layout PLAN --out DIR",
        )
    rows, _ = read_delimited(folder / name, name)
    header = [as_text(cell) for cell in rows.iloc[0]] if len(rows) else []
    absent = [word for word in needed if word not in header]
    if absent:
        raise PlanError(
            f"a column that the layout wrote is not there: {', '.join(absent)}",
            where=name,
            mend="give it back its name, or write a layout again: survivor layout PLAN --out DIR",
        )
    return rows.iloc[1:].fillna("").set_axis(header, axis="columns").reset_index(drop=True)
