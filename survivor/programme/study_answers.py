"""One study of a programme: read, checked and analysed by the functions that its own report calls."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.analysis.answer import target_answer
from survivor.analysis.milestone import milestone_day, reached, rounds_of, visit_ages
from survivor.analysis.models import fit_season
from survivor.analysis.observed import counted_by
from survivor.analysis.parts import Unmade
from survivor.analysis.privacy import landholders_of, name_in
from survivor.analysis.season import Season, season_of
from survivor.errors import RecordsError, StudyFileError, SurvivorError
from survivor.intervals import tally
from survivor.programme import english as en
from survivor.programme.record import PLOT_COLUMNS, UNIT_COLUMNS, Question, StudyRecord
from survivor.records import Records
from survivor.records.accounts import number_by, records_read
from survivor.records.words import TRAIT_WORDS
from survivor.seasons import Season as Alone
from survivor.seasons.counted_twice import marks_of
from survivor.seasons.units import unit_estimates
from survivor.settings import STUDY_FILE, Milestone, Settings, read_settings
from survivor.study import Study, digest_of, files_named, load, load_by
from survivor.vocabulary import Basis, Severity

_TRIES: Final = 3  # times a study is read that is written to meanwhile
GROUND: Final = tuple(
    word for word in TRAIT_WORDS if word in ("texture", "landform", "slope", "past_land_use")
)


@dataclass(frozen=True)
class ReadAlready:
    """Records that are read already: digests of the files that they were read from, and what gives them."""

    files: Mapping[str, str]
    read: Callable[[Path, Settings], Records]


def answers_of(top: str, folder: str, question: Question, already: ReadAlready | None = None) -> StudyRecord:
    """Read one study and say what it answers; whatever is wrong with it stands in the record.

    Parameters
    ----------
    top, folder
        Folder of the programme, and of the study below it.
    question
        What is asked.
    already
        Its records, where they are read; they are not used where a file has changed since.
    """
    home = Path(top) / folder
    for _ in range(_TRIES):
        record = _once(home, folder, question, already)
        if all(digest_of(home / name) == was for name, was in record.files.items()):
            return record
    return StudyRecord(folder, record.files, question, hidden=record.hidden).without(en.CHANGED)


def digests_of(home: Path, settings: Settings) -> dict[str, str]:
    """Digest of the study file and of every file that it names, as they are now."""
    return {name: digest_of(home / name) for name in (STUDY_FILE, *files_named(settings))}


def _once(home: Path, folder: str, question: Question, already: ReadAlready | None) -> StudyRecord:
    empty = StudyRecord(folder, {STUDY_FILE: digest_of(home / STUDY_FILE)}, question)
    try:
        settings = read_settings(home)
        empty = _of_settings(empty, home, settings)
        as_before = already is not None and already.files == empty.files
        study = load_by(home, already.read) if already is not None and as_before else load(home)
        record = replace(empty, files=study.digests)
        empty = record
        return _answered(record, study)
    except SurvivorError as fault:
        return empty.without(_reason(fault, empty.hidden), str(fault))
    except Exception as fault:  # a fault of ours in one study is no reason to lose the others
        return empty.without(en.OUR_FAULT, f"{type(fault).__name__}: {fault}")


def _of_settings(record: StudyRecord, home: Path, settings: Settings) -> StudyRecord:
    head = settings.headline_milestone
    return replace(
        record,
        files=digests_of(home, settings),
        as_of="" if settings.records_closed else dt.date.today().isoformat(),
        headline=(head.name, float(head.day), float(head.window_days)),
        hidden=not settings.privacy.show_places,
        organisation=settings.report.done_by if settings.privacy.show_landholders else "",
        smallest=settings.design.smallest_difference,
    )


def _reason(fault: SurvivorError, hidden: bool) -> str:
    """Say why in words that name no place or file where these are not to be shown."""
    if not hidden:
        return f"{fault.where}: {fault.what}" if fault.where else fault.what
    if isinstance(fault, StudyFileError):
        return en.NO_STUDY_FILE
    return en.NO_RECORDS if isinstance(fault, RecordsError) else en.NO_ANALYSIS


def _answered(record: StudyRecord, study: Study) -> StudyRecord:
    shown, first = study.as_shown(), study.first_plants
    if not shown.settings.privacy.show_landholders:
        named = name_in(" ".join(PurePosixPath(record.folder).parts), landholders_of(study.records))
        record = replace(record, hidden=record.hidden or named is not None)
    record = replace(
        record,
        organisation=shown.settings.report.done_by,
        counts=_counts(study, first),
        marks=marks_of(first),
    )
    if (nothing := shown.records.nothing) is not None:
        return record.without(en.NO_RECORDS if record.hidden else nothing.what, str(nothing))
    season = season_of(shown.settings, shown.records)
    if season.why_nothing:
        return record.without(season.why_nothing)
    planted = pd.to_datetime(season.intervals["planted_date"])
    record = replace(
        record,
        years=tuple(sorted({int(year) for year in planted.dt.year.dropna()})),
        span=(_day(planted.min()), _day(pd.to_datetime(shown.records.visits["date"]).max())),
        target=_target(season),
    )
    milestone = _milestone(shown.settings, record.question)
    if milestone is None:
        return replace(record, state="not yet", reason=en.NO_MILESTONE.format(day=f"{record.question.day:g}"))
    at, _ = milestone_day(season.intervals, milestone, season.visited)
    if not reached(milestone, at):
        return replace(record, state="not yet", at_day=at, reason=en.NOT_REACHED.format(day=f"{at:g}"))
    if season.basis is Basis.FOUND:
        record = replace(record, reason=en.FOUND)
        plots = record.plots
    else:
        plots = _plots(season, at, float(milestone.window_days))
    alone = Alone(record.folder, shown, shown.first_plants.assign(season=record.folder))
    units = unit_estimates([alone], at, "season", float(milestone.window_days))
    rows = tuple(
        {name: row[name] for name in UNIT_COLUMNS} for row in units.astype(object).to_dict("records")
    )
    return replace(record, state="used", usual=alone.usual, at_day=at, plots=plots, units=_plain(rows))


def _plain(rows: Iterable[dict[str, Any]]) -> tuple[dict[str, Any], ...]:
    """Return rows with plain values, that JSON gives back as they were; None for what is not known."""

    def value(held: Any) -> Any:
        if isinstance(held, str):
            return held
        number = float(held)
        return (
            None
            if np.isnan(number)
            else int(number)
            if number.is_integer() and abs(number) >= 1e6
            else number
        )

    return tuple({name: value(held) for name, held in row.items()} for row in rows)


def _day(when: Any) -> str:
    return "" if pd.isna(when) else f"{pd.Timestamp(when):%Y-%m-%d}"


def _counts(study: Study, first: pd.DataFrame) -> dict[str, int]:
    counted = tally(first) if len(first) else {}
    severe = study.problems["severity"]
    visits = study.records.visits
    ages = visit_ages(visits, first) if len(first) else pd.Series(dtype=float)
    planted = sum(line.plants for line in study.settings.planted)
    return {
        "records": records_read(study.accounts),
        "set_aside": int(number_by(study.accounts).get("excluded", 0)),
        "problems": int((severe != Severity.NOTE).sum()),
        "seedlings": int(counted.get("seedlings", 0)),
        "plots": int(counted.get("plots", 0)),
        "sites": int(counted.get("sites", 0)),
        "visits": len(rounds_of(np.unique(ages.to_numpy(dtype=float)))) if len(ages) else 0,
        "planted": int(planted),
    }


def _milestone(settings: Settings, question: Question) -> Milestone | None:
    """Find the study's milestone that is the one asked for: of its day, or a day within its window."""
    near = [m for m in settings.milestones if abs(m.day - question.day) <= m.window_days]
    return min(near, key=lambda m: (m.name != question.milestone, abs(m.day - question.day)), default=None)


