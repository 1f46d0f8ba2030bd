"""A study folder from a plan: study file, plots, tags, calendar, timetable and a field sheet a visit.

A blank study folder to start from: study file, headers, data dictionary, plan file.
"""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Final

import pandas as pd

from survivor.errors import PlanError
from survivor.files.writing import csv_text, is_there, writing
from survivor.planning.calendar import timetable, visit_calendar
from survivor.planning.layout import WHOLE_PLOT, Layout
from survivor.planning.planfile import Plan
from survivor.planning.sheets import GIVEN, PLANTED, SHEET, SheetPlan, sheet_bytes
from survivor.report.cautions import touched
from survivor.settings import STUDY_FILE
from survivor.settings.dictionary import key_table
from survivor.words import date

PLOTS, TAGS, CALENDAR, TIMETABLE, DICTIONARY = (
    "plots.csv", "tags.csv", "calendar.csv", "timetable.csv", "DATA-DICTIONARY.md",
)  # fmt: skip

PLOT_HEADER: Final = {
    "site": "Site",
    "block": "Block",
    "plot": "Plot",
    "method": "Preparation",
    "planted": "Planted on",
    "seedlings": "Seedlings",
}
WHOLE_HEADER: Final = "Whole plot"
DIARY: Final = "diary.csv"
_DIARY_COLUMNS: Final = {
    "site": "Site",
    "block": "Block",
    "plot": "Plot",
    "method": "Preparation",
    "work": "Work",
    "date": "Date",
    "pass": "Pass",
    "soil_state": "Soil",
    "depth_cm": "Depth (cm)",
    "width_cm": "Width (cm)",
    "notes": "Note",
}
RADIUS: Final = "Weed-free radius (m)"
LAYOUT: Final = "the layout"
_LATER_MILESTONE_DAYS: Final = 180  # a visit from then on is worth a milestone of its own


@dataclass(frozen=True)
class VisitFile:
    """A visit and its field sheet.

    Attributes
    ----------
    name, file
        Of the visit, and of its workbook.
    sites
        First and last planned day (ISO) of each site that has this visit.
    """

    name: str
    file: str
    sites: Mapping[str, tuple[str, str]]


def write_folder(plan: Plan, layout: Layout, folder: Path) -> tuple[Path, ...]:
    """Write the study folder.

    Returns
    -------
    tuple of Path
        The study file first.

    Raises
    ------
    PlanError
        When the folder holds a study already, or cannot be written to.
    """
    if is_there(folder / STUDY_FILE):
        raise PlanError(
            f"there is a {STUDY_FILE} here already, perhaps with records beside it",
            where=str(folder),
            mend="name a new folder; a layout is never written over another",
        )
    with writing(folder, LAYOUT, as_one=False) as place:
        return place.write(folder_files(plan, layout))


def folder_files(plan: Plan, layout: Layout) -> dict[str, bytes]:
    """Return every file of the study folder by name; the same plan gives the same bytes."""
    calendar = visit_calendar(plan)
    visits = visit_files(calendar)
    plots = layout.plots.rename(columns={**PLOT_HEADER, WHOLE_PLOT: WHOLE_HEADER})
    plots[RADIUS] = ""
    files = {
        STUDY_FILE: study_text(plan, visits).encode(),
        PLOTS: _csv(plots),
        TAGS: _csv(layout.tags),
        CALENDAR: _csv(calendar),
        TIMETABLE: _csv(timetable(plan)),
        DICTIONARY: _dictionary(plan, visits).encode(),
        DIARY: _csv(diary_rows(plan, layout)),
    }
    for visit in visits:
        rows = sheet_rows(layout.tags, visit)
        files[visit.file] = sheet_bytes(rows, sheet_plan(plan.plan.name, visit, first_planting(plan)))
    return files


