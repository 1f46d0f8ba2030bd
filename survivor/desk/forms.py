"""A form for the tables of a file, made from its models: what stands there, and what was typed instead."""

from __future__ import annotations

import re
import types
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Any, Final, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from survivor.desk.labels import called, in_words
from survivor.files.editing import GONE
from survivor.files.faults import Place
from survivor.settings.base import Day

_COMMA: Final = re.compile(r"-?\d+,\d{1,3}")  # a decimal comma
_NAMES: Final = ("name", "file", "site", "what")  # what one of several tables is called by

#: Keys that hold a name of something that the records or the file name already.
_NAMED: Final = {
    "usual_practice": "method", "site": "site", "species": "species", "milestone": "milestone",
    "headline": "milestone",
}  # fmt: skip
_PREVIEWED: Final = 3  # values of a table that is closed
_LONGEST: Final = 90  # letters of them

Choices = tuple[tuple[str, str], ...]

_YES_NO: Final[Choices] = (("true", "yes"), ("false", "no"))


@dataclass(frozen=True)
class Field:
    """One value of a form.

    Attributes
    ----------
    place
        Of the value in the file.
    label, hint
        What it is called, and what it changes.
    kind
        ``text``, ``number``, ``whole``, ``day``, ``choice``, ``lines`` (a text a line) ``pairs``
        (``word = word`` a line) or ``lists`` (``word = word, word`` a line).
    text
        As it stands in the form.
    before
        As it stands in the file.
    choices
        Values and their names.
    default
        What holds where nothing is given.
    fault
        What is wrong with it.
    """

    place: Place
    label: str
    hint: str
    kind: str
    text: str
    before: str
    choices: tuple[tuple[str, str], ...]
    default: str
    fault: str

    @property
    def name(self) -> str:
        """Its name in the form."""
        return ".".join(map(str, self.place))

    @property
    def names(self) -> str:
        """What it holds a name of that need not be typed: method, site, species, milestone; else ""."""
        if self.kind != "text":
            return ""
        key = str(self.place[-1])
        return "method" if (self.place[0], key) == ("methods", "name") else _NAMED.get(key, "")


@dataclass(frozen=True)
class Group:
    """A table of a form, or one of several.

    Attributes
    ----------
    place, title, hint
        Of the table.
    parts
        Its values and the tables within it.
    can_go
        Whether it is one of several that are there, each of which can be taken out.
    filled
        Whether anything stands in it.
    wrong
        Whether anything in it is wrong.
    fault
        What is wrong with it as a whole.
    """

    place: Place
    title: str
    hint: str
    parts: tuple[Field | Group, ...]
    can_go: bool
    filled: bool
    wrong: bool
    fault: str

    @property
    def name(self) -> str:
        """Its name in the form."""
        return ".".join(map(str, self.place))

    @property
    def preview(self) -> str:
        """The first values that stand in it; where none does, what it is for."""
        said = [
            f"{part.label.lower()}: {part.text}"
            for part in self.parts
            if isinstance(part, Field) and part.text and "\n" not in part.text and part.text not in self.title
        ]
        shown = ", ".join(said[:_PREVIEWED])
        return (shown if len(shown) <= _LONGEST else f"{shown[:_LONGEST]}…") or self.hint


def form_of(
    model: type[BaseModel],
    raw: Mapping[str, Any],
    typed: Mapping[str, str] | None = None,
    faults: Mapping[Place, str] | None = None,
    without: frozenset[str] = frozenset(),
) -> tuple[Field | Group, ...]:
    """Make a form.

    Parameters
    ----------
    model
        Of the file.
    raw
        The file as it is.
    typed
        What was typed, by name; None: nothing yet.
    faults
        What is wrong with it, by place.
    without
        Tables that have a room of their own.
    """
    costs = raw.get("costs")
    currency = costs.get("currency") if isinstance(costs, Mapping) else None
    maker = _Maker(typed, faults or {}, currency if isinstance(currency, str) else "")
    names = [name for name in model.model_fields if name not in without]
    return tuple(
        part for name in names for part in maker.parts(model.model_fields[name], raw.get(name), (name,))
    )


