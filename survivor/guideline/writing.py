"""A guideline to files: the page, the two-page PDF, tables, what to try next, and the version's record.

The start of a plan file for the comparison that is most worth another season.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

import numpy as np

from survivor.document.page import page_of
from survivor.effects.standardise import survival
from survivor.errors import SurvivorError
from survivor.files.writing import Place, csv_text, write_whole, writing
from survivor.guideline.content import content_of
from survivor.guideline.document import guideline_pdf
from survivor.guideline.making import Guideline
from survivor.guideline.record import record_path, record_text
from survivor.guideline.wording import next_sentence, usual_of
from survivor.models.fit import fit
from survivor.seasons import Season
from survivor.sentences import plain_text
from survivor.settings.questions import quoted
from survivor.words import number

_PLANNED: Final = (5.0, 90.0)  # per 100 alive: nearer to none or all, a plan leaves no room for a difference
_UNKNOWN: Final = 70.0  # to be written over


def plan_text(guideline: Guideline, folder: Path) -> str:
    """Return the text of a plan file; empty where nothing can be planned from.

    Parameters
    ----------
    guideline
        Made.
    folder
        Where the plan will stand: the past study is named relative to it.
    """
    if guideline.next.empty:
        return ""
    best = guideline.next.iloc[0]
    about, season = guideline.file.guideline, guideline.seasons[-1]
    alive, from_what = _alive(season, usual_of(guideline), guideline.at_day)
    sites = max(2, round(float(best["sites_a_season"])))
    works = {method.name: method.works for method in season.settings.methods}
    names = [usual_of(guideline), str(best["preparation"])]
    milestone = next(m for m in season.settings.milestones if m.name == about.milestone)
    study = os.path.relpath(season.study.path.resolve().parent, folder.resolve()).replace(os.sep, "/")
    called = f"{names[1]} on {best['ground']}"
    lines = [
        "# The start of a plan for the comparison on which another season would be most informative.",
        # A name may hold a line break, and what comes after it would be no remark.
        f"# {' '.join(plain_text(next_sentence(guideline)).split())}",
        "# Look through it, name the sites, then: survivor plan plan.toml",
        "",
        "[plan]",
        f"name = {quoted(called)}",
        f"seed = {about.seed}",
        "",
        "[question]",
        f"usual_practice = {quoted(names[0])}",
        f"survival_per_100 = {number(alive, 1)}  # {from_what}",
        f"smallest_difference = {about.smallest_difference:.1f}",
        f"milestone = {quoted(about.milestone)}",
        f"day = {milestone.day}",
        "",
        "[variation]",
        f"from_study = {quoted(study)}",
        "",
        "[sizes]",
        f"sites = {sites}  # as many as a season has had on this ground",
    ]
    if season.settings.dry_season is not None:
        dry = season.settings.dry_season
        lines += ["", "[dry_season]", f"start = {quoted(dry.start)}", f"end = {quoted(dry.end)}"]
    for name in names:
        listed = ", ".join(quoted(work) for work in works.get(name, ()))
        lines += ["", "[[methods]]", f"name = {quoted(name)}", f"works = [{listed}]"]
    return "\n".join(lines) + "\n"


def _alive(season: Season, usual: str, at: float) -> tuple[float, str]:
    """Survival under the usual practice in a season, per 100, within what a plan can take; and where from."""
    try:
        table = survival(fit(season.intervals, "method", strata=season.strata()), "method", at).table
        alive = float(table.loc[table["method"].astype(str) == usual, "estimate"].iloc[0])
    except SurvivorError:
        return _UNKNOWN, "not known from the season last added: write what you expect"
    kept = float(np.clip(alive, *_PLANNED))
    where = "under the usual practice, in the season last added"
    return kept, where if kept == alive else f"{where} {number(alive, 1)}, brought to what a plan can take"


PAGE: Final = "guideline.html"
DOCUMENT: Final = "guideline.pdf"
GUIDELINE: Final = "the guideline"
NAMES: Final = (PAGE, DOCUMENT, "advice.csv", "seasons.csv", "try-next.csv", "plan.toml")


def write_guideline(guideline: Guideline, folder: Path | Place, *, issue: bool = True) -> tuple[Path, ...]:
    """Write everything.

    Parameters
    ----------
    guideline
        Made.
    folder
        Made where it does not exist; or one that is held.
    issue
        Keep the record of this version beside the guideline file: what it said is then
        held to, and later versions are compared with it.

    Returns
    -------
    tuple of Path
        The page first, then the PDF, tables, ``plan.toml`` and the record.

    Raises
    ------
    WritingError
        When a folder cannot be written to, or holds what survivor did not write under one of these names.
    """
    content = content_of(guideline)
    files: dict[str, str | bytes] = {
        PAGE: page_of(content),
        DOCUMENT: guideline_pdf(guideline),
        "advice.csv": csv_text(guideline.table),
        "seasons.csv": csv_text(guideline.by_season),
        "try-next.csv": csv_text(guideline.next),
    }
    with writing(folder, GUIDELINE, of=guideline.path, names=NAMES) as place:
        plan = plan_text(guideline, place.folder)
        if plan:
            files["plan.toml"] = plan
        written = place.write(files)
    if not issue:
        return written
    title = guideline.file.guideline.name
    record = record_path(guideline.path, title, guideline.version.number)
    text = record_text(guideline.version, title, guideline.path)
    write_whole(record, text.encode(), "the record of this version")
    return (*written, record)