def _target(season: Season) -> dict[str, Any] | None:
    """Judge what was promised, as the study's own report does."""
    if season.settings.target is None:
        return None
    models = fit_season(season.intervals, season.settings, season.milestone_day, others=False)
    found = target_answer(season, models, Unmade())
    assert found is not None, "something was promised"
    judged = found.grade != "not answered"
    return {
        "promised": season.settings.target.survival_per_100,
        "verdict": found.verdict if judged else "",
        "estimate": found.estimate,
        "lower": found.lower,
        "upper": found.upper,
        "reason": "" if judged else en.NOT_JUDGED,
    }


def _plots(season: Season, at: float, window: float) -> pd.DataFrame:
    """Count the plants of every plot at the milestone, with its preparation, year and ground."""
    rows = season.intervals
    ground = [name for name in GROUND if name in rows.columns]
    year = pd.to_datetime(rows["planted_date"]).dt.year
    marked = rows.assign(planting_year=year.astype("int64"), method=rows["method"].astype(str))
    keys = ["site", "block", "plot", "method", "planting_year", *ground]
    marked = marked.assign(**{name: marked[name].astype(object).fillna("").astype(str) for name in ground})
    counted = counted_by(marked, at, window, keys)
    return counted[[*PLOT_COLUMNS, *ground]].reset_index(drop=True)
