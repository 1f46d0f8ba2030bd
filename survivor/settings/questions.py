"""Questions of a study file: lines to choose from, right where the answer goes.

A question is a remark that says what is asked and what it changes, and below it the lines that
would answer it, each behind ``#? ``. To answer is to take that sign away from the line that is right.
``survivor new --ask`` does the same in the terminal, so the file alone says what is still open.
"""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import Final

MARK: Final = "#? "
EMPTY: Final = '""'  # a value to be filled in
MOST: Final = 10  # questions; what changes least is left as a remark
_HEAD: Final = re.compile(r"# Question (\d+)(?: of \d+)?: (.*)")
_ANSWERED: Final = re.compile(r"""("[^"]*"|[\w.-]+)\s*=""")
_LINE: Final = re.compile(r"""#\?\s(?:("[^"]*"|[\w.-]+)\s*=\s*(.*?)|(\[.*\]))(?:\s+#\s(.*))?""")


STATE_CHOICES: Final = "alive, dead, missing, not found, not visited, replanted or doubtful"


PLANTED_AT: Final = "planted at "  # before the name of a site, where each may have a day of its own


class Rank(IntEnum):
    """In which order questions are asked: by what they change, the most first."""

    COPIES = 10
    METHOD = 14
    SITE = 16
    STATES = 20
    PLANTED = 30
    BLANK = 35
    VISITS = 40
    DATE_ORDER = 50
    TAGGED = 60
    METHODS = 70
    WORKS = 75
    SPECIES = 80
    USUAL = 90
    ALLOCATION = 100
    PLACED = 105
    WORKS_CHOSEN = 107
    MILESTONE = 110
    DRY_SEASON = 120
    RAIN = 130
    RADIUS = 140
    MISSING = 150
    PAIRS = 155
    UNITS = 160


@dataclass(frozen=True)
class Line:
    """A line that would answer a question.

    Attributes
    ----------
    place
        In the file, counted from 0.
    key, value
        As TOML; a table's head has no value. A value of ``""`` is to be filled in.
    said
        What the line means.
    """

    place: int
    key: str
    value: str
    said: str

    @property
    def is_head(self) -> bool:
        """Whether it is the head of a table."""
        return not self.value


@dataclass(frozen=True)
class Question:
    """What is asked, and the lines below it.

    Attributes
    ----------
    number
        Its place among the questions.
    text
        What is asked, and what the answer changes.
    parts
        The lines, those of one key together: they are choices of one another.
    """

    number: int
    text: str
    parts: tuple[tuple[Line, ...], ...]


def asked(rank: Rank, text: str, lines: Sequence[str]) -> list[str]:
    """Write a question: ``text`` says what is asked, ``lines`` are those of which the answer is one."""
    return [f"# Question {int(rank)}: {text}", *(MARK + line for line in lines)]


def numbered(text: str) -> str:
    """Give questions their numbers, in the order of what they change; beyond ten they are remarks."""
    lines = text.split("\n")
    heads = [(int(head[1]), place) for place, line in enumerate(lines) if (head := _HEAD.fullmatch(line))]
    # One rank is one question: what several sheets leave open is asked once.
    ranks = sorted({rank for rank, _ in heads})[:MOST]
    before: set[str] = set()
    for rank, place in heads:
        words = lines[place].partition(": ")[2]
        words, again = ("the same here", words) if words in before else (words, words)
        before.add(again)
        if rank in ranks:
            lines[place] = f"# Question {ranks.index(rank) + 1} of {len(ranks)}: {words}"
        else:
            lines[place] = f"# {words}"
            below = place + 1
            while below < len(lines) and lines[below].startswith(MARK):
                lines[below] = "# " + lines[below].removeprefix(MARK)
                below += 1
    return "\n".join(lines)


