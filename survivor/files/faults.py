"""Faults of a TOML file in words: line, key, value, what is wrong and what to do.

The words of the library that checks the models never reach a reader: what it finds is read by its kind.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, get_args

from pydantic import BaseModel, ValidationError

from survivor.files.names import meant, nearest

Place = tuple[str | int, ...]
Path = tuple[str, ...]

_MOST_TOLD: Final = 50
_LARGEST_MEANT: Final = 1e15  # of a value that another unit may have made so large
OWN_WORD: Final = "..."  # in the path of a table whose name is the user's own
_KINDS: Final = {
    "string": 'a text, in quotation marks, such as "2022"',
    "int": "a whole number, without quotation marks, such as 30",
    "float": "a number, without quotation marks, such as 5.0",
    "bool": "true or false, in small letters and without quotation marks",
    "tuple": 'a list in square brackets, such as ["site", "block"]',
    "dict": 'a table: lines of key = "value" under it',
    "model": "a table: lines of key = value under it",
}
_BOUNDS: Final = {
    "greater_than": ("gt", "above"),
    "greater_than_equal": ("ge", "at least"),
    "less_than": ("lt", "below"),
    "less_than_equal": ("le", "at most"),
}


class Disagreement(ValueError):
    """A value that does not go with another place of its file.

    Parameters
    ----------
    place
        Path of the value to look at; it is named and shown before the text.
    text
        What is wrong with it, such as ``is none of the methods``.
    """

    def __init__(self, place: Place, text: str) -> None:
        super().__init__(text)
        self.place = place


def named_once(table: str, names: Sequence[str]) -> None:
    """Refuse two tables of several that have one name.

    Raises
    ------
    Disagreement
        At the second of them.
    """
    for number, name in enumerate(names):
        if name in names[:number]:
            raise Disagreement((table, number, "name"), f"is the name of two [[{table}]]; give each its own")


def named_here(place: Place, asked: str | None, what: str, names: Collection[str]) -> None:
    """Refuse a name that is none of those of this file; None asks for none.

    Raises
    ------
    Disagreement
        With the names there are, and the one that may be meant.
    """
    if asked is None or asked in names:
        return
    there = ", ".join(f'"{name}"' for name in names) or "none"
    raise Disagreement(place, f"is none of the {what} of this file: {there}{meant(asked, names)}")


class Tables:
    """The tables that a model allows in a file.

    Attributes
    ----------
    models
        Path of each table -> its model, in the order of the models.
    """

    def __init__(self, model: type[BaseModel]) -> None:
        self.models: dict[Path, type[BaseModel]] = dict(_tables(model, ()))

    def repeated(self, path: Path) -> bool:
        """Tell whether a table can stand several times in a file."""
        if path[-1] == OWN_WORD:
            return False
        return str(self.models[path[:-1]].model_fields[path[-1]].annotation).startswith("tuple")

    def heading(self, path: Path) -> str:
        """Write the head of a table as it stands in the file."""
        return _head(".".join(path), several=self.repeated(path)) if path else ""

    def model_at(self, place: Place) -> type[BaseModel] | None:
        """Find the model of the table at a place."""
        names = _names(place)
        return self.models.get(names) or self.models.get((*names[:-1], OWN_WORD) if names else ())

    def field_at(self, place: Place) -> Any:
        """Find the field of a place, or of the table of the user's own words that holds it."""
        for end in (len(place), len(place) - 1):
            if names := _names(place[:end]):
                model = self.model_at(names[:-1])
                if model is not None and names[-1] in model.model_fields:
                    return model.model_fields[names[-1]]
        return None


def _tables(model: type[BaseModel], path: Path) -> Iterator[tuple[Path, type[BaseModel]]]:
    yield path, model
    for name, field in model.model_fields.items():
        own = (OWN_WORD,) if str(field.annotation).startswith("dict") else ()
        for inner in _models_in(field.annotation):
            yield from _tables(inner, (*path, name, *own))


def _models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    else:
        for part in get_args(annotation):
            yield from _models_in(part)


def literals_in(annotation: Any) -> Iterator[str]:
    """Give the texts that a type allows, where it names them."""
    for part in get_args(annotation):
        if isinstance(part, str):
            yield part
        else:
            yield from literals_in(part)


def _names(place: Place) -> Path:
    return tuple(part for part in place if isinstance(part, str))


def _head(name: str, *, several: bool) -> str:
    return f"[[{name}]]" if several else f"[{name}]"


def line_of(place: Place, lines: Mapping[Place, int]) -> int | None:
    """Line of a path, of the first of several tables of that name, or of the nearest table round it."""
    around = (key for end in range(len(place), 0, -1) for key in (place[:end], (*place[:end], 0)))
    return next((lines[key] for key in around if key in lines), None)


