"""Matches of columns and words saved in the study file, between two remarks; nothing else is touched."""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Mapping
from itertools import chain, count
from pathlib import Path
from typing import Any, Final

import pandas as pd

from survivor.files.headers import FORGIVING, SAME_WORD
from survivor.files.lock import held
from survivor.files.writing import write_whole
from survivor.records.words import COLUMN_WORDS
from survivor.settings import key_lines
from survivor.settings.questions import STATE_CHOICES, Rank, questions_in, quoted
from survivor.settings.questions import asked as asked_in
from survivor.words import counted

BEGINS: Final = "# --- as understood by survivor check; correct what is wrong ---"
ENDS: Final = "# --- end of what survivor check understood ---"
BACKUP: Final = ".before-matches"

# Table of the study file -> lines to add: (table, their words or ours) pairs.
_Block = dict[str, list[tuple[str, str]]]


def save_matches(file: Path, matches: pd.DataFrame, unknown: Mapping[str, int] | None = None) -> str:
    """Write what was matched forgivingly, or by the same word, into the study file.

    Words for states that nobody has explained become lines to fill in, for all sheets.

    Parameters
    ----------
    file
        The study file. A copy of each version is kept, ``.before-matches`` behind its name, and a number.
    matches
        As `survivor.records.Records.matches`.
    unknown
        Words for states that are not known, and how many cells hold each.

    Returns
    -------
    str
        What was done, in words; where the file cannot be edited safely, the lines to paste.

    Raises
    ------
    WritingError
        When the file cannot be written.
    """
    before = file.read_bytes()
    text = before.decode("utf-8-sig")
    raw = tomllib.loads(text)
    blocks = {place: block for place, block in _blocks(raw, matches).items() if any(block.values())}
    told = raw["records"].get("states", {})
    waiting = {part[0].key for question in questions_in(text) for part in question.parts}
    asked = {
        word: n for word, n in (unknown or {}).items() if word not in told and quoted(word) not in waiting
    }
    if not blocks and not asked:
        return f"Every match stands in {file.name} already: nothing was written."
    lines = sum(len(part) for block in blocks.values() for part in block.values())
    added = f"{lines} line{'' if lines == 1 else 's'}"
    edited = _edited(text, file, blocks)
    if edited is None or not _adds_only(raw, edited, blocks):
        return f"{file.name} was left alone, since its tables are not in the usual shape. To paste:\n" + (
            "\n".join(_pasted(place, block, raw) for place, block in blocks.items())
        )
    if asked:
        edited = _with_question(edited, asked)
        added += f" and {len(asked)} to fill in, under [records.states]"
    numbers = chain([""], map("-{}".format, count(2)))
    names = (file.with_name(f"{file.name}{BACKUP}{number}") for number in numbers)
    backup = next(name for name in names if not name.exists() or name.read_bytes() == before)
    with held(file.parent):
        write_whole(backup, before, "the copy of the study file as it was")
        write_whole(file, edited.encode(), "the matches")
    return (
        f"Wrote {added} into {file.name}, between remarks; nothing else in it was changed "
        f"(the file as it was: {backup.name})."
    )


def _with_question(text: str, words: Mapping[str, int]) -> str:
    """Ask what words mean, right where the answer goes; under a table of their own where there is none."""
    end = "\r\n" if "\r\n" in text else "\n"
    lines = asked_in(
        Rank.STATES,
        "what do these words mean? None of their cells is used until it is said.",
        [f'{quoted(word)} = ""   # {counted(n, "cell")}: {STATE_CHOICES}' for word, n in words.items()],
    )
    if (head := re.search(r"^\[records\.states\][^\r\n]*\r?\n", text, re.MULTILINE)) is not None:
        return text[: head.end()] + end.join(lines) + end + text[head.end() :]
    return text.rstrip() + end * 2 + end.join(["[records.states]", *lines]) + end


def _blocks(raw: dict[str, Any], matches: pd.DataFrame) -> dict[tuple[str | int, ...], _Block]:
    """Lines to add to each table of a file of records."""
    records = raw["records"]
    tables: list[tuple[tuple[str | int, ...], dict[str, Any]]] = [
        (("records", "sheets", number), sheet) for number, sheet in enumerate(records["sheets"])
    ]
    if "plots" in records:
        tables.append((("records", "plots"), records["plots"]))
    files = [(sheet["file"], sheet.get("sheet")) for _, sheet in tables]
    out: dict[tuple[str | int, ...], _Block] = {}
    for (place, sheet), (file, name) in zip(tables, files, strict=True):
        own = matches[matches["file"] == file]
        if name is not None:
            own = own[own["sheet"].str.strip().str.casefold() == name.strip().casefold()]
        if files.count((file, name)) > 1:
            continue  # one sheet named twice: which is meant cannot be determined
        out[place] = _of_table(own, sheet)
    return out


