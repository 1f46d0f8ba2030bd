"""Every key of the study file in a table a reader can look things up in, made from the models."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple, get_args

from pydantic import BaseModel

from survivor.files.faults import OWN_WORD, Tables, literals_in
from survivor.settings.models import Settings

# A few words to a kind of value; what TOML calls them helps nobody.
_KINDS = (
    ("dict", "table of words"),
    ("tuple", "list of texts"),
    ("bool", "true or false"),
    ("int", "whole number"),
    ("float", "number"),
)
_BOUNDS = (("gt", "above"), ("ge", "at least"), ("lt", "below"), ("le", "at most"))

TABLES = Tables(Settings)


class Key(NamedTuple):
    """One key of a study file, in words."""

    table: str
    key: str
    value: str
    default: str
    meaning: str


def keys() -> Iterator[Key]:
    """Give every key of a study file that holds a value, table by table."""
    for path, model in TABLES.models.items():
        for name, field in model.model_fields.items():
            if _holds_tables(field.annotation):
                continue
            yield Key(TABLES.heading(path), name, _value(field), _default(field), str(field.description))


def key_table() -> str:
    """Write the keys as a table in Markdown, a section for each table of the study file."""
    parts: list[str] = []
    by_table: dict[str, list[Key]] = {}
    for key in keys():
        by_table.setdefault(key.table, []).append(key)
    for path, model in TABLES.models.items():
        own = by_table.get(TABLES.heading(path))
        if not own:
            continue
        purpose = _purpose(model) if path else "Keys that stand before the first table."
        parts += [f"### {_title(path)}", "", purpose, ""]
        parts.append("| key | value | without it | meaning |\n|---|---|---|---|")
        parts += [f"| {key.key} | {key.value} | {key.default} | {key.meaning} |" for key in own]
        parts.append("")
    return "\n".join(parts)


def _title(path: tuple[str, ...]) -> str:
    """Write the head of a table, or how a table within another is written."""
    if not path:
        return "Top of the file"
    if path[-1] == OWN_WORD:
        return f'`[{".".join(path[:-1])}."your word"]`'
    if len(path) > 1 and TABLES.repeated(path[:-1]) and not TABLES.repeated(path):
        return f"`{path[-1]} = {{ ... }}` within `{TABLES.heading(path[:-1])}`"
    return f"`{TABLES.heading(path)}`"


def _purpose(model: type[BaseModel]) -> str:
    return (model.__doc__ or "").split("\n")[0].split("; see")[0].removesuffix(".") + "."


def _holds_tables(annotation: Any) -> bool:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return True
    return any(_holds_tables(part) for part in get_args(annotation))


def _value(field: Any) -> str:
    if allowed := list(literals_in(field.annotation)):
        words = ", ".join(f'"{value}"' for value in allowed)
        return f"table of words, each one of {words}" if _is(field, "dict") else words
    kind = next((words for start, words in _KINDS if _is(field, start)), "text")
    if "_iso_day" in str(field.metadata) or "_iso_day" in str(field.annotation):
        kind = "day, as year-month-day"
    if "_month_and_day" in str(field.metadata):
        kind = "month and day, as MM-DD"
    bounds = [
        f"{words} {getattr(bound, name):g}"
        for bound in (*field.metadata, *_inner_metadata(field.annotation))
        for name, words in _BOUNDS
        if getattr(bound, name, None) is not None
    ]
    return ", ".join([kind, *bounds])


def _inner_metadata(annotation: Any) -> tuple[Any, ...]:
    return tuple(data for part in get_args(annotation) for data in getattr(part, "__metadata__", ()))


def _is(field: Any, start: str) -> bool:
    kinds = [field.annotation, *get_args(field.annotation)]
    return any(str(getattr(kind, "__name__", kind)).startswith(start) for kind in kinds)


def _default(field: Any) -> str:
    if field.is_required():
        return "needed"
    value = field.default
    if value is None or value == "" or value == () or value == {}:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, tuple):
        return "[" + ", ".join(f'"{part}"' for part in value) + "]"
    return f'"{value}"' if isinstance(value, str) else f"{value:g}"
