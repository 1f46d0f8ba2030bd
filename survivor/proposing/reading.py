"""How much of the records is read by a study file, and what waits for an answer, in a sentence."""

from __future__ import annotations

from pathlib import Path

from survivor.errors import SurvivorError
from survivor.settings import STUDY_FILE
from survivor.settings.questions import questions_in
from survivor.study import Study, load
from survivor.vocabulary import FIRST_PLANTING
from survivor.words import counted


def what_is_read(folder: Path, loaded: Study | SurvivorError | None = None) -> str:
    """Say how much of the records is read by the study file of a folder, and what waits for an answer.

    Parameters
    ----------
    folder
        Of the study.
    loaded
        The study, or why it cannot be read, where that is known already.
    """
    open_questions = len(questions_in((folder / STUDY_FILE).read_text(encoding="utf-8")))
    waits = f"{counted(open_questions, 'question')} open" if open_questions else "no question open"
    if loaded is None:
        try:
            loaded = load(folder)
        except SurvivorError as fault:
            loaded = fault
    if isinstance(loaded, SurvivorError):
        return f"Nothing can be read yet ({waits}): {loaded.what}"
    return f"{_counts(loaded)}; {waits}"


def _counts(study: Study) -> str:
    visits, records = study.records.visits, study.records.accounts  # as many as the check counts
    aside = int((records["fate"] == "excluded").sum())
    read = f"{len(records) - aside:,} read, {aside:,} wait for an answer or to be corrected"
    if visits.empty:
        return f"{counted(len(records), 'record')}: {read}"
    first = visits[visits["cohort"] == FIRST_PLANTING]
    plots = len(first[["site", "block", "plot"]].drop_duplicates())
    days = first.drop_duplicates(["site", "block", "plot", "date"]).groupby(["site", "block", "plot"]).size()
    rounds = days.mode().max()
    if study.settings.records.kind == "tagged":
        whose = counted(len(first[["site", "block", "plot", "tag"]].drop_duplicates()), "seedling") + " in"
        whose += f" {counted(plots, 'plot')}"
    else:
        planted = study.records.plots["planted"].sum()
        whose = (f"{planted:,.0f} seedlings planted in " if planted else "") + counted(plots, "plot")
    sites = counted(first["site"].nunique(), "site")
    return f"{whose} at {sites}, {counted(int(rounds), 'visit')}: of {counted(len(records), 'record')} {read}"
