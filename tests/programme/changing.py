"""A study that is saved while a process of the cluster reads it, and whether two records say the same."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from unittest import mock

import pandas as pd

from survivor.programme import study_answers
from survivor.programme.record import Question, StudyRecord
from survivor.study import Study, load

#: The file says how often the study is still to be saved; a study without it is left alone.
TIMES = "times.txt"


def answers_while_saved(top: str, folder: str, question: Question) -> StudyRecord:
    """Do what the programme does, while the study is saved so many times."""
    with mock.patch.object(study_answers, "load", _saved_after):
        return study_answers.answers_of(top, folder, question)


def _saved_after(home: Path) -> Study:
    study = load(home)
    left = int((home / TIMES).read_text()) if (home / TIMES).exists() else 0
    if left:
        (home / TIMES).write_text(str(left - 1))
        with (home / "visits.csv").open("a") as sheet:
            sheet.write("\n")
    return study


def same(found: StudyRecord, expected: StudyRecord) -> bool:
    """Whether two records say the same, to the last digit."""
    facts = [replace(record, plots=pd.DataFrame) for record in (found, expected)]
    return facts[0] == facts[1] and found.plots.equals(expected.plots)
