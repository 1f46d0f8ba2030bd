"""The TOML files that survivor reads, a study, a plan or a guideline file: found, parsed and checked."""

from __future__ import annotations

import datetime as dt
import json
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, TypeVar

from pydantic import BaseModel, ValidationError

from survivor.errors import SurvivorError
from survivor.files.content import content
from survivor.files.faults import Place, faults_in_words
from survivor.files.kinds import MOST_BYTES, TABLES, FileKind, kind_of
from survivor.files.lock import say_writer
from survivor.words import counted, readable

Model = TypeVar("Model", bound=BaseModel)

_DEEPEST: Final = 20  # tables within tables; the deepest that any file has is five
_LARGEST: Final = 1e15
_QUOTED: Final = re.compile(r'"(?:[^"\\\n]|\\.)*+"?|\'[^\'\n]*+\'?')
_MANY_PARTS: Final = re.compile(rf"(?<![\w-])[\w-]++(?:\s*+\.\s*+[\w-]++){{{_DEEPEST},}}")
_TABLE: Final = re.compile(r"^\s*\[(?P<many>\[)?(?P<name>[^\[\]]+)\]\]?\s*(#.*)?$")
_PART: Final = r"""(?:[\w-]+|"[^"]*"|'[^']*')"""
_KEY: Final = re.compile(rf"^\s*(?P<key>{_PART}(?:\s*\.\s*{_PART})*)\s*=(?P<rest>.*)$")
_BARE: Final = re.compile(  # a word for a word, one of them or both without quotation marks
    r"""\s*(?P<key>"[^"]*"|[^"'=\[\]#]*[^"'=\[\]#\s])\s*=\s*(?P<value>"[^"]*"|[^\W\d][^"'=\[\]{}#]*?)\s*(?:#.*)?"""
)
_SYNTAX: Final = (
    'look in that line for a missing quotation mark, bracket or "=" sign, or a key given twice; a text '
    "stands in quotation marks, a backslash in it is written twice; true and false have small letters"
)


@dataclass(frozen=True)
class _Kind:
    """What one kind of file is for.

    Attributes
    ----------
    what, read_by
        What it is, and the commands that read it.
    start
        Where a reader who has none gets one.
    keys
        Where its keys are explained.
    """

    what: str
    read_by: str
    start: str
    keys: str


_KINDS: Final[dict[FileKind, _Kind]] = {
    "study": _Kind(
        "a study file, which tells of the records of a season",
        "`survivor check` and `survivor report` read it",
        "",
        "every key is explained in the DATA-DICTIONARY.md that `survivor demo DIR` writes beside its study "
        "files",
    ),
    "plan": _Kind(
        "a plan file, which asks a question of a coming season",
        "`survivor plan` and `survivor layout` read it",
        "`survivor new DIR` writes one to start from, plan.toml",
        "`survivor new DIR` writes a plan.toml that explains the keys",
    ),
    "guideline": _Kind(
        "a guideline file, which names seasons and kinds of ground",
        "`survivor guideline` reads it",
        "`survivor demo DIR` writes one to start from, DIR/seasons/guideline.toml",
        "the demo's guideline.toml explains every key",
    ),
}


def read_toml(path: Path, model: type[Model], kind: FileKind, error: type[SurvivorError]) -> Model:
    """Read a file of one kind.

    Parameters
    ----------
    path
        The file.
    model
        What its tables and keys have to be.
    kind
        What the file is called in errors, and what it is told from.
    error
        Class of what is raised.

    Raises
    ------
    SurvivorError
        Of that class, when there is no such file, it is not TOML or of another kind, or a key or value in
        it is not known; every fault is listed with its line, its key, its value and what to do.
    """
    about = _KINDS[kind]
    try:
        there = path.is_file()
    except OSError:  # a name that no file can have
        there = False
    if not there:
        mend = f"name a {kind} file; {about.start}".removesuffix("; ")
        raise error(f"no {kind} file here", where=str(path), mend=mend)
    say_writer(path.parent)
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            what = f"this is {size / 1e6:,.1f} MB, more than any {kind} file holds; it was not read"
            raise error(what, where=path.name, mend=f"check that it is a {kind} file, and save it again")
        text = content(path).decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    except UnicodeDecodeError as fault:
        what, mend = f"the {kind} file is not text in UTF-8", "save it again as UTF-8 text"
        raise error(what, where=path.name, mend=mend) from fault
    except OSError as fault:
        what, mend = f"this cannot be read: {fault.strerror or fault}", "check that you may read the file"
        raise error(what, where=path.name, mend=mend) from fault
    try:
        if _MANY_PARTS.search(_QUOTED.sub("q", text)):
            raise RecursionError
        raw = _bounded(tomllib.loads(text))
    except (ValueError, RecursionError) as fault:  # a number or a nesting beyond all bounds, too
        what = f"the {kind} file cannot be read as TOML: {_line_first(fault)}"
        raise error(what, where=path.name, mend=_unquoted(fault, text) or _SYNTAX) from fault
    _refuse_another_kind(raw, kind, path.name, error)
    return validated(raw, model, kind, error, (path.name, key_lines(text)))


def _bounded(value: Any, depth: int = 0) -> Any:
    """Return the content without signs that are none, or refuse what is nested too deep or is no number."""
    if depth > _DEEPEST:
        raise RecursionError
    if isinstance(value, dict):
        return {readable(key): _bounded(part, depth + 1) for key, part in value.items()}
    if isinstance(value, list):
        return [_bounded(part, depth + 1) for part in value]
    if isinstance(value, str):
        return readable(value)
    if isinstance(value, int | float) and not abs(value) < _LARGEST:
        fault = "nan and inf are no numbers" if isinstance(value, float) else "a number of very many digits"
        raise ValueError(fault)
    return value