def diary_rows(plan: Plan, layout: Layout) -> pd.DataFrame:
    """Return the works diary to be filled: a row a plot and work of its preparation, still without a day."""
    works = {method.name: method.works for method in plan.methods}
    rows = [
        (*place, work)
        for place in layout.plots[["site", "block", "plot", "method"]].itertuples(index=False, name=None)
        for work in works[str(place[-1])]
    ]
    given = list(_DIARY_COLUMNS.values())[:5]
    return pd.DataFrame(rows, columns=given).reindex(columns=list(_DIARY_COLUMNS.values()), fill_value="")


def first_planting(plan: Plan) -> dt.date:
    """Return the first planting day of the plan's sites."""
    return min(dt.date.fromisoformat(site.planted) for site in plan.sites)


def visit_files(calendar: pd.DataFrame) -> tuple[VisitFile, ...]:
    """Return the visits of a calendar in order of their days, each with its file.

    Parameters
    ----------
    calendar
        As of ``survivor.planning.calendar.visit_calendar``, or read back from its file.
    """
    dated = calendar[calendar["day"].notna()]
    order = dated.groupby("visit")["day"].median().sort_values(kind="stable").index
    files = []
    for number, name in enumerate(order, start=1):
        rows = dated[dated["visit"] == name]
        slug = re.sub(r"[^a-z0-9]+", "-", str(name).casefold()).strip("-") or "visit"
        sites = {
            str(row["site"]): (str(row["earliest"]), str(row["latest"])) for row in rows.to_dict("records")
        }
        files.append(VisitFile(str(name), f"visit-{number:02d}-{slug}.xlsx", sites))
    return tuple(files)


def sheet_rows(tags: pd.DataFrame, visit: VisitFile, last: pd.DataFrame | None = None) -> pd.DataFrame:
    """Return the rows of a visit's field sheet.

    Parameters
    ----------
    tags
        ``site, block, plot, tag, species``; one row a seedling.
    visit
        Sites without this visit have no rows.
    last
        ``site, block, plot, tag, state, seen`` of every seedling looked at before; those
        absent from it are newly planted. None: all of them are.
    """
    rows = tags[tags["site"].isin(list(visit.sites))].copy()
    keys = ["site", "block", "plot", "tag"]
    if last is None:
        rows["state"], rows["seen"] = PLANTED, ""
    else:
        rows = rows.merge(last[[*keys, "state", "seen"]], how="left", on=keys)
        rows["state"] = rows["state"].fillna(PLANTED)
        rows["seen"] = rows["seen"].fillna("")
    ordered = rows[[*keys, "species", "state", "seen"]]
    return ordered.set_axis(list(GIVEN), axis="columns").reset_index(drop=True)


def sheet_plan(study: str, visit: VisitFile, earliest: dt.date) -> SheetPlan:
    """Return what goes round the rows of a visit's field sheet."""
    first = min(day for day, _ in visit.sites.values())
    last = max(day for _, day in visit.sites.values())
    return SheetPlan(study, visit.name, f"{date(first)} to {date(last)}", earliest)


