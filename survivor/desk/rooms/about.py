"""The room about the season: the study file as forms by subject, each fault beside its field."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from survivor.desk.desk import Desk, answer, desk_of, home_of, onward

if TYPE_CHECKING:
    from survivor.desk.study_file import Kept

ROOM: Final = "about"
_ELSEWHERE: Final = frozenset({"records"})  # in the room of sheets
_MOST_FIELDS: Final = 20_000


async def show(request: Request) -> Response:
    """Show what the study file says."""
    desk, home = desk_of(request), home_of(request)
    form = await run_in_threadpool(lambda: Form.made(kept_in(home, "study"), _ELSEWHERE))
    return answer(request, ROOM, place=desk.folder.name_of(home), form=form, names=_names(desk, home))


def _names(desk: Desk, home: Path) -> dict[str, list[str]]:
    """Return what need not be typed, since the season names it; nothing where it is not read."""
    reading = desk.readings.kept(home)
    if reading is None or reading.study is None:
        return {}
    rows, settings = reading.study.intervals, reading.study.settings
    columns = [column for column in ("method", "site", "species") if column in rows.columns]
    seen = {
        column: sorted({str(word) for word in rows[column].dropna().unique()} - {""}) for column in columns
    }
    milestones = [each.name for each in settings.milestones] or [settings.headline_milestone.name]
    return {**seen, "milestone": milestones}


def kept_in(path: Path, kind: str) -> Kept:
    """Return the study file of a folder, or a plan or guideline file."""
    from survivor.desk.study_file import guideline_in, plan_in, study_in

    return {"study": study_in, "plan": plan_in, "guideline": guideline_in}[kind](path)


async def change(request: Request) -> Response:
    """Keep what was typed, or show what is wrong with it beside each field and keep nothing."""
    desk, home = desk_of(request), home_of(request)
    place = desk.folder.name_of(home)
    typed = await typed_in(request)
    changed, form = await run_in_threadpool(lambda: kept_or_faults(kept_in(home, "study"), typed, _ELSEWHERE))
    if form is not None:
        return answer(request, ROOM, 422, place=place, form=form, names=_names(desk, home))
    return onward(ROOM, place, "kept" if changed else "same")


async def typed_in(request: Request) -> dict[str, str]:
    """Return what was typed into a form, by name."""
    async with request.form(max_fields=_MOST_FIELDS) as form:
        return {name: value for name, value in form.items() if isinstance(value, str)}


@dataclass(frozen=True)
class Form:
    """A file as a form: its parts, name and state, and what is wrong with it that stands beside no field."""

    parts: tuple[Any, ...]
    name: str
    of: str
    others: tuple[str, ...] = ()

    @classmethod
    def made(
        cls,
        kept: Kept,
        elsewhere: frozenset[str] = frozenset(),
        typed: Mapping[str, str] | None = None,
        faults: Mapping[Any, str] | None = None,
    ) -> Form:
        """Make the form of a file, as it is or as it was typed."""
        from survivor.desk.forms import fields_of, form_of, groups_of
        from survivor.desk.labels import in_words

        raw = kept.tables()
        parts = form_of(kept.model, raw, typed, faults, elsewhere)
        about = raw.get(kept.kind)
        name = about.get("name") if isinstance(about, dict) else None
        beside = {field.fault for field in fields_of(parts)} | {group.fault for group in groups_of(parts)}
        others = tuple(said for said in map(in_words, (faults or {}).values()) if said not in beside)
        return cls(parts, str(name or kept.path.stem), kept.mark(), others)


def kept_or_faults(
    kept: Kept, typed: Mapping[str, str], elsewhere: frozenset[str] = frozenset()
) -> tuple[bool, Form | None]:
    """Change a file by what was typed into its form; where anything is wrong, nothing is changed.

    Where the file was changed since the form was made, what is typed stands beside what the file says.

    Returns
    -------
    changed, form
        Whether anything was changed; where anything is wrong, the form that says so.
    """
    from survivor.desk.forms import changes_in, form_of, which_differ
    from survivor.desk.study_file import MARK

    parts, of = form_of(kept.model, kept.tables(), without=elsewhere), typed.get(MARK, "")
    changes, faults = changes_in(parts, typed)
    if changes and of != kept.mark():
        faults = which_differ(parts, changes)
    faults = faults or kept.faults_after(changes)
    if faults:
        return False, Form.made(kept, elsewhere, typed, faults)
    return kept.change(changes, of), None


ROUTES = [
    Route("/about/{place:path}", show),
    Route("/about/{place:path}", change, methods=["POST"]),
]
