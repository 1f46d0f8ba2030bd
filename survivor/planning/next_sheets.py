"""Field sheets written again with what is known by now, as long as nobody has filled them."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from survivor.errors import PlanError, RecordsError
from survivor.planning.folder import CALENDAR, PLOTS, TAGS, sheet_plan, sheet_rows, visit_files
from survivor.planning.sheets import FILLED, SHEET, sheet_bytes
from survivor.records import Records
from survivor.records.reading import as_text, read_grid
from survivor.settings import find_study_file, read_settings
from survivor.study import load
from survivor.vocabulary import PLOT_KEY, State

_KEYS = [*PLOT_KEY, "tag"]
_GONE = (State.DEAD, State.MISSING)
_KNOWN = (State.ALIVE, State.DEAD, State.MISSING)


@dataclass(frozen=True)
class Renewed:
    """Field sheets written again, those left as they are since something is filled in, and rows left off.

    ``unread`` says why no last state is told, where nothing filled in can be used.
    """

    written: tuple[Path, ...]
    kept: tuple[Path, ...]
    left_off: int
    unread: str = ""


def renew_sheets(study: Path) -> Renewed:
    """Write the field sheets that nobody has filled again, with the last known states.

    A seedling dead or missing at its last two visits is left off.

    Parameters
    ----------
    study
        A folder that a layout was written to.

    Raises
    ------
    PlanError
        When the folder holds no layout, or a sheet cannot be written.
    """
    file = find_study_file(study)
    folder = file.parent
    tags, calendar = _read(folder, TAGS), _read(folder, CALENDAR)
    calendar["day"] = pd.to_numeric(calendar["day"].replace("", None))
    visits = visit_files(calendar)
    filled = [visit for visit in visits if _has_content(folder / visit.file)]
    records = load(file).records if filled else None
    last, gone = (None, set[tuple[str, ...]]()) if records is None else last_states(records.visits)
    unread = "" if last is None or len(last) or records is None else _unread(records)
    off = np.array([key in gone for key in tags[_KEYS].itertuples(index=False, name=None)], dtype=bool)
    planted = [dt.date.fromisoformat(day) for day in _read(folder, PLOTS)["Planted on"] if day]
    if not planted:
        raise PlanError("no planting day is given", where=PLOTS, mend="put a day into Planted on")
    name = read_settings(file).study.name
    written = []
    for visit in visits:
        if visit in filled:
            continue
        rows = sheet_rows(tags[~off], visit, last)
        about = sheet_plan(name, visit, min(planted))
        try:
            (folder / visit.file).write_bytes(sheet_bytes(rows, about))
        except OSError as error:
            raise PlanError(
                f"the sheet could not be written: {error.strerror or error}",
                where=visit.file,
                mend="close it where it is open, and try again",
            ) from error
        written.append(folder / visit.file)
    return Renewed(tuple(written), tuple(folder / visit.file for visit in filled), int(off.sum()), unread)


def _unread(records: Records) -> str:
    """Say that nothing filled in tells a state; ``records`` are those of the sheets."""
    aside = int((records.accounts["fate"] == "set aside").sum())
    number = f"{aside:,} record{' is' if aside == 1 else 's are'} set aside until mended"
    return f"no state filled in can be used ({number})" if aside else "no state is filled in"


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
    each = seen.groupby(_KEYS, sort=False)
    last = each.tail(1)[[*_KEYS, "state", "date"]].copy()
    last["seen"] = last["date"].dt.strftime("%Y-%m-%d")
    two = each.tail(2)
    twice = two["state"].isin(list(_GONE)).groupby([two[key] for key in _KEYS]).agg(["sum", "size"])
    gone = twice[(twice["sum"] == 2) & (twice["size"] == 2)]
    return last.drop(columns="date").reset_index(drop=True), {tuple(map(str, key)) for key in gone.index}


def _has_content(file: Path) -> bool:
    """Tell whether anything is filled in on a sheet; one that cannot be read is let alone."""
    if not file.is_file():
        return False
    try:
        grid = read_grid(file, sheet=SHEET)
    except RecordsError:
        return True
    places = [place for place, header in enumerate(grid.header) if header in FILLED]
    return any(as_text(cell) for place in places for cell in grid.cells[place])


def _read(folder: Path, name: str) -> pd.DataFrame:
    if not (folder / name).is_file():
        raise PlanError(
            f"there is no {name} here, so this is no folder that a layout was written to",
            where=str(folder),
            mend="write a layout first: survivor layout PLAN --out DIR",
        )
    return pd.read_csv(folder / name, dtype=str, keep_default_na=False)