def fields_of(parts: tuple[Field | Group, ...]) -> Iterator[Field]:
    """Go through every field of a form."""
    for part in parts:
        if isinstance(part, Field):
            yield part
        else:
            yield from fields_of(part.parts)


def groups_of(parts: tuple[Field | Group, ...]) -> Iterator[Group]:
    """Go through every table of a form."""
    for part in parts:
        if isinstance(part, Group):
            yield part
            yield from groups_of(part.parts)


def changes_in(
    parts: tuple[Field | Group, ...], typed: Mapping[str, str]
) -> tuple[dict[Place, Any], dict[Place, str]]:
    """Return what was changed in a form, and what of it is no value of its kind.

    Parameters
    ----------
    parts
        The form as it was before anything was typed.
    typed
        What was typed, by name. A table to take out has ``gone`` before its name.

    Returns
    -------
    changes, faults
        By place.
    """
    gone = [group.place for group in groups_of(parts) if typed.get(f"gone.{group.name}")]
    changes: dict[Place, Any] = dict.fromkeys(gone, GONE)
    faults: dict[Place, str] = {}
    for field in fields_of(parts):
        text = _plain(typed.get(field.name, field.before), field.kind)
        if text == field.before or any(field.place[: len(place)] == place for place in gone):
            continue
        try:
            if field.kind in ("pairs", "lists"):
                changes |= _pairs(field, text)
            else:
                changes[field.place] = GONE if text == "" else _value(field, text)
        except ValueError as fault:
            faults[field.place] = str(fault)
    return changes, faults


def which_differ(parts: tuple[Field | Group, ...], changes: Mapping[Place, Any]) -> dict[Place, str]:
    """Say beside each place that would be changed what the file says, since the form is of another state."""
    before = {field.place: field.before for field in fields_of(parts)}
    found = {}
    for place in changes:
        own = next((at for at in before if place[: len(at)] == at), place)
        here = f", and says “{before[own]}” here" if before.get(own) else ""
        found[own] = f"the file was changed since this page was made{here}; save again to have yours"
    return found


def _pairs(field: Field, text: str) -> dict[Place, Any]:
    """Return the keys of a table of words that were changed."""
    before, after = (dict(map(_pair, filter(None, lines.split("\n")))) for lines in (field.before, text))
    changes: dict[Place, Any] = {(*field.place, key): GONE for key in before if key not in after}
    for key, value in after.items():
        if before.get(key) != value:
            listed = [part.strip() for part in value.split(",") if part.strip()]
            changes[*field.place, key] = listed if field.kind == "lists" else value
    return changes


def _pair(line: str) -> tuple[str, str]:
    key, sign, value = (part.strip() for part in line.partition("="))
    if not (key and sign and value):
        raise ValueError(f'"{line}" has to be two words with "=" between them')
    return key, value


def _plain(text: str, kind: str) -> str:
    lines = [line.strip() for line in text.replace("\r\n", "\n").split("\n")]
    kept = [line for line in lines if line] if kind in ("lines", "pairs", "lists") else lines
    return "\n".join(kept).strip()


def _value(field: Field, text: str) -> Any:
    if field.kind == "lines":
        return text.split("\n")
    if field.kind == "choice" and field.choices == _YES_NO:
        return text == "true"
    if field.kind == "whole":
        if not re.fullmatch(r"-?\d{1,15}", text):
            raise ValueError("this has to be a whole number, such as 30")
        return int(text)
    if field.kind == "number":
        value = float(text.replace(",", ".") if _COMMA.fullmatch(text) else text) if _number(text) else None
        if value is None:
            raise ValueError("this has to be a number, such as 5 or 2.5")
        return int(value) if value.is_integer() and abs(value) < 1e15 else value
    return text


def _number(text: str) -> bool:
    return re.fullmatch(r"-?\d+([.,]\d+)?", text) is not None


