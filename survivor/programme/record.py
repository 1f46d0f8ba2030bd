"""What is kept of one study: its answers under the names that may be shown, and what they were made from."""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass, field, fields, replace
from pathlib import Path
from typing import Any, Final, Literal

import pandas as pd

from survivor.files.writing import digest, write_whole

FOLDER: Final = "programme-records"
PLOT_COLUMNS: Final = ("method", "planting_year", "watched", "alive", "died")
UNIT_COLUMNS: Final = (
    "method", "against", "scale", "estimate", "std_error", "lower", "upper", "alive_against", "n_seedlings",
    "n_plots", "n_sites", "reason",
)  # fmt: skip
State = Literal["used", "not yet", "not used"]


@dataclass(frozen=True)
class Question:
    """What is asked of every study: the milestone by name and day, and the package's version."""

    milestone: str
    day: float
    version: str


@dataclass(frozen=True)
class StudyRecord:
    """What one study says.

    Attributes
    ----------
    folder
        Of the study, below the programme's; it names what may not be shown.
    files
        Digest of every file read, by its name in the study's folder; empty where there is none.
    question
        What was asked.
    as_of
        The day it was read, where the study file does not say when the records were closed; else empty.
    state, reason
        ``used``; ``not yet`` (no answer at the milestone, with the reason) or ``not used``. The reason
        names nothing that the study keeps to itself.
    detail
        Why in full, for whoever keeps the records.
    headline
        Name, day and window of the study's own headline milestone.
    hidden
        Whether the name of its folder may not be shown.
    organisation
        Who did it.
    years
        Years of planting.
    usual
        The preparation that others are compared with.
    at_day
        Days since planting that it is answered for.
    smallest
        Smallest difference that matters, per 100 planted.
    counts
        ``records, set_aside, problems, seedlings, plots, sites, visits, planted``.
    span
        First planting day and last visit, ISO dates.
    target
        ``promised, verdict, estimate, lower, upper, reason`` of what was promised; None: nothing was.
    marks
        Digests of plots, tags and histories of counts, by which the same plants are found again.
    units
        What it says of every comparison, as ``survivor.seasons`` has it.
    plots
        A row a plot: `PLOT_COLUMNS`, and the traits of its ground.
    """

    folder: str
    files: Mapping[str, str]
    question: Question
    as_of: str = ""
    state: State = "not used"
    reason: str = ""
    detail: str = ""
    headline: tuple[str, float, float] | None = None
    hidden: bool = True
    organisation: str = ""
    years: tuple[int, ...] = ()
    usual: str = ""
    at_day: float = 0.0
    smallest: float = 5.0
    counts: Mapping[str, int] = field(default_factory=dict)
    span: tuple[str, str] = ("", "")
    target: Mapping[str, Any] | None = None
    marks: tuple[str, ...] = ()
    units: tuple[Mapping[str, Any], ...] = ()
    plots: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(PLOT_COLUMNS)), repr=False)

    def without(self, reason: str, detail: str = "") -> StudyRecord:
        """Return the record of a study that is not used after all."""
        return replace(self, state="not used", reason=reason, detail=detail or reason)


def digest_of_records(records: Iterable[StudyRecord]) -> str:
    """Digest of what all studies rest on: version, question, and the files of each."""
    told = sorted(
        (record.folder, *asdict(record.question).values(), record.as_of, *sorted(record.files.items()))
        for record in records
    )
    return hashlib.sha256(repr(told).encode()).hexdigest()


def name_of(folder: str) -> str:
    """Name the files of a study's record, without the name of its folder."""
    return hashlib.sha256(folder.encode()).hexdigest()[:16]


def keep(record: StudyRecord, home: Path) -> None:
    """Write a record: its plots as Parquet, the rest as JSON, each whole or not at all.

    Raises
    ------
    WritingError
        When there is no room, or the folder may not be written to.
    """
    held = io.BytesIO()
    record.plots.to_parquet(held, index=False)
    table, name = held.getvalue(), name_of(record.folder)
    facts = {each.name: getattr(record, each.name) for each in fields(record) if each.name != "plots"}
    facts |= {"question": asdict(record.question), "plots": digest(table)}
    # The JSON comes last: it vouches for the table beside it.
    write_whole(home / f"{name}.parquet", table, "the record of a study")
    text = json.dumps(facts, indent=1, ensure_ascii=False, default=dict)
    write_whole(home / f"{name}.json", text.encode(), "the record of a study")


def kept(folder: str, home: Path) -> StudyRecord | None:
    """Read a record; None where there is none, or none that can be read whole."""
    name = name_of(folder)
    try:
        facts = json.loads((home / f"{name}.json").read_text(encoding="utf-8"))
        table = (home / f"{name}.parquet").read_bytes()
        if digest(table) != facts.pop("plots") or facts["folder"] != folder:
            return None
        if any(name not in row for row in facts["units"] for name in UNIT_COLUMNS):
            return None  # kept before this was asked of a study
        plots = pd.read_parquet(io.BytesIO(table))
        question = Question(**facts.pop("question"))
        for listed in ("years", "span", "marks", "units"):
            facts[listed] = tuple(facts[listed])
        if facts["headline"] is not None:
            facts["headline"] = tuple(facts["headline"])
        return StudyRecord(question=question, plots=plots, **facts)
    except (OSError, ValueError, LookupError, TypeError):
        return None


def unit_rows(records: list[StudyRecord]) -> Iterator[dict[str, Any]]:
    """Go through the comparisons of studies, each with the folder of its study."""
    for record in records:
        for row in record.units:
            yield {"unit": record.folder, "season": record.folder, "site": "", **row}
