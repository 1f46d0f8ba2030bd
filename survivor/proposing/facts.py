"""What the sheets tell of a season, as far as its proposed study file reads them: for the questions."""

from __future__ import annotations

import datetime as dt
import re
import tomllib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pandas as pd

from survivor.errors import SurvivorError
from survivor.files import cells
from survivor.files.headers import find_header
from survivor.proposing.works import WorksTold, works_told
from survivor.records import Records, read_records
from survivor.records.sheets import grid_of
from survivor.records.words import is_total
from survivor.settings import Settings
from survivor.vocabulary import FIRST_PLANTING, PLOT_KEY, State

_DAY: Final = re.compile(r"\b(?:19|20)\d\d-\d\d-\d\d\b")
_MONTH: Final = re.compile(
    r"(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]* (?:20)?\d\d", re.IGNORECASE
)
_LONG_AGO: Final = "2000-01-01"  # a planting day in place of one that is asked for


@dataclass(frozen=True)
class Facts:
    """Facts of a season.

    Attributes
    ----------
    methods, species, states
        Name or word -> plots, records, and cells; ``states`` are the words that are not known.
    sites
        Their names.
    blocks, radius, missing
        Whether plots lie in blocks, a weed-free radius was measured, plants are missing.
    undated, undated_sites
        Whether a planting day is told for some plots only, or for none; and the sites of the others.
    radius_in_metres
        Cells of a radius in centimetres that seem to be in metres.
    blank
        What blank cells may mean, as no cell says it: alive or dead; "" where that is not in doubt.
    rounds
        Median age at each visit, days since planting; none where no planting day is told.
    works
        What the diary tells; None without one.
    """

    methods: dict[str, int]
    species: dict[str, int]
    states: dict[str, int]
    sites: tuple[str, ...]
    blocks: bool
    radius: bool
    missing: bool
    undated: bool
    radius_in_metres: int
    blank: str
    rounds: tuple[int, ...]
    works: WorksTold | None = None
    undated_sites: tuple[str, ...] = ()


def facts_of(file: Path, text: str) -> Facts:
    """Read the records as a proposed study file says, days that it asks for made up for the while.

    Parameters
    ----------
    file
        Where the study file stands, or will; the sheets are named relative to it.
    text
        The study file.
    """
    raw = tomllib.loads(text)
    made_up = _with_days(raw)
    records = _read(file, raw)
    waiting = _at(records.findings, "no-planting-date") if records is not None else set()
    undated = bool(waiting)
    if undated:
        raw.setdefault("rules", {})["planted_date"] = min(_DAY.findall(text), default=_LONG_AGO)
        records = _read(file, raw) or records
    if records is None:
        return Facts({}, {}, {}, (), False, False, False, False, 0, "", ())
    visits = records.visits
    plots = visits.drop_duplicates([*PLOT_KEY, "method"])
    unknown = records.findings.loc[records.findings["code"] == "unknown-state", "value"]
    if unknown.str.isdigit().any():  # 1 may be the lowest of such scores, and is asked for with them
        numbers = records.findings.loc[records.findings["code"] == "state-number", "value"]
        unknown = pd.concat([unknown, numbers])
    small = records.findings[records.findings["code"] == "radius-in-metres"]
    first = visits[visits["cohort"] == FIRST_PLANTING]
    untold = records.findings.loc[records.findings["code"] == "blank-untold", "what"]
    blank = "" if untold.empty else "alive" if "says alive" in untold.iloc[0] else "dead"
    rounds = () if undated or made_up else _rounds(first)
    return Facts(
        methods=dict.fromkeys(_spellings(file.parent, records.settings), 0) | _often(plots["method"]),
        species=_often(visits["species"]),
        states=_often(unknown),
        sites=tuple(sorted(map(str, visits["site"].unique()))),
        blocks=bool((visits["block"] != "").any()),
        radius=bool(records.plots["weed_free_radius_m"].notna().any()),
        missing="state" in visits.columns and bool((visits["state"] == State.MISSING).any()),
        undated=undated,
        undated_sites=tuple(sorted({site for site, *at in _places(visits) if tuple(at) in waiting})),
        radius_in_metres=len(small[["file", "sheet", "row"]].drop_duplicates()),
        blank=blank,
        rounds=rounds,
        works=None if undated else works_told(records),
    )


def _at(findings: pd.DataFrame, code: str) -> set[tuple[str, ...]]:
    """File, sheet and row of the findings of one code."""
    own = findings.loc[findings["code"] == code, ["file", "sheet", "row"]]
    return set(own.astype(str).itertuples(index=False, name=None))


def _places(visits: pd.DataFrame) -> Iterator[tuple[str, ...]]:
    """Site, file, sheet and row of every record."""
    yield from visits[["site", "file", "sheet", "row"]].astype(str).itertuples(index=False, name=None)


def _spellings(folder: Path, settings: Settings) -> list[str]:
    """Every spelling of a preparation that stands in a sheet, those with most cells first."""
    named = settings.records
    often: Counter[str] = Counter()
    for sheet in (*named.sheets, *([named.plots] if named.plots is not None else [])):
        header = sheet.columns.get("method")
        if isinstance(header, str):
            grid = grid_of(folder, sheet)
            column = grid.cells[find_header(grid, header, "records.sheets")]
            often.update(Counter(map(str, cells.texts(column))))
    return [word for word, _ in often.most_common() if word and not is_total(word)]


def _often(column: pd.Series[Any]) -> dict[str, int]:
    counts = column[column != ""].value_counts()
    return {str(word): int(times) for word, times in counts.items()}


def _rounds(first: pd.DataFrame) -> tuple[int, ...]:
    told = first.assign(plots=first["site"] + first["block"] + first["plot"])
    days = told.drop_duplicates(["plots", "date"]).sort_values("day")
    number = days.groupby("plots").cumcount()
    return tuple(int(day) for day in days.groupby(number)["day"].median())


def _read(file: Path, raw: dict[str, Any]) -> Records | None:
    try:
        return read_records(file, Settings.model_validate(_frozen(raw)))
    except (SurvivorError, ValueError):
        return None


def _frozen(raw: Any) -> Any:
    """Write lists as the tuples that the models ask for."""
    if isinstance(raw, dict):
        return {key: _frozen(value) for key, value in raw.items()}
    return tuple(map(_frozen, raw)) if isinstance(raw, list) else raw


def _with_days(raw: dict[str, Any]) -> bool:
    """Make up the days that are asked for: the middle of a month told, else one a month up to today."""
    asked = [
        visit
        for visit in _visits(raw["records"])
        if not {"date", "date_header", "date_by_site"} & visit.keys()
    ]
    for back, visit in enumerate(reversed(asked)):
        told = cells.one_date(f"15 {month[0]}") if (month := _MONTH.search(visit["name"])) else None
        visit["date"] = told or (dt.date.today() - dt.timedelta(days=30 * back)).isoformat()
    return bool(asked)


def _visits(records: dict[str, Any]) -> Iterator[dict[str, Any]]:
    yield from records.get("visits", [])
    for sheet in records.get("sheets", []):
        yield from sheet.get("visits", [])
