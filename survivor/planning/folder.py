"""A study folder from a plan: study file, plots, tags, calendar, timetable and a field sheet a visit.

A blank study folder to start from: study file, headers, data dictionary, plan file.
"""

from __future__ import annotations

import datetime as dt
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
from survivor.planning.carried import Carried
from survivor.planning.forms import PLANTING_FORM, WORKS_FORM, planting_form, works_form
from survivor.planning.layout import WHOLE_PLOT, Layout
from survivor.planning.planfile import Plan
from survivor.planning.sheets import GIVEN, INFILL, PLANTED, SHEET, SheetPlan, sheet_bytes
from survivor.report.cautions import touched
from survivor.settings import STUDY_FILE
from survivor.settings.dictionary import key_table
from survivor.settings.questions import quoted
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
OWN_FILES: Final = frozenset(
    (STUDY_FILE, PLOTS, TAGS, CALENDAR, TIMETABLE, DICTIONARY, DIARY, PLANTING_FORM, WORKS_FORM)
)
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


def write_folder(
    plan: Plan, layout: Layout, folder: Path, carried: Carried | None = None
) -> tuple[Path, ...]:
    """Write the study folder; ``carried`` is what it takes over from a past season.

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
        return place.write(folder_files(plan, layout, carried))


def folder_files(plan: Plan, layout: Layout, carried: Carried | None = None) -> dict[str, bytes]:
    """Return every file of the study folder by name; the same plan gives the same bytes."""
    carried = carried or Carried()
    calendar = visit_calendar(plan)
    visits = visit_files(calendar)
    plots = layout.plots.rename(columns={**PLOT_HEADER, WHOLE_PLOT: WHOLE_HEADER})
    plots[RADIUS] = ""
    files = {
        STUDY_FILE: study_text(plan, visits, carried).encode(),
        PLOTS: _csv(plots),
        TAGS: _csv(layout.tags),
        CALENDAR: _csv(calendar),
        TIMETABLE: _csv(timetable(plan)),
        DICTIONARY: _dictionary(plan, visits).encode(),
        DIARY: _csv(diary_rows(plan, layout)),
        PLANTING_FORM: planting_form(plan, layout),
        WORKS_FORM: works_form(plan, layout),
        **carried.files,
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
        ``site, block, plot, tag, species``; one row a seedling. ``infill`` and ``planted_on`` too where
        some were put in later.
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
    own = ["infill", "planted_on"] if "infill" in rows.columns else []
    ordered = rows[[*keys, "species", "state", "seen", *own]]
    names = [*GIVEN, *INFILL] if own else list(GIVEN)
    return ordered.set_axis(names, axis="columns").reset_index(drop=True)


def sheet_plan(study: str, visit: VisitFile, earliest: dt.date) -> SheetPlan:
    """Return what goes round the rows of a visit's field sheet."""
    first = min(day for day, _ in visit.sites.values())
    last = max(day for _, day in visit.sites.values())
    return SheetPlan(study, visit.name, f"{date(first)} to {date(last)}", earliest)


def study_text(plan: Plan, visits: tuple[VisitFile, ...], carried: Carried) -> str:
    """Return the study file of a plan, which reads the field sheets as they are filled."""
    asked = plan.question
    sheets = []
    for visit in visits:
        sheets += ["", "[[records.sheets]]", f"file = {quoted(visit.file)}", f"sheet = {quoted(SHEET)}"]
        sheets += ['fill_down = ["date"]  # written once for each plot', "", "[records.sheets.every_row]"]
        sheets += [f"visit = {quoted(visit.name)}", "", "[records.sheets.columns]"]
        sheets += [f"{word} = {quoted(header)}" for word, header in _VISIT_COLUMNS.items()]
    rest: list[str] = []
    if plan.dry_season is not None:
        rest += ["", "[dry_season]"]
        rest += [f"start = {quoted(plan.dry_season.start)}", f"end = {quoted(plan.dry_season.end)}"]
    rest += [*carried.lines, *_works_lines(plan)]
    for name, day, window in _milestones(plan):
        rest += ["", "[[milestones]]", f"name = {quoted(name)}", f"day = {day}", f"window_days = {window}"]
    for method in plan.methods:
        works = ", ".join(quoted(work) for work in method.works)
        rest += ["", "[[methods]]", f"name = {quoted(method.name)}", f"works = [{works}]"]
        rest += carried.of_method.get(method.name, ())
    places = {
        "milestone": quoted(asked.milestone),
        "name": quoted(plan.plan.name),
        "seed": str(plan.plan.seed),
        "plots": quoted(PLOTS),
        "radius": quoted(RADIUS),
        "sheets": "\n".join([*sheets, ""]),
        "usual practice": quoted(asked.usual_practice),
        "smallest difference": str(float(asked.smallest_difference)),
        "rest": "\n".join(rest),
    }
    return _filled("layout-study.toml", places)


