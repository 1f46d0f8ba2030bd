"""On which line of a study file each table and key stands: TOML readers do not tell."""

from __future__ import annotations

import re
import tomllib

Place = tuple[str | int, ...]

_TABLE = re.compile(r"^\s*\[(?P<many>\[)?(?P<name>[^\[\]]+)\]\]?\s*(#.*)?$")
_PART = r"""(?:[\w-]+|"[^"]*"|'[^']*')"""
_KEY = re.compile(rf"^\s*(?P<key>{_PART}(?:\s*\.\s*{_PART})*)\s*=(?P<rest>.*)$")


def key_lines(text: str) -> dict[Place, int]:
    """Find the line of every table and key.

    Parameters
    ----------
    text
        A study file that is valid TOML.

    Returns
    -------
    dict
        Path -> line, counted from 1. A table that can stand several times has its
        number in the path: the second ``[[gauges]]`` is ``("gauges", 1)``.
    """
    found: dict[Place, int] = {}
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
            found.setdefault(table, number)
        elif key := _KEY.match(line):
            found.setdefault((*table, *_parts(key["key"])), number)
            open_brackets = max(_brackets(key["rest"]), 0)
            quotes = next((q for q in ('"""', "'''") if key["rest"].count(q) == 1), "")
    return found


def line_of(place: Place, lines: dict[Place, int]) -> int | None:
    """Line of a path, or of the nearest table round it."""
    for end in range(len(place), 0, -1):
        if place[:end] in lines:
            return lines[place[:end]]
    return None


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