def _of_table(own: pd.DataFrame, sheet: dict[str, Any]) -> _Block:
    headers = list(own["header"])
    # Words are shown behind the header of their column.
    heads = {
        f"{header}: ": ours
        for header, ours in zip(own["header"], own["column"], strict=True)
        if ours in ("state", "cohort", "infill") or ours.startswith("state at ")
    }
    columns, states = [], []
    found = own[own["how"].isin([FORGIVING, SAME_WORD])]
    for header, ours in zip(found["header"], found["column"], strict=True):
        head = next((head for head in heads if header.startswith(head)), None)
        if head is None:
            if ours in COLUMN_WORDS and headers.count(header) == 1 and ours not in sheet.get("columns", {}):
                columns.append((ours, header))
        elif heads[head].startswith("state") and header[len(head) :] not in sheet.get("states", {}):
            states.append((header[len(head) :], ours))
    return {"columns": columns, "states": list(dict.fromkeys(states))}


def _edited(text: str, file: Path, blocks: dict[tuple[str | int, ...], _Block]) -> str | None:
    """Put the lines in; None where a table stands in a shape that a line cannot be added to."""
    lines = text.splitlines(keepends=True)
    end = "\r\n" if "\r\n" in text else "\n"
    if lines and not lines[-1].endswith(("\n", "\r")):
        lines[-1] += end
    known = key_lines(file)
    puts: list[tuple[int, list[str]]] = []  # after which line, and what
    for place, block in blocks.items():
        new: list[str] = []
        for table, pairs in block.items():
            if not pairs:
                continue
            own = known.get((*place, table))
            said = [BEGINS, *(f"{_key(left)} = {quoted(right)}" for left, right in pairs), ENDS]
            if own is None:
                name = ".".join(str(part) for part in place if not isinstance(part, int))
                new += [BEGINS, f"[{name}.{table}]", *said[1:-1], ENDS]
            elif lines[own - 1].lstrip().startswith("["):
                puts.append((own, said))
            else:
                return None
        if new:
            head = known.get(place)
            if head is None or not lines[head - 1].lstrip().startswith("["):
                return None
            puts.append((_last_of_table(lines, head), ["", *new]))
    for after, said in sorted(puts, key=lambda put: -put[0]):
        lines[after:after] = [line + end for line in said]
    return "".join(lines)


def _last_of_table(lines: list[str], head: int) -> int:
    """Last line, counted from 1, that belongs to the table whose head stands on line ``head``."""
    foot = head
    for number in range(head + 1, len(lines) + 1):
        line = lines[number - 1].strip()
        if line.startswith("[") and not lines[number - 1][0].isspace():
            break
        if line and not line.startswith("#"):
            foot = number
    return foot


def _adds_only(raw: dict[str, Any], edited: str, blocks: dict[tuple[str | int, ...], _Block]) -> bool:
    """Tell whether the edited file says what it said and the new lines, and nothing else."""
    try:
        after = tomllib.loads(edited)
    except tomllib.TOMLDecodeError:
        return False
    wanted = copy.deepcopy(raw)
    for place, block in blocks.items():
        table: Any = wanted
        for part in place:
            table = table[part]
        for name, pairs in block.items():
            if pairs:
                table.setdefault(name, {}).update(dict(pairs))
    return bool(after == wanted)


def _pasted(place: tuple[str | int, ...], block: _Block, raw: dict[str, Any]) -> str:
    table: Any = raw
    for part in place:
        table = table[part]
    lines = [f"in the table of {table['file']}:"]
    for name, pairs in block.items():
        if pairs:
            head = ".".join(str(part) for part in place if not isinstance(part, int))
            lines += [
                f"    [{head}.{name}]",
                *(f"    {_key(left)} = {quoted(right)}" for left, right in pairs),
            ]
    return "\n".join(lines)


def _key(word: str) -> str:
    bare = word.replace("_", "").replace("-", "")
    return word if bare.isascii() and bare.isalnum() else quoted(word)
