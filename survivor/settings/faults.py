"""Faults of a study file in words: line, key, value, what is wrong and the mend."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Iterator, Mapping
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from survivor.settings.lines import Place, line_of
from survivor.settings.models import Settings
from survivor.settings.nearest import nearest

_KINDS = {
    "string": 'a text, in quotation marks, such as "2022"',
    "int": "a whole number, without quotation marks, such as 30",
    "float": "a number, without quotation marks, such as 5.0",
    "bool": "true or false, in small letters and without quotation marks",
    "tuple": 'a list in square brackets, such as ["site", "block"]',
    "dict": 'a table: lines of key = "value" under it',
    "model": "a table: lines of key = value under it",
}
_BOUNDS = {
    "greater_than": ("gt", "above"),
    "greater_than_equal": ("ge", "at least"),
    "less_than": ("lt", "below"),
    "less_than_equal": ("le", "at most"),
}


def faults_in_words(error: ValidationError, raw: Mapping[str, Any], lines: dict[Place, int]) -> list[str]:
    """Say each fault of a study file.

    Parameters
    ----------
    error
        What the models say.
    raw
        The study file as read.
    lines
        Line of every key (`survivor.settings.lines.key_lines`).

    Returns
    -------
    list of str
        One text a fault, in order of its line.
    """
    faults = [(fault, _in_file(fault["loc"], raw)) for fault in error.errors(include_url=False)]
    misspelt = {
        (*place[:-1], nearest(str(place[-1]), model.model_fields))
        for fault, place in faults
        if fault["type"] == "extra_forbidden" and (model := _model_at(place[:-1])) is not None
    }
    said: dict[str, int] = {}
    seen: set[Place] = set()
    for fault, place in faults:
        if fault["type"] == "too_short" and fault["input"]:
            continue  # its members are not empty but faulty, and are named themselves
        if fault["type"] == "missing" and place in misspelt:
            continue
        if fault["type"] != "value_error" and place in seen:
            continue  # one value that fits none of several kinds is one fault
        seen.add(place)
        text = _said(fault, place)
        line = line_of(place or _named_first(text), lines)
        said.setdefault((f"line {line}: " if line is not None else "") + text, line or 0)
    return sorted(said, key=lambda text: said[text])


def _named_first(text: str) -> Place:
    """Read the path that a fault of the whole file begins with."""
    found = re.match(r"(?:\[([\w.]+)\] )?(\w+) = ", text)
    return () if found is None else (*(found[1].split(".") if found[1] else ()), found[2])


def shown_key(place: Place) -> str:
    """Write a path as a person finds it in the file: ``[design] strata``, ``[[gauges]] no. 2, file``."""
    if not place:
        return "the file as a whole"
    numbers = [at for at, part in enumerate(place) if isinstance(part, int) and _is_table(place[: at + 1])]
    if numbers:
        at = numbers[-1]
        table = ".".join(part for part in place[:at] if isinstance(part, str))
        rest = _dotted(place[at + 1 :])
        return f"[[{table}]] no. {int(place[at]) + 1}" + (f", {rest}" if rest else "")
    keys = [part for part in place if isinstance(part, str)]
    end = f", value {place[-1] + 1}" if isinstance(place[-1], int) else ""
    return (f"[{'.'.join(keys[:-1])}] " if len(keys) > 1 else "") + keys[-1] + end


def _dotted(place: Place) -> str:
    keys = ".".join(part for part in place if isinstance(part, str))
    return keys + (f", value {place[-1] + 1}" if place and isinstance(place[-1], int) else "")


def _is_table(place: Place) -> bool:
    """Tell whether a path that ends in a number is one of several tables."""
    return isinstance(place[-1], int) and _model_at(place) is not None


def _in_file(loc: tuple[int | str, ...], raw: Mapping[str, Any]) -> Place:
    """Keep the part of a fault's place that is in the file: the models add the kind of value tried."""
    place: list[int | str] = []
    here: Any = raw
    for number, part in enumerate(loc):
        if isinstance(here, Mapping) and (part in here or number == len(loc) - 1):
            here = here.get(part) if isinstance(part, str) else None
        elif isinstance(here, list) and isinstance(part, int) and part < len(here):
            here = here[part]
        else:
            break
        place.append(part)
    return tuple(place)


def _said(fault: Any, place: Place) -> str:
    kind, key = str(fault["type"]), shown_key(place)
    context = fault.get("ctx", {})
    if kind == "extra_forbidden":
        return f"{key} = {_toml(fault['input'])} is not a key that survivor knows{_known_key(place)}"
    if kind == "missing":
        return f"{_needed(place)} is needed and is not there{_meaning(place)}"
    if kind == "value_error":
        return (f"{key}: " if place else "") + str(fault["msg"]).removeprefix("Value error, ")
    lead = f"{key} = {_toml(fault['input'])}"
    if kind == "literal_error":
        return f"{lead} is none of {_allowed(place)}{_close_value(fault['input'], place)}"
    if kind in _BOUNDS:
        name, words = _BOUNDS[kind]
        return f"{lead} has to be {words} {context[name]:g}{_slip(place, fault['input'], context[name])}"
    if kind == "string_too_short":
        return f"{lead} is empty: write a text, or take the line out"
    if kind == "too_short":
        return f"{lead} is empty: at least one is needed"
    needs = next((text for start, text in _KINDS.items() if kind.startswith(start)), None)
    if kind == "model_attributes_type" or kind == "dict_type":
        needs = _KINDS["dict"]
    return f"{lead} has to be {needs or 'another kind of value'}" + (_other_kind(kind, fault["input"]))