def shown_key(place: Place, raw: Mapping[str, Any]) -> str:
    """Write a path as a person finds it in the file.

    ``[design] strata``; ``[[sites]] "Quill Creek", planted``; ``[[gauges]] no. 2, file``. A table that can
    stand several times is called by its name, or by its number where it has none.

    Parameters
    ----------
    place
        Keys, and numbers counted from 0.
    raw
        The file as read.
    """
    if not place:
        return "the file as a whole"
    values = [_value_at(place[: end + 1], raw) for end in range(len(place))]
    numbered = [at for at, part in enumerate(place) if isinstance(part, int) and isinstance(values[at], dict)]
    last = place[-1]
    value = f", value {last + 1}" if isinstance(last, int) and len(place) - 1 not in numbered else ""
    if numbered:
        at = numbered[-1]
        name, inner = values[at].get("name"), ".".join(_names(place[at + 1 :]))
        by_name = isinstance(name, str) and name.strip() and inner != "name"
        which = f'"{name}"' if by_name else f"no. {int(place[at]) + 1}"
        return f"[[{'.'.join(_names(place[:at]))}]] {which}" + (f", {inner}" if inner else "") + value
    *table, key = _names(place)
    return (f"[{'.'.join(table)}] " if table else "") + key + value


def _value_at(place: Place, raw: Mapping[str, Any]) -> Any:
    value: Any = raw
    for part in place:
        try:
            value = value[part]
        except (KeyError, IndexError, TypeError):
            return None
    return value


def faults_in_words(
    error: ValidationError, model: type[BaseModel], raw: Mapping[str, Any], lines: Mapping[Place, int]
) -> tuple[list[str], int]:
    """Say the first faults of a file.

    Parameters
    ----------
    error
        What the model refuses.
    model
        The model.
    raw
        The file as read.
    lines
        Line of every key (`survivor.files.toml.key_lines`).

    Returns
    -------
    list of str, int
        One text a fault, in order of its line; and how many more there are.
    """
    faults = _found(error, raw, lines)
    texts: dict[str, int] = {}
    for place, text in _told(faults[:_MOST_TOLD], model, raw):
        line = line_of(place, lines)
        texts.setdefault((f"line {line}: " if line is not None else "") + text, line or 0)
    return sorted(texts, key=lambda text: texts[text]), max(len(faults) - _MOST_TOLD, 0)


def faults_by_place(
    error: ValidationError, model: type[BaseModel], raw: Mapping[str, Any]
) -> dict[Place, str]:
    """Say each fault of a file by its place; parameters as for `faults_in_words`."""
    return dict(_told(_found(error, raw, {})[:_MOST_TOLD], model, raw))


def _found(
    error: ValidationError, raw: Mapping[str, Any], lines: Mapping[Place, int]
) -> list[tuple[Any, Place]]:
    found = [(fault, _in_file(fault, raw)) for fault in error.errors(include_url=False)]
    return sorted(found, key=lambda each: line_of(each[1], lines) or 0)


def _told(
    faults: Sequence[tuple[Any, Place]], model: type[BaseModel], raw: Mapping[str, Any]
) -> Iterator[tuple[Place, str]]:
    tables = Tables(model)
    misspelt = {
        (*place[:-1], nearest(str(place[-1]), table.model_fields))
        for fault, place in faults
        if fault["type"] == "extra_forbidden" and (table := tables.model_at(place[:-1])) is not None
    }
    seen: set[Place] = set()
    for fault, place in faults:
        if fault["type"] == "too_short" and len(fault["input"]) >= fault["ctx"]["min_length"]:
            continue  # its members are enough but faulty, and are named themselves
        if fault["type"] == "missing" and place in misspelt:
            continue
        if fault["type"] != "value_error" and place in seen:
            continue  # one value that fits none of several kinds is one fault
        seen.add(place)
        yield place, _Fault(fault, place, tables, raw).in_words()


def _in_file(fault: Any, raw: Mapping[str, Any]) -> Place:
    """Keep the part of a fault's place that is in the file: the models add the kind of value tried."""
    cause = fault.get("ctx", {}).get("error")
    if isinstance(cause, Disagreement):
        return cause.place
    place: list[int | str] = []
    here: Any = raw
    for number, part in enumerate(fault["loc"]):
        if isinstance(here, Mapping) and (part in here or number == len(fault["loc"]) - 1):
            here = here.get(part) if isinstance(part, str) else None
        elif isinstance(here, list) and isinstance(part, int) and part < len(here):
            here = here[part]
        else:
            break
        place.append(part)
    return tuple(place)