@dataclass(frozen=True)
class _Maker:
    typed: Mapping[str, str] | None
    faults: Mapping[Place, str]
    currency: str

    def parts(
        self, field: FieldInfo, value: Any, place: Place, keys: Collection[str] = ()
    ) -> Iterator[Field | Group]:
        kind = _bare(field.annotation)
        inner = _bare(get_args(kind)[0]) if get_origin(kind) is tuple else None
        title, hint = called(place, self.currency), in_words(str(field.description or ""))
        if _is_table(kind):
            yield self._group(kind, value if isinstance(value, dict) else {}, place, title, hint)
        elif inner is not None and _is_table(inner):
            there = value if isinstance(value, list) else []
            for number, each in enumerate(there):
                named = next((str(each[key]) for key in _NAMES if key in each), f"{number + 1}")
                group = self._group(inner, each, (*place, number), f"{title}: {named}", hint)
                yield replace(group, can_go=True)
            yield self._group(inner, {}, (*place, len(there)), f"{title}: one more", hint)
        elif (typed_into := _kind(kind, field)) is not None:
            yield self._field(field, typed_into, value, place, keys)

    def _group(
        self, model: type[BaseModel], raw: Mapping[str, Any], place: Place, title: str, hint: str
    ) -> Group:
        fields = model.model_fields
        parts = tuple(
            part
            for name, field in fields.items()
            for part in self.parts(field, raw.get(name), (*place, name), fields)
        )
        wrong = any(at[: len(place)] == place for at in self.faults)
        fault = in_words(self.faults.get(place, ""))
        return Group(place, title, hint, parts, False, bool(raw), wrong, fault)

    def _field(
        self, field: FieldInfo, into: tuple[str, Choices], value: Any, place: Place, keys: Collection[str]
    ) -> Field:
        kind, choices = into
        before = _text(value)
        text = before if self.typed is None else self.typed.get(".".join(map(str, place)), before)
        default = "" if field.is_required() else _text(field.default)
        fault = next((said for at, said in self.faults.items() if at[: len(place)] == place), "")
        label, hint = called(place, self.currency), in_words(str(field.description or ""), keys)
        return Field(
            place=place,
            label=label,
            hint="" if hint.casefold() == label.casefold() else hint,
            kind=kind,
            text=text,
            before=before,
            choices=choices,
            default=dict(choices).get(default, default),
            fault=in_words(fault),
        )


def _bare(annotation: Any) -> Any:
    """Return a kind of value without None and without what it is held to."""
    origin = get_origin(annotation)
    if origin is Annotated and annotation != Day:
        return _bare(get_args(annotation)[0])
    if origin in (Union, types.UnionType):
        kinds = [part for part in get_args(annotation) if part is not type(None)]
        return _bare(kinds[0])
    return annotation


def _is_table(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, BaseModel)


def _kind(kind: Any, field: FieldInfo) -> tuple[str, Choices] | None:
    """Return what a value is typed into, and what can be chosen; None for tables named by own words."""
    if get_origin(kind) is Literal:
        return "choice", tuple((str(each), str(each)) for each in get_args(kind))
    if get_origin(kind) is dict:
        held = get_args(kind)[1]
        return None if _is_table(held) else ("lists" if get_origin(held) is tuple else "pairs", ())
    if get_origin(kind) is tuple:
        return "lines", ()
    is_day = kind == Day or any(held in field.metadata for held in get_args(Day)[1:])
    plain = {bool: "choice", int: "whole", float: "number"}.get(kind, "day" if is_day else "text")
    return plain, _YES_NO if kind is bool else ()


def _text(value: Any) -> str:
    """Write a value as it stands in a form."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:g}" if float(f"{value:g}") == value else repr(value)
    if isinstance(value, dict):
        return "\n".join(f"{key} = {_text(each).replace(chr(10), ', ')}" for key, each in value.items())
    if isinstance(value, list | tuple):
        return "\n".join(map(str, value))
    return str(value)