def validated(
    raw: Mapping[str, Any],
    model: type[Model],
    kind: FileKind,
    error: type[SurvivorError],
    source: tuple[str, Mapping[Place, int]] | None = None,
) -> Model:
    """Make a model of the tables of a file.

    Parameters
    ----------
    raw
        Tables and keys, as a TOML reader gives them.
    model, kind, error
        As for `read_toml`.
    source
        Name of the file and line of every key, for errors; None: the kind alone.

    Raises
    ------
    SurvivorError
        Of that class, when a key or value is not known; every fault is listed.
    """
    name, lines = (kind, {}) if source is None else source
    try:
        # Through JSON mode so that TOML arrays become the tuples of the frozen models.
        return model.model_validate_json(json.dumps(raw, default=_iso))
    except ValidationError as fault:
        faults, more = faults_in_words(fault, model, raw, lines)
        rest = [f"and {more:,} more"] if more else []
        raise error(
            f"{counted(len(faults) + more, 'fault')} in the {kind} file:\n  " + "\n  ".join([*faults, *rest]),
            where=name,
            mend=f"correct what is named above; {_KINDS[kind].keys}",
        ) from fault


def _refuse_another_kind(
    raw: Mapping[str, Any], wanted: FileKind, name: str, error: type[SurvivorError]
) -> None:
    there = kind_of(raw.keys())
    if there is None or TABLES[wanted] & raw.keys():
        return
    about = _KINDS[there]
    start = f"; {_KINDS[wanted].start}" if _KINDS[wanted].start else ""
    raise error(
        f"this is {about.what}, and not a {wanted} file",
        where=name,
        mend=f"{about.read_by}; or name a {wanted} file here{start}",
    )


def _unquoted(error: Exception, text: str) -> str:
    """Write the line at fault anew where only the quotation marks round a text are lacking."""
    at = re.search(r"\(at line (\d+), column \d+\)", str(error))
    line = text.split("\n")[int(at[1]) - 1] if at is not None else ""
    bare = _BARE.fullmatch(line)
    if bare is None or bare["value"].casefold() in ("true", "false"):
        return ""
    key = (
        bare["key"]
        if bare["key"][0] == '"' or re.fullmatch(r"[\w-]+", bare["key"], re.A)
        else f'"{bare["key"]}"'
    )
    value = bare["value"] if bare["value"][0] == '"' else f'"{bare["value"]}"'
    return f"a text stands in quotation marks: write {key} = {value}" if f"{key} = {value}" != line else ""


def _line_first(error: Exception) -> str:
    """Put the parser's text with the line first and without its column."""
    if isinstance(error, RecursionError):
        return "brackets within brackets, or a key of parts, without end"
    if "Exceeds the limit" in str(error):
        return "a number of very many digits"
    text = str(error)
    at = re.search(r"\(at line (\d+), column \d+\)", text)
    if at is None:
        return text.replace("(at end of document)", "at the end of the file")
    return f"line {at[1]}: {text[: at.start()].strip()}"


def _iso(value: object) -> str:
    if isinstance(value, dt.date | dt.datetime | dt.time):
        return value.isoformat()
    raise TypeError(f"{value!r} has no place in TOML")


def key_lines(text: str) -> dict[Place, int]:
    """Find the line of every table and key: TOML readers do not tell.

    Parameters
    ----------
    text
        A file that is valid TOML.

    Returns
    -------
    dict
        Path -> line, counted from 1. A table that can stand several times has its
        number in the path: the second ``[[gauges]]`` is ``("gauges", 1)``.
    """
    lines: dict[Place, int] = {}
    counts: dict[Place, int] = {}
    table: Place = ()
    open_brackets = 0
    quotes = ""
    for number, line in enumerate(text.splitlines(), start=1):
        if quotes:  # inside a text of several lines
            quotes = "" if quotes in line else quotes
            continue
        if open_brackets > 0:  # inside an array of several lines
            open_brackets += _brackets(line)
            continue
        if head := _TABLE.match(line):
            table = _numbered(_parts(head["name"]), counts, new=bool(head["many"]))
            lines.setdefault(table, number)
        elif key := _KEY.match(line):
            lines.setdefault((*table, *_parts(key["key"])), number)
            open_brackets = max(_brackets(key["rest"]), 0)
            quotes = next((q for q in ('"""', "'''") if key["rest"].count(q) == 1), "")
    return lines


def _parts(name: str) -> Place:
    parts = re.findall(_PART, name)
    return tuple(part if part[0] not in "\"'" else str(tomllib.loads(f"k = {part}")["k"]) for part in parts)


def _numbered(parts: Place, counts: dict[Place, int], *, new: bool) -> Place:
    """Put the number of each table of several into the path."""
    path: Place = ()
    for place, part in enumerate(parts):
        path = (*path, part)
        last = place == len(parts) - 1
        if last and new:
            counts[path] = counts.get(path, 0) + 1
        if path in counts:
            path = (*path, counts[path] - 1)
    return path


def _brackets(text: str) -> int:
    """How many square brackets are left open, those in texts and remarks aside."""
    bare = re.sub(r""""(?:\\.|[^"\\])*"|'[^']*'""", "", text).split("#")[0]
    return bare.count("[") - bare.count("]")