@dataclass(frozen=True)
class _Fault:
    """A fault as the library gives it, its place, and what the place may hold."""

    fault: Any
    place: Place
    tables: Tables
    raw: Mapping[str, Any]

    def in_words(self) -> str:
        kind, value = str(self.fault["type"]), self.fault["input"]
        context = self.fault.get("ctx", {})
        key = shown_key(self.place, self.raw)
        lead = f"{key} = {_toml(value)}"
        if kind == "extra_forbidden":
            return self._not_known(key, value)
        if kind == "missing":
            return f"{self._needed(key)} is needed and is not there{self._meaning()}"
        if kind == "value_error":
            if isinstance(context["error"], Disagreement):
                return f"{key} = {_toml(_value_at(self.place, self.raw))} {context['error']}"
            if isinstance(value, dict) and _names(self.place) == self.place:
                key = self.tables.heading(_names(self.place))
            return (f"{key}: " if key else "") + str(context["error"])
        if kind == "literal_error":
            close = nearest(str(value), self._literals())
            return f"{lead} is none of {self._allowed()}" + (f'; did you mean "{close}"?' if close else "")
        if kind in _BOUNDS:
            name, words = _BOUNDS[kind]
            return f"{lead} has to be {words} {context[name]:g}{self._unit_meant(context[name])}"
        if kind == "string_too_short":
            return f"{lead} is empty: write a text, or take the line out"
        if kind == "too_short" and not value:
            return f"{lead} is empty: at least {_few(context['min_length'])} needed"
        if kind == "too_short":
            head = self.tables.heading(_names(self.place))
            there = "there is 1" if len(value) == 1 else f"there are {len(value)}"
            return f"{head}: at least {_few(context['min_length'])} needed, and {there}"
        needs = next((text for start, text in _KINDS.items() if kind.startswith(start)), None)
        return f"{lead} has to be {needs or 'another kind of value'}{_as_that_kind(kind, value)}"

    def _not_known(self, key: str, value: object) -> str:
        several = isinstance(value, list) and any(isinstance(part, dict) for part in value)
        if isinstance(value, dict) or several:
            head = _head(".".join(_names(self.place)), several=several)
            return f"{head} is not a table that survivor knows{self._key_meant()}"
        return f"{key} = {_toml(value)} is not a key that survivor knows{self._key_meant()}"

    def _key_meant(self) -> str:
        model, key = self.tables.model_at(self.place[:-1]), str(self.place[-1])
        if model is None:
            return ""
        if (close := nearest(key, model.model_fields)) is not None:
            return f"; did you mean {close}?"
        for least in (1.0, 0.8):
            for path, table in self.tables.models.items():
                if path and (close := nearest(key, table.model_fields, least=least)) is not None:
                    return f"; did you mean {close} under {self.tables.heading(path)}?"
        return f"; here it knows {', '.join(model.model_fields)}"

    def _needed(self, key: str) -> str:
        if len(self.place) == 1 and _names(self.place) in self.tables.models:
            return f"the table {self.tables.heading(_names(self.place))}"
        return key

    def _meaning(self) -> str:
        field, allowed = self.tables.field_at(self.place), self._allowed()
        text = f": {field.description}" if field is not None and field.description else ""
        return text + (f"; one of {allowed}" if allowed and text.count('"') < 2 else "")

    def _allowed(self) -> str:
        return ", ".join(f'"{value}"' for value in self._literals())

    def _literals(self) -> list[str]:
        field = self.tables.field_at(self.place)
        return [] if field is None else list(literals_in(field.annotation))

    def _unit_meant(self, bound: object) -> str:
        """Propose another unit where the value would fit in it."""
        value = self.fault["input"]
        if not isinstance(value, int | float) or not isinstance(bound, int | float):
            return ""
        if value <= bound or value < 0 or value > _LARGEST_MEANT:
            return ""
        smaller = value / 100
        if str(self.place[-1]).endswith("_m") and smaller <= bound:
            return f": it is in metres; write {smaller:g} if {value:g} cm is meant"
        if bound == 1 and smaller < 1:
            return f": it is a share of 1; write {smaller:g} if {value:g} per cent is meant"
        return ""


def _few(number: int) -> str:
    return "one is" if number == 1 else f"{number} are"


def _as_that_kind(kind: str, value: object) -> str:
    """Propose the value written as it should be, where that is plain."""
    if kind.startswith("int") and isinstance(value, float):
        return f"; write {round(value)}" if abs(value) < 1e15 else ""
    if not isinstance(value, str | int | float) or isinstance(value, bool):
        if kind.startswith("string") and isinstance(value, bool):
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
        except (ValueError, OverflowError):
            return ""
    return ""


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "{ ... }" if value else "{}"
    if isinstance(value, list) and any(isinstance(part, dict) for part in value):
        return "[ ... ]"
    if isinstance(value, dt.date | dt.datetime):
        return value.isoformat()
    return json.dumps(value, ensure_ascii=False, default=lambda own: f"<{type(own).__name__}>")