def study_text(plan: Plan, visits: tuple[VisitFile, ...]) -> str:
    """Return the study file of a plan, which reads the field sheets as they are filled."""
    asked = plan.question
    lines = [
        "# Study file written from a plan. The field sheets named below are read as they are filled:",
        "# a row without a state was not visited, and is never dead. Lines that start with # are remarks.",
        "",
        f"headline = {_text(asked.milestone)}",
        "",
        "[study]",
        f"name = {_text(plan.plan.name)}",
        'purpose = "compare preparations"',
        f"seed = {plan.plan.seed}",
        "",
        "[records]",
        'kind = "tagged"',
        'shape = "long"',
        "",
        "[records.plots]  # put the real planting day there, and the weed-free radius as measured",
        f"file = {_text(PLOTS)}",
        "",
        "[records.plots.columns]",
        'site = "Site"',
        'block = "Block"',
        'plot = "Plot"',
        'method = "Preparation"',
        'planted_date = "Planted on"',
        'planted = "Seedlings"',
        f"weed_free_radius_m = {_text(RADIUS)}",
    ]
    for visit in visits:
        lines += ["", "[[records.sheets]]", f"file = {_text(visit.file)}", f"sheet = {_text(SHEET)}", ""]
        lines += [
            "[records.sheets.every_row]",
            f"visit = {_text(visit.name)}",
            "",
            "[records.sheets.columns]",
        ]
        lines += [f"{word} = {_text(header)}" for word, header in _VISIT_COLUMNS.items()]
    lines += [
        "",
        "[rules]",
        'missing = "dead"                    # a plant gone from its position; or "unknown"',
        'blank = "not visited"',
        'tagged = "at planting"',
        "",
        "[design]",
        'allocation = "random within blocks" # allocated at random with the seed above',
        'plots_placed = "not recorded"       # write "random" or "by choice" once the plots are set out',
        'strata = ["site", "block"]',
        f"usual_practice = {_text(asked.usual_practice)}",
        f"smallest_difference = {float(asked.smallest_difference)}",
    ]
    if plan.dry_season is not None:
        lines += ["", "[dry_season]"]
        lines += [f"start = {_text(plan.dry_season.start)}", f"end = {_text(plan.dry_season.end)}"]
    lines += _works_lines(plan)
    for name, day, window in _milestones(plan):
        lines += ["", "[[milestones]]", f"name = {_text(name)}", f"day = {day}", f"window_days = {window}"]
    for method in plan.methods:
        works = ", ".join(_text(work) for work in method.works)
        lines += ["", "[[methods]]", f"name = {_text(method.name)}", f"works = [{works}]"]
    return "\n".join(lines) + "\n"


def _works_lines(plan: Plan) -> list[str]:
    """Ask what each work adds, in a factorial season; and how the diary is read once it is filled."""
    lines: list[str] = []
    if plan.factorial is not None:
        pairs = ", ".join(_text(pair) for pair in plan.factorial.interactions)
        lines += ["", "[works]  # which part of the preparations paid", f"interactions = [{pairs}]"]
        if plan.factorial.whole_plots:
            lines.append(f"whole_plots = {_text(WHOLE_PLOT)}  # limits go by these")
    return [
        *lines,
        "",
        "# The works diary. Write the day of every work into it, take out the rows of works that were not",
        "# done, and add those of works that nobody planned. A row without a day counts as done. Then take",
        "# these signs away:",
        "# [works.diary]",
        f"# file = {_text(DIARY)}",
        "# [works.diary.columns]",
        *(f"# {word} = {_text(header)}" for word, header in _DIARY_COLUMNS.items()),
    ]


_VISIT_COLUMNS: Final = {
    "site": "Site",
    "block": "Block",
    "plot": "Plot",
    "tag": "Tag",
    "species": "Species",
    "date": "Date",
    "state": "State",
    "height_cm": "Height (cm)",
    "weed_cover": "Weed cover (%)",
    "cause": "Likely cause",
    "observer": "Observer",
    "notes": "Notes",
}


def _milestones(plan: Plan) -> list[tuple[str, int, int]]:
    """Return the question's milestone, and one a later visit with a day of its own."""
    asked = plan.question
    milestones = [(asked.milestone, asked.day, asked.window_days)]
    for visit in plan.visits:
        late = visit.day is not None and visit.day >= _LATER_MILESTONE_DAYS and visit.day != asked.day
        if late and visit.name != asked.milestone and visit.day is not None:
            milestones.append((visit.name, visit.day, max(visit.window_days, 30)))
    return milestones


def _text(value: str) -> str:
    """Write a TOML string: a JSON string is one."""
    return json.dumps(value, ensure_ascii=False)


def _csv(table: pd.DataFrame) -> bytes:
    return csv_text(table).encode()


def _cautions(plan: Plan) -> str:
    names = tuple(name for method in plan.methods for name in (method.name, *method.works))
    return "\n".join(f"- {caution.subject}: {caution.short}." for caution in touched(names))