def _other_kind(kind: str, value: object) -> str:
    """Propose the value written as it should be, where that is plain."""
    if kind.startswith("int") and isinstance(value, float):
        return f"; write {round(value)}"
    if not isinstance(value, str | int | float) or isinstance(value, bool):
        if kind.startswith("string") and not isinstance(value, list | dict):
            return f"; write {_toml(str(value).lower())}"
        return ""
    if kind.startswith("string"):
        return f'; write "{value}"'
    if kind.startswith("tuple"):
        return f"; write [{_toml(value)}]"
    if kind.startswith("bool") and str(value).casefold() in ("true", "false", "yes", "no"):
        return f"; write {'true' if str(value).casefold() in ('true', 'yes') else 'false'}"
    if kind.startswith(("int", "float")):
        try:
            return f"; write {float(value):g}"
        except ValueError:
            return ""
    return ""


def _slip(place: Place, value: object, bound: object) -> str:
    """Propose another unit where the value would fit in it."""
    if (
        not isinstance(value, int | float)
        or not isinstance(bound, int | float)
        or value <= bound
        or value < 0
    ):
        return ""
    smaller = value / 100
    if str(place[-1]).endswith("_m") and smaller <= bound:
        return f": it is in metres; write {smaller:g} if {value:g} cm is meant"
    if bound == 1 and smaller < 1:
        return f": it is a share of 1; write {smaller:g} if {value:g} per cent is meant"
    return ""


def _needed(place: Place) -> str:
    field = _field_at(place)
    if field is not None and len(place) == 1:
        return f"the table [{place[0]}]"
    return shown_key(place)


def _meaning(place: Place) -> str:
    field = _field_at(place)
    allowed = _allowed(place)
    text = f": {field.description}" if field is not None and field.description else ""
    return text + (f"; one of {allowed}" if allowed and text.count('"') < 2 else "")


def _known_key(place: Place) -> str:
    model, key = _model_at(place[:-1]), str(place[-1])
    if model is None:
        return ""
    close = nearest(key, list(model.model_fields))
    if close is not None:
        return f"; did you mean {close}?"
    for least in (1.0, 0.8):
        for path, other in tables():
            if path and (found := nearest(key, list(other.model_fields), least=least)) is not None:
                return f"; did you mean {found} under {heading(path)}?"
    return f"; here it knows {', '.join(model.model_fields)}"


def _close_value(value: object, place: Place) -> str:
    close = nearest(str(value), _literals(place))
    return f'; did you mean "{close}"?' if close is not None else ""


def _allowed(place: Place) -> str:
    return ", ".join(f'"{value}"' for value in _literals(place))


def _literals(place: Place) -> list[str]:
    field = _field_at(place)
    return [] if field is None else list(literals_in(field.annotation))


def literals_in(annotation: Any) -> Iterator[str]:
    """Give the texts that a type allows, where it names them."""
    for part in get_args(annotation):
        if isinstance(part, str):
            yield part
        else:
            yield from literals_in(part)


def _field_at(place: Place) -> Any:
    """Find the field of a path, or of the table of free keys that holds it."""
    for end in (len(place), len(place) - 1):
        names = [part for part in place[:end] if isinstance(part, str)]
        if names:
            model = _model_at(tuple(names[:-1]))
            if model is not None and names[-1] in model.model_fields:
                return model.model_fields[names[-1]]
    return None


def _model_at(place: Place) -> type[BaseModel] | None:
    names = tuple(part for part in place if isinstance(part, str))
    free = {path: model for path, model in tables()}
    return free.get(names) or free.get(tuple([*names[:-1], "..."]) if names else ())


def heading(path: tuple[str, ...]) -> str:
    """Write the head of a table as it stands in the file."""
    if not path:
        return ""
    return f"[[{'.'.join(path)}]]" if repeated(path) else f"[{'.'.join(path)}]"


def repeated(path: tuple[str, ...]) -> bool:
    """Tell whether a table can stand several times in a study file."""
    if path[-1] == "...":
        return False
    model = dict(tables())[path[:-1]]
    return str(model.model_fields[path[-1]].annotation).startswith("tuple")


def tables(
    model: type[BaseModel] = Settings, path: tuple[str, ...] = ()
) -> Iterator[tuple[tuple[str, ...], type[BaseModel]]]:
    """Walk through every table of a study file; "..." stands for a word of the user's own."""
    yield path, model
    for name, field in model.model_fields.items():
        for inner in _models_in(field.annotation):
            own = str(field.annotation).startswith("dict")
            yield from tables(inner, (*path, name, "...") if own else (*path, name))


def _models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    else:
        for part in get_args(annotation):
            yield from _models_in(part)


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "{ ... }"
    if isinstance(value, list) and any(isinstance(part, dict) for part in value):
        return "[ ... ]"
    if isinstance(value, dt.date | dt.datetime):
        return value.isoformat()
    return json.dumps(value, ensure_ascii=False)
