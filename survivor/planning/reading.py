"""A plan file (TOML) to strict models, every fault named with its line, value and mend."""

from __future__ import annotations

import datetime as dt
import json
import tomllib
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from survivor.errors import PlanError
from survivor.planning.planfile import Disagreement, Plan
from survivor.settings.filekinds import another_kind
from survivor.settings.lines import Place, key_lines, line_of
from survivor.settings.nearest import meant


def read_plan(path: str | Path) -> Plan:
    """Read a plan file.

    Parameters
    ----------
    path
        The file; a past study that it names is found relative to it.

    Raises
    ------
    PlanError
        When there is no such file, it is not TOML, or a key or value in it is not known.
    """
    file = Path(path)
    try:
        known = file.is_file()
    except OSError:  # a name that no file can have
        known = False
    if not known:
        raise PlanError(
            "no plan file here",
            where=str(path),
            mend="name a plan file; `survivor new DIR` writes one to start from, plan.toml",
        )
    try:
        text = file.read_text(encoding="utf-8-sig")
        raw = tomllib.loads(text)
    except UnicodeDecodeError as error:
        raise PlanError("this is not text in UTF-8", where=file.name, mend="save it as UTF-8 text") from error
    except tomllib.TOMLDecodeError as error:
        raise PlanError(
            f"the plan file cannot be read as TOML: {error}",
            where=file.name,
            mend='look in that line for a missing quotation mark, bracket or "=" sign',
        ) from error
    if (other := another_kind(raw, "plan")) is not None:
        start = "; `survivor new DIR` writes one to start from, plan.toml"
        raise PlanError(other[0], where=file.name, mend=other[1] + start)
    return parse_plan(raw, file.name, key_lines(text))


def parse_plan(raw: dict[str, Any], name: str = "plan", lines: dict[Place, int] | None = None) -> Plan:
    """Make a plan of the tables of a plan file.

    Parameters
    ----------
    raw
        Tables and keys, as a TOML reader gives them.
    name
        What an error calls the file.
    lines
        Line of every key, for errors.

    Raises
    ------
    PlanError
        When a key or value in it is not known; every fault is listed.
    """
    try:
        # Through JSON mode so that arrays become the tuples of the frozen models.
        return Plan.model_validate_json(json.dumps(raw, default=_iso))
    except ValidationError as error:
        said = [_in_words(fault, lines or {}, raw) for fault in error.errors(include_url=False)]
        lead = "1 fault" if len(said) == 1 else f"{len(said)} faults"
        raise PlanError(
            f"{lead} in the plan file:\n  " + "\n  ".join(said),
            where=name,
            mend="correct what is named above; `survivor new DIR` writes a plan.toml that explains the keys",
        ) from error


def _iso(value: object) -> str:
    if isinstance(value, dt.date | dt.datetime):
        return value.isoformat()
    raise TypeError(f"{value!r} has no place in a plan file")


def _in_words(fault: Any, lines: dict[Place, int], raw: dict[str, Any]) -> str:
    cause = fault.get("ctx", {}).get("error")
    place: Place = cause.place if isinstance(cause, Disagreement) else tuple(fault["loc"])
    line = line_of(place, lines)
    lead = f"line {line}: " if line is not None else ""
    key = _shown(place, raw)
    if fault["type"] == "extra_forbidden":
        proposal = meant(str(place[-1]), _keys_at(place[:-1]))
        if isinstance(fault["input"], dict | list):
            head = f"[[{place[-1]}]]" if isinstance(fault["input"], list) else f"[{place[-1]}]"
            return f"{lead}{head} is not a table that survivor knows{proposal}"
        return f"{lead}{key} = {fault['input']!r} is not a key that survivor knows{proposal}"
    if fault["type"] == "missing":
        return f"{lead}{key} is needed and is not there"
    if fault["type"] == "too_short":
        least, there = fault["ctx"]["min_length"], fault["ctx"]["actual_length"]
        return (
            f"{lead}[[{place[-1]}]]: at least {least} are needed, and there {'is' if there == 1 else 'are'} "
            f"{there}"
        )
    if fault["type"] == "value_error":
        return f"{lead}{key}: {str(fault['msg']).removeprefix('Value error, ')}"
    return f"{lead}{key} = {fault['input']!r}: {fault['msg'][0].lower()}{fault['msg'][1:]}"


def _shown(place: Place, raw: dict[str, Any]) -> str:
    """Write a path as it is found in the file: ``[question] day``, ``[[sites]] "Quill Creek", planted``.

    A table that can stand several times is called by its name, or its number where it has none.
    """
    if not place:
        return "the file as a whole"
    table, rest = str(place[0]), place[1:]
    if rest and isinstance(rest[0], int):
        inner = ".".join(str(part) for part in rest[1:])
        named = raw[table][rest[0]].get("name") if isinstance(raw[table][rest[0]], dict) else None
        which = f'"{named}"' if isinstance(named, str) and named.strip() else f"no. {rest[0] + 1}"
        return f"[[{table}]] {which}" + (f", {inner}" if inner else "")
    inner = ".".join(str(part) for part in rest)
    return f"[{table}] {inner}".strip()


def _keys_at(place: Place) -> list[str]:
    """Keys that a table of the plan file knows."""
    model: type[BaseModel] = Plan
    for part in place:
        if isinstance(part, str):
            model = _model_in(model.model_fields[part].annotation) or model
    return list(model.model_fields)


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for part in get_args(annotation) if (found := _model_in(part))), None)