def _works_lines(plan: Plan) -> list[str]:
    """Ask what each work adds, in a factorial season; and how the diary is read once it is filled."""
    lines: list[str] = []
    if plan.factorial is not None:
        pairs = ", ".join(quoted(pair) for pair in plan.factorial.interactions)
        lines += ["", "[works]  # which part of the preparations paid", f"interactions = [{pairs}]"]
        if plan.factorial.whole_plots:
            lines.append(f"whole_plots = {quoted(WHOLE_PLOT)}  # limits go by these")
    return [
        *lines,
        "",
        "# The works diary. Write the day of every work into it, take out the rows of works that were not",
        "# done, and add those of works that nobody planned. A row without a day counts as done. Then take",
        "# these signs away:",
        "# [works.diary]",
        f"# file = {quoted(DIARY)}",
        "# [works.diary.columns]",
        *(f"# {word} = {quoted(header)}" for word, header in _DIARY_COLUMNS.items()),
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
    "cohort": INFILL[0],
    "planted_date": INFILL[1],
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


def _csv(table: pd.DataFrame) -> bytes:
    return csv_text(table).encode()


def _cautions(plan: Plan) -> str:
    names = tuple(name for method in plan.methods for name in (method.name, *method.works))
    return "\n".join(f"- {caution.subject}: {caution.short}." for caution in touched(names))


def _dictionary(plan: Plan, visits: tuple[VisitFile, ...]) -> str:
    sheets = "\n".join(f"- `{visit.file}`: {visit.name}" for visit in visits)
    places = {
        "name": plan.plan.name, "seed": str(plan.plan.seed), "sheets": sheets, "cautions": _cautions(plan),
        "plots": PLOTS, "radius": RADIUS, "diary": DIARY, "planting form": PLANTING_FORM,
        "works form": WORKS_FORM, "tags": TAGS, "calendar": CALENDAR, "timetable": TIMETABLE,
    }  # fmt: skip
    return _filled("layout-dictionary.md", places)


PLAN: Final = "plan.toml"
VISITS: Final = "visits.csv"
_VISIT_HEADER: Final = (
    "Site", "Block", "Plot", "Tag", "Species", "Visit", "Date", "State", "Height (cm)", "Likely cause",
    "Weed cover (%)", "Observer", "Notes",
)  # fmt: skip


def blank_files() -> dict[str, bytes]:
    """Return every file of a blank study folder by name."""
    dictionary = _filled("new-dictionary.md", {"keys": key_table().strip()})
    return {
        STUDY_FILE: _filled("new-study.toml").encode(),
        PLOTS: (",".join([*PLOT_HEADER.values(), RADIUS]) + "\n").encode(),
        VISITS: (",".join(_VISIT_HEADER) + "\n").encode(),
        DICTIONARY: dictionary.encode(),
        PLAN: _filled("new-plan.toml").encode(),
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


def _filled(name: str, places: Mapping[str, str] | None = None) -> str:
    """Read a text that comes with the package, and fill in its places."""
    file = resources.files("survivor.planning").joinpath("text", name)
    text = file.read_text(encoding="utf-8").replace("\r\n", "\n")
    return re.sub(r"\{\{ ([a-z ]+) \}\}", lambda place: (places or {})[place[1]], text)