def _dictionary(plan: Plan, visits: tuple[VisitFile, ...]) -> str:
    sheets = "\n".join(f"- `{visit.file}`: {visit.name}" for visit in visits)
    return f"""# Data dictionary: {plan.plan.name}

Written from a plan before the season. Preparations were allocated at random within blocks
(seed {plan.plan.seed}).

## {PLOTS}: one row a plot

| column | unit | meaning |
|---|---|---|
| Site, Block, Plot | | labels repeat, so a plot is site, block and plot together |
| Preparation | | allocated at random within the block |
| Planted on | year-month-day | the planned day: put the real one in its place |
| Seedlings | plants | seedlings to be planted and tagged |
| {RADIUS} | metres | radius (not diameter) of the weed-free patch, measured at planting |

## Field sheets: one workbook a visit, one row a seedling

{sheets}

| column | unit | meaning |
|---|---|---|
| Tag | | text; zeros in front belong to it |
| Last state, Last seen | | what the records said when the sheet was written; not read back |
| Date | year-month-day | day on which the plot was looked at |
| State | | alive, dead, missing (position found, plant gone), not found, not visited; blank: nobody looked |
| Height (cm) | centimetres | of living plants, to the highest live tip |
| Weed cover (%) | per cent | of the weed-free patch |
| Likely cause | | one, for plants first seen dead or missing |
| Observer, Notes | | free text |
| Look again | | what does not fit in a row; not read back |

The preparation is not on the field sheets: who looks should not know what to expect.

## {DIARY}: the works diary, one row a work

A row for every work that was planned, to be filled as it is done. Take out what was not done, and add what
was not planned.

| column | unit | meaning |
|---|---|---|
| Site, Block, Plot, Preparation | | where; a row may also be of all plots of a preparation, block or site |
| Work | | what was done; survivor knows the common names, your own are carried along |
| Date | year-month-day | day of the work |
| Pass | | number of the pass, where weeds were controlled more than once |
| Soil | | dry, moist or wet, when it was done |
| Depth (cm), Width (cm) | centimetres | of ripping, mounds, scalps |
| Note | | free text; no product and no rate is asked for |

## Other files

`{TAGS}`: every tag. `{CALENDAR}`: visits of each site with their days. `{TIMETABLE}`: works before
planting, their latest days, and what was late when this was written.

## Cautions

Nothing here is an instruction for field work. Labels, permits, local codes and licensed practice come first.

{_cautions(plan)}
"""


PLAN: Final = "plan.toml"
VISITS: Final = "visits.csv"
_VISIT_HEADER: Final = (
    "Site", "Block", "Plot", "Tag", "Species", "Visit", "Date", "State", "Height (cm)", "Likely cause",
    "Weed cover (%)", "Observer", "Notes",
)  # fmt: skip


def blank_files() -> dict[str, bytes]:
    """Return every file of a blank study folder by name."""
    dictionary = _blank_text("new-dictionary.md").replace("{{ keys }}", key_table().strip())
    return {
        STUDY_FILE: _blank_text("new-study.toml").encode(),
        PLOTS: (",".join([*PLOT_HEADER.values(), RADIUS]) + "\n").encode(),
        VISITS: (",".join(_VISIT_HEADER) + "\n").encode(),
        DICTIONARY: dictionary.encode(),
        PLAN: _blank_text("new-plan.toml").encode(),
    }


def write_blank(folder: Path) -> tuple[Path, ...]:
    """Write a blank study folder.

    Raises
    ------
    PlanError
        When a file of that name is there already (nothing is written then), or the
        folder cannot be written to.
    """
    files = blank_files()
    there = [name for name in files if is_there(folder / name)]
    if there:
        raise PlanError(
            f"{there[0]} is there already",
            where=str(folder),
            mend="name a new folder; nothing is written over",
        )
    with writing(folder, "the blank study", as_one=False) as place:
        return place.write(files)


def _blank_text(name: str) -> str:
    file = resources.files("survivor.planning").joinpath("text", name)
    return file.read_text(encoding="utf-8").replace("\r\n", "\n")