def questions_in(text: str) -> list[Question]:
    """Find the questions of a study file that nobody has answered, in their order."""
    lines = text.split("\n")
    questions: dict[int, tuple[str, list[tuple[Line, ...]]]] = {}
    for place, line in enumerate(lines):
        if (head := _HEAD.fullmatch(line)) is None:
            continue
        parts: list[list[Line]] = []
        below = place + 1
        while below < len(lines) and (_LINE.fullmatch(lines[below]) or _ANSWERED.match(lines[below])):
            written = _LINE.fullmatch(lines[below])
            if written is None:  # one of several is answered; the others are open still
                below += 1
                continue
            key, value, table, words = written.groups()
            own = Line(below, key or table, value or "", words or "")
            if parts and parts[-1][0].key == own.key and not own.is_head:
                parts[-1].append(own)
            else:
                parts.append([own])
            below += 1
        _words, before = questions.setdefault(int(head[1]), (head[2], []))
        if parts:
            before += [tuple(part) for part in parts]
    return [
        Question(number, words, tuple(parts)) for number, (words, parts) in sorted(questions.items()) if parts
    ]


def answered(text: str, answers: Mapping[int, str]) -> str:
    """Answer: the line at each place becomes what is said of it, and the others of its question go.

    Parameters
    ----------
    text
        The study file.
    answers
        Place of a line -> the value to write there (TOML); for the head of a table anything.
    """
    lines = text.split("\n")
    gone: set[int] = set()
    for question in questions_in(text):
        for part in question.parts:
            chosen = [line for line in part if line.place in answers]
            for line in chosen:
                answer = lines[line.place].removeprefix(MARK)
                lines[line.place] = answer if line.is_head else f"{line.key} = {answers[line.place]}"
            gone |= {line.place for line in part if chosen and line not in chosen}
            head = _head_above(lines, part[0].place)
            if chosen and head and lines[head - 1].startswith(f"{part[0].key} = "):
                gone.add(head - 1)  # what was proposed in place of an answer
    return "\n".join(line for place, line in enumerate(lines) if place not in gone)


def shape(part: Sequence[Line]) -> tuple[tuple[str, str], ...]:
    """Return what tells parts apart: visits of several sheets may each ask the same."""
    return tuple((line.key, line.value or line.said) for line in part) + tuple(
        (line.said, "") for line in part if line.value == EMPTY or line.value.startswith("[")
    )


def answers_to(question: Question, said: Callable[[tuple[Line, ...]], str]) -> dict[int, str]:
    """Return the answers to a question, as `answered` takes them.

    Parameters
    ----------
    question
        What is asked.
    said
        What a person says to a part, as TOML; empty where it is left open. Parts that are alike are
        asked once.
    """
    given: dict[object, str] = {}
    answers: dict[int, str] = {}
    for part in question.parts:
        if part[0].is_head:
            continue
        key = shape(part)
        if key not in given:
            given[key] = said(part)
        line = next((one for one in part if given[key] and (one.value == given[key] or len(part) == 1)), None)
        if line is not None:
            answers[line.place] = given[key]
    heads = [part[0].place for part in question.parts if part[0].is_head]
    return answers | dict.fromkeys(heads if answers else [], "")


def offered(line: Line) -> list[str]:
    """Words that the remark of a line to be filled in offers after a colon."""
    words = line.said.partition(": ")[2] if line.value == EMPTY else ""
    return [] if "such as" in words or not words else re.split(r", | or ", words)


def unfit(line: Line, said: str) -> str:
    """Say why what was said cannot be the answer that a line asks for; "" where it can.

    Parameters
    ----------
    line
        To be filled in.
    said
        What a person typed: a day, a number, names with commas between them, or any words.
    """
    of_year = "year-month-day" in line.said
    if of_year or "month-day" in line.said:
        try:
            shaped = re.fullmatch(r"(?:\d{4}-)?\d{2}-\d{2}", said) is not None
            dt.date.fromisoformat(said if of_year else f"2024-{said}")  # a year that has a 29 February
        except ValueError:
            shaped = False
        example = line.said.partition("such as ")[2]
        kind = "year-month-day" if of_year else "month-day"
        return "" if shaped else f"{said!r} is no {kind}: write it like {example}"
    if line.value.isdigit() and not said.isdigit():
        return f"{said!r} is no number"
    if line.value.startswith("["):
        names = json.loads(line.value)
        others = [name for name in map(str.strip, said.split(",")) if name not in names]
        return f"{', '.join(others)} is none of {', '.join(names)}" if others else ""
    return ""


def _head_above(lines: Sequence[str], place: int) -> int:
    while place and _HEAD.fullmatch(lines[place]) is None:
        place -= 1
    return place


def quoted(text: str) -> str:
    """Write a text as TOML does; JSON writes the same but for one sign."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
