"""A programme run: what has changed is done again, study by study, and all is put together."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from importlib.util import find_spec
from pathlib import Path
from typing import Final

from survivor.errors import NoProcessesError, ProgrammeError, WritingError
from survivor.files.lock import held
from survivor.programme import english as en
from survivor.programme.cluster import Asked, Cluster, on_cluster
from survivor.programme.record import FOLDER, Question, StudyRecord, keep, kept
from survivor.programme.studies import Found, find_studies, headlines, holds, question_of
from survivor.programme.study_answers import answers_of
from survivor.programme.together import Programme, together
from survivor.programme.twice import without_copies
from survivor.words import counted, number

Say = Callable[[str], None]
_MOST_TOLD: Final = 5  # studies that could not be used, named where none could
_PARTS: Final = "survivor-parts-"
EXTRA: Final = ("distributed", "pyarrow")
WITHOUT_EXTRA: Final = (
    "Dask is not installed, so the studies are done one after another in this process, and nothing is kept "
    "for the next run. To have both: pip install 'survivor-establishment[programme]'"
)


@dataclass
class Progress:
    """How far a run is: studies and records, done, running and to do."""

    say: Say
    sizes: dict[str, int]
    at_once: int = 1
    records: int = 0
    unchanged: int = 0
    done: set[str] = field(default_factory=set)

    def finished(self, record: StudyRecord) -> None:
        """Count a study as done, and say how far the run is."""
        self.done.add(record.folder)
        self.records += record.counts.get("records", 0)
        self.say(str(self))

    def __str__(self) -> str:
        left = len(self.sizes) - len(self.done)
        running = min(self.at_once, left)
        read = sum(self.sizes[folder] for folder in self.done)
        to_come = self.records * (sum(self.sizes.values()) - read) / read if read else 0
        rest = f", about {number(round(to_come, -2))} to do" if to_come else ""
        return (
            f"Studies: {len(self.done)} done, {running} running, {left - running} to do"
            f" ({self.unchanged} unchanged). Records: {number(self.records)} done{rest}"
        )


@dataclass(frozen=True)
class Taken:
    """The records of every study below a folder, before they are put together."""

    top: Path
    records: tuple[StudyRecord, ...]


def run_programme(
    folder: str | Path,
    *,
    milestone: str | None = None,
    ground: str | None = None,
    cluster: Cluster | None = None,
    say: Say = lambda _: None,
    warn: Say = lambda _: None,
) -> Programme:
    """Check and analyse every study below a folder, and put them together.

    Parameters
    ----------
    folder
        Every folder below it that holds a study file is a study.
    milestone
        Name of the milestone to tell it for; None: that of most studies' headlines.
    ground
        Column of the plot sheets that tells the kind of ground; None: what most studies have.
    cluster
        Where the studies are done; None: in this process.
    say, warn
        Called with how far the run is, and with what a reader should know besides.

    Raises
    ------
    ProgrammeError
        When there is no study below the folder, or none can be used.
    WritingError
        When another run works on the same programme.
    """
    taken = take_studies(folder, milestone=milestone, cluster=cluster, say=say, warn=warn)
    say(f"Putting {counted(len(taken.records), 'study', 'studies')} together")
    return put_together(taken, ground)


def take_studies(
    folder: str | Path,
    *,
    milestone: str | None = None,
    cluster: Cluster | None = None,
    say: Say = lambda _: None,
    warn: Say = lambda _: None,
) -> Taken:
    """Do every study that has changed, and return the records of all; parameters as for `run_programme`."""
    top = Path(folder)
    studies = find_studies(top, warn)
    home = top / FOLDER
    keeping = all(find_spec(name) is not None for name in EXTRA)
    if not keeping:
        warn(WITHOUT_EXTRA)
        cluster = None
    with ExitStack() as until:
        if keeping:
            keeping = _held(home, until, warn)
        known = (
            {each.folder: record for each in studies if (record := kept(each.folder, home))}
            if keeping
            else {}
        )
        question = question_of(headlines(top, studies, known), milestone)
        records = {name: record for name, record in known.items() if holds(record, top, question)}
        changed = [study for study in studies if study.folder not in records]
        progress = Progress(say, {study.folder: study.size for study in changed}, unchanged=len(records))
        say(str(progress))

        def take(record: StudyRecord) -> None:
            records[record.folder] = record
            if keeping:
                try:
                    keep(record, home)
                except WritingError as fault:
                    warn(f"{record.folder}: {fault.what}; its answers stand, and are made anew next time")
            progress.finished(record)

        _do(top, changed, question, cluster, take, progress, warn)
    return Taken(top, tuple(records[study.folder] for study in studies))


def put_together(taken: Taken, ground: str | None = None) -> Programme:
    """Put the records of all studies together; parameters and errors as for `run_programme`."""
    whole = without_copies(taken.top, taken.records)
    if not any(record.state == "used" for record in whole):
        told = [f"{each.folder}: {each.detail.splitlines()[0]}" for each in whole if each.detail]
        raise ProgrammeError(
            en.NONE_USED.format(studies=counted(len(whole), "study", "studies")),
            where=str(taken.top),
            mend="; ".join(told[:_MOST_TOLD] + ["..."] * (len(told) > _MOST_TOLD))
            or "wait until a study has reached the milestone",
        )
    return together(taken.top.resolve().name, whole, ground)


def _held(home: Path, until: ExitStack, warn: Say) -> bool:
    """Hold the folder of records; where none can be made, the run keeps nothing and says so."""
    try:
        home.mkdir(exist_ok=True)
        until.enter_context(held(home))
    except OSError as fault:
        warn(f"{home}: nothing can be kept there ({fault.strerror}), so the next run does all again")
        return False
    return True


def _do(
    top: Path,
    studies: list[Found],
    question: Question,
    cluster: Cluster | None,
    take: Callable[[StudyRecord], None],
    progress: Progress,
    warn: Say,
) -> None:
    # The largest first: none is then left for the end by itself.
    folders = [study.folder for study in sorted(studies, key=lambda study: (-study.size, study.folder))]
    if cluster is not None and folders:
        try:
            with on_cluster(cluster) as client, _room(cluster, top) as room:
                progress.at_once = client.at_once
                client.each(Asked(answers_of, str(top.resolve()), question, room), folders, take)
            return
        except NoProcessesError as fault:
            warn(f"{fault.what}; the studies are done one after another in this process")
    for folder in folders:
        take(answers_of(str(top), folder, question))


@contextmanager
def _room(cluster: Cluster, top: Path) -> Iterator[str]:
    """Make a folder for the parts of registers that all tasks see; empty where none can be made.

    Other machines see the folder of the programme. What a run that was killed has left there is taken away.
    """
    home = None if cluster.scheduler is None else (top / FOLDER).resolve()
    if home is not None:
        for left in home.glob(f"{_PARTS}*"):
            shutil.rmtree(left, ignore_errors=True)
    try:
        room = tempfile.mkdtemp(prefix=_PARTS, dir=home)
    except OSError:
        yield ""
        return
    try:
        yield room
    finally:
        shutil.rmtree(room, ignore_errors=True)
