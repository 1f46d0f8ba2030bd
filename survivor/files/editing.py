"""A TOML file changed in a few places: remarks, order and all else stay as a person wrote them."""

from __future__ import annotations

import copy
import itertools
import tomllib
from collections.abc import Mapping, MutableMapping
from typing import Any, Final

import tomlkit
from tomlkit.exceptions import TOMLKitError

from survivor.errors import SurvivorError
from survivor.files.faults import Place

#: In place of a value: what stands there is taken out.
GONE: Final = object()


def edited(text: str, changes: Mapping[Place, Any], name: str, error: type[SurvivorError]) -> str:
    """Change some values of a TOML file.

    Parameters
    ----------
    text
        The file; it is valid TOML.
    changes
        Path of a key, or of one of several tables (counted from 0) -> its new value, or `GONE`. A path beyond
        the last of several tables adds one; a table of which nothing is left goes too.
    name
        Of the file, for errors.
    error
        Class to raise.

    Returns
    -------
    str
        The file as changed; the same text where nothing is.

    Raises
    ------
    SurvivorError
        Of that class, when the file is written in a way in which it cannot be changed safely.
    """
    before = tomllib.loads(text)
    wanted = _changed(copy.deepcopy(before), changes)
    if wanted == before:
        return text
    try:
        after = tomlkit.dumps(_changed(tomlkit.parse(text), changes))
        same = tomllib.loads(after) == wanted
    except (TOMLKitError, tomllib.TOMLDecodeError, TypeError, KeyError, IndexError, ValueError):
        same = False
    if not same:
        raise error(
            "this file is written in a way in which it cannot be changed safely; it was left alone",
            where=name,
            mend="change it in a text editor, or write its tables one below the other, as the demo does",
        )
    return after


def _changed(tables: Any, changes: Mapping[Place, Any]) -> Any:
    """Make the changes; what is taken out of a list goes from its end, so that the numbers before it hold."""
    set_first = [(place, value) for place, value in changes.items() if value is not GONE]
    out_last = sorted((place for place, value in changes.items() if value is GONE), key=_from_the_end)
    for place, value in set_first:
        _put(tables, place, value)
    for place in out_last:
        _take_out(tables, place)
    return tables


def _from_the_end(place: Place) -> tuple[tuple[int, str], ...]:
    return tuple((-part, "") if isinstance(part, int) else (0, part) for part in place)


def _put(tables: Any, place: Place, value: Any) -> None:
    here = tables
    for part, following in itertools.pairwise(place):
        there = _at(here, part)
        if there is None:
            _add(here, part, [] if isinstance(following, int) else {})
            there = _at(here, part)
        here = there
    last = place[-1]
    if isinstance(last, int) and last >= len(here):
        here.append(value)
    else:
        here[last] = value


def _at(here: Any, part: str | int) -> Any:
    if isinstance(part, int):
        return here[part] if part < len(here) else None
    return here.get(part)


def _add(here: Any, part: str | int, empty: list[Any] | dict[str, Any]) -> None:
    """Add an empty table, or an empty list of tables, in the way of the file."""
    styled: Any = empty
    if isinstance(here, tomlkit.items.AoT | tomlkit.TOMLDocument | tomlkit.items.Table):
        styled = tomlkit.aot() if isinstance(empty, list) else tomlkit.table()
    elif isinstance(here, tomlkit.items.InlineTable | tomlkit.items.Array):
        styled = tomlkit.array() if isinstance(empty, list) else tomlkit.inline_table()
    if isinstance(part, int):
        here.append(styled)
    else:
        here[part] = styled


def _take_out(tables: Any, place: Place) -> None:
    above: list[tuple[Any, str | int]] = []
    here = tables
    for part in place:
        above.append((here, part))
        here = _at(here, part)
        if here is None:
            return
    for holder, part in reversed(above):
        del holder[part]
        if len(holder) or not isinstance(holder, MutableMapping | list) or holder is tables:
            return
