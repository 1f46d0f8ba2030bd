"""Seasons and kinds of ground chosen for a guideline: what the choice changes in its file, or begins one."""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from survivor.desk.folder import Folder
from survivor.desk.named import tables_of
from survivor.desk.summaries import seasons_in
from survivor.errors import DeskError

if TYPE_CHECKING:
    from survivor.files.faults import Place
    from survivor.study import Study

NAME: Final = "guideline.toml"
#: What a kind of ground may be told by: columns of the plots.
COLUMNS: Final = ("texture", "slope", "landform", "aspect", "past_land_use", "site")


@dataclass(frozen=True)
class Offer:
    """A season that a guideline may rest on.

    Attributes
    ----------
    place, name
        Of its study.
    since
        Version of the guideline from which it does; 0: not at all.
    """

    place: str
    name: str
    since: int


def offers(folder: Folder, file: Path | None) -> list[Offer]:
    """Give every season of a folder, with what a guideline makes of it."""
    taken = _taken(file) if file is not None else {}
    found = []
    for home in seasons_in(folder):
        about = tables_of(home / "study.toml").get("study")
        name = about.get("name") if isinstance(about, dict) else None
        since = int(taken.get(home.resolve(), (0, {}))[1].get("since", 1)) if home.resolve() in taken else 0
        found.append(Offer(folder.name_of(home), str(name or folder.title_of(home)), since))
    return found


def _taken(file: Path) -> dict[Path, tuple[int, Mapping[str, Any]]]:
    """Seasons that a guideline file names: folder -> number among them, and what it says."""
    named = tables_of(file).get("seasons")
    found: dict[Path, tuple[int, Mapping[str, Any]]] = {}
    for number, season in enumerate(named if isinstance(named, list) else []):
        place = (file.parent / str(season.get("study", ""))).resolve()
        found[place.parent if place.suffix == ".toml" else place] = (number, season)
    return found


def seasons_changed(
    folder: Folder, file: Path, chosen: Collection[str], issued: Iterable[int]
) -> dict[Place, Any]:
    """Return what a choice of seasons changes in a guideline file.

    A season that is added counts from the version that is to be made: the next one, where this one was
    issued already.

    Parameters
    ----------
    folder
        Of the desk.
    file
        The guideline file.
    chosen
        Places of the seasons that it is to rest on.
    issued
        Versions of it that were issued.
    """
    from survivor.files.editing import GONE

    taken = _taken(file)
    changes: dict[tuple[str | int, ...], Any] = {}
    homes = {home.resolve(): folder.name_of(home) for home in seasons_in(folder)}
    about = tables_of(file).get("guideline")
    version = int(about.get("version", 1)) if isinstance(about, dict) else 1
    following = max(issued, default=0) + 1 if version in set(issued) else version
    number = len(taken)
    for home, place in homes.items():
        if place in chosen and home not in taken:
            study = Path(os.path.relpath(home, file.parent.resolve())).as_posix()
            changes[("seasons", number)] = {"study": study, "since": following}
            changes[("guideline", "version")] = following
            number += 1
        elif home in taken and place not in chosen:
            changes[("seasons", taken[home][0])] = GONE
    return changes


def begun(name: str, studies: Sequence[tuple[str, Study]], column: str, today: dt.date) -> str:
    """Write a new guideline file.

    Parameters
    ----------
    name
        Of the guideline.
    studies
        Path of each season relative to the file, and its study.
    column
        Of the plots: each of its words is a kind of ground.
    today
        Day that the first version is to bear.

    Raises
    ------
    DeskError
        When there is no season, or no plot of them tells that column.
    """
    from survivor.settings.questions import quoted

    if not studies:
        raise DeskError("no season was chosen", mend="choose at least one season that has been read")
    words = sorted(
        {
            str(word)
            for _, study in studies
            for word in (study.intervals[column].unique() if column in study.intervals.columns else ())
            if str(word) not in ("", "nan")
        }
    )
    if not words:
        raise DeskError(
            f"no plot of these seasons tells its {column.replace('_', ' ')}",
            mend="choose something else that tells one kind of ground from another",
        )
    lines = ["[guideline]", f"name = {quoted(name)}", "version = 1", f'dated = "{today.isoformat()}"']
    lines.append(f"milestone = {quoted(studies[0][1].settings.headline_milestone.name)}")
    for path, _ in studies:
        lines += ["", "[[seasons]]", f"study = {quoted(path)}", "since = 1"]
    for word in words:
        lines += ["", "[[ground]]", f"name = {quoted(word)}", f"where = {{ {column} = [{quoted(word)}] }}"]
    return "\n".join([*lines, ""])
