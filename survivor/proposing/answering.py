"""What a person types to an open question, in the terminal, as the value that the study file holds."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from survivor.files.days import AMBIGUOUS, DateOrder, read_day
from survivor.settings.questions import MARK, Line, Question, offered, quoted, unfit
from survivor.words import date

_ORDER: Final = re.compile(r'^date_order = "(day-first|month-first)"', re.MULTILINE)
_YES: Final = ("y", "yes")
_DOUBT: Final = re.compile(r"\?|\b(?:maybe|perhaps|prob\w*|poss\w*)\b", re.IGNORECASE)
_METHODS: Final = "[[methods]]"
_NUMBERS: Final = re.compile(r"\d{1,2}[/.]\d{1,2}")  # 31/3; 03-31 is month-day
_ISO: Final = re.compile(r"\d\d-\d\d")
_SIGNS: Final = re.compile(r"[\W_]+")


@dataclass(frozen=True)
class Typed:
    """What was typed: its value as TOML ("" where it cannot be the answer), why not, and how it is read."""

    value: str
    why: str = ""
    read_as: str = ""


@dataclass(frozen=True)
class Alike:
    """Lines of one question that one answer holds for: spellings of one word."""

    lines: tuple[Line, ...]
    in_doubt: bool

    @property
    def words(self) -> str:
        """The spellings, as they stand in the sheets."""
        return ", ".join(json.loads(line.key) for line in self.lines)


def order_in(text: str) -> DateOrder:
    """Return the order of day and month that every sheet of a study file has; None where they differ."""
    orders = set(_ORDER.findall(text))
    if len(orders) != 1:
        return None
    return "day-first" if "day-first" in orders else "month-first"


def typed_as(line: Line, said: str, order: DateOrder) -> Typed:
    """Read what was typed for a line that is to be filled in.

    Parameters
    ----------
    line
        Its remark says what is asked: a day, a month and a day, a number, names, or any words.
    said
        As typed. A day may be written as the sheets write theirs: 5 Jun 24, 5/6/24.
    order
        What tells 5 June from 6 May there.
    """
    if "year-month-day" in line.said:
        day, fault = read_day(said, order) if not said.isdigit() else (None, "")
        if day is not None:
            return Typed(json.dumps(day), read_as=date(day))
        if fault == AMBIGUOUS:
            both = " or ".join(
                date(own) for own in (read_day(said, "day-first")[0], read_day(said, "month-first")[0]) if own
            )
            return Typed("", f"{said!r} may be {both}: write the month as a word")
    elif "month-day" in line.said:
        sign = "/" if _NUMBERS.fullmatch(said) else " "
        whole = f"2024-{said}" if _ISO.fullmatch(said) else f"{said}{sign}2024"  # which has a 29 February
        day, _ = read_day(whole, order)
        if day is not None:
            return Typed(json.dumps(day[5:]), read_as=date(day).rpartition(" ")[0])
    if why := unfit(line, said):
        return Typed("", why)
    if line.value.startswith("["):
        return Typed(json.dumps([word.strip() for word in said.split(",")], ensure_ascii=False))
    return Typed(said if line.value.isdigit() else json.dumps(said, ensure_ascii=False))


def is_yes(said: str) -> bool:
    """Tell whether somebody said yes."""
    return said.strip().casefold() in _YES


def alike(parts: Sequence[tuple[Line, ...]]) -> Iterator[Alike]:
    """Put words for states together that are one word in several spellings: x, X and x.

    Words written with doubt (A?, dead?) stand together, apart from those without.
    """
    groups: dict[tuple[str, bool], list[Line]] = {}
    for line, *_ in parts:
        word = json.loads(line.key) if line.key.startswith('"') else line.key
        in_doubt = _DOUBT.search(word) is not None
        bare = "" if in_doubt else _SIGNS.sub("", word.casefold()) or word
        groups.setdefault((bare, in_doubt), []).append(line)
    for (_, in_doubt), lines in sorted(groups.items(), key=lambda own: own[0][1]):
        yield Alike(tuple(lines), in_doubt)


def of_states(question: Question) -> bool:
    """Tell whether a question asks what words for states mean."""
    return all(
        len(part) == 1 and "doubtful" in offered(part[0]) for part in question.parts if not part[0].is_head
    )


def preparations(question: Question) -> list[list[Line]]:
    """Lines of each preparation of a question on spellings: its table, name, other spellings and works."""
    groups: list[list[Line]] = []
    for line, *_ in question.parts:
        if line.key == _METHODS:
            groups.append([])
        groups[-1].append(line)
    return groups


def on_preparations(question: Question) -> bool:
    """Tell whether a question asks which names of preparations are one."""
    return question.parts[0][0].key == _METHODS


def apart(text: str, also: Sequence[str]) -> str:
    """Make preparations of their own of spellings that are not those of another, in an answered study file.

    Parameters
    ----------
    text
        The study file, all other lines of the question answered.
    also
        What the lines of spellings hold that were answered with no.
    """
    lines = text.split("\n")
    for value in also:
        place = lines.index(next(line for line in lines if line.startswith(f"{MARK}also = {value}")))
        del lines[place]
        end = place
        while end < len(lines) and re.match(r"(?:\[\[|#|\s*$)", lines[end]) is None:
            end += 1
        lines[end:end] = [own for name in json.loads(value) for own in (_METHODS, f"name = {quoted(name)}")]
    return "\n".join(lines)
