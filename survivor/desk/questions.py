"""The open questions of a study file as fields of a form, and what was chosen as answers."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from survivor.settings.questions import (
    EMPTY,
    Line,
    Question,
    answers_to,
    offered,
    questions_in,
    quoted,
    shape,
)

_TOGETHER: Final = "[[methods]]"  # lines below it are right together or not at all
_DAY: Final = "year-month-day"


@dataclass(frozen=True)
class Choice:
    """One thing to choose or to type.

    Attributes
    ----------
    name
        In the form.
    label, hint
        What is asked, and what the answer means.
    kind
        ``choice``, ``day`` or ``text``.
    choices
        Values and what they are called.
    """

    name: str
    label: str
    hint: str
    kind: str
    choices: tuple[tuple[str, str], ...]


def choices_of(question: Question) -> Iterator[Choice]:
    """Give the fields of a question; parts that are alike are asked once."""
    if _together(question):
        yes = (("yes", "yes, these are right"),)
        yield Choice(f"q.{question.number}.all", "", _in_words(question), "choice", yes)
        return
    seen = set()
    for number, part in enumerate(question.parts):
        if part[0].is_head or shape(part) in seen:
            continue
        seen.add(shape(part))
        yield _choice(f"q.{question.number}.{number}", part)


def _in_words(question: Question) -> str:
    """Write the lines that belong together: names, each with its other spellings."""
    lines = [line for part in question.parts for line in part if line.key in ("name", "also")]
    written = "".join(
        f"; {_bare(line)}" if line.key == "name" else f" (also {', '.join(_listed(line))})" for line in lines
    )
    return written.removeprefix("; ")


def _listed(line: Line) -> list[str]:
    value = tomllib.loads(f"value = {line.value}")["value"]
    return [str(each) for each in value] if isinstance(value, list) else [str(value)]


def _together(question: Question) -> bool:
    return any(line.key == _TOGETHER for part in question.parts for line in part)


def _choice(name: str, part: tuple[Line, ...]) -> Choice:
    first = part[0]
    label = first.key.strip('"').replace("_", " ")
    if len(part) > 1:
        called = tuple(
            (line.value, f"{_bare(line)}: {line.said}" if line.said else _bare(line)) for line in part
        )
        return Choice(name, label, "", "choice", called)
    if words := offered(first):
        hint = first.said.partition(":")[0]
        return Choice(name, label, hint, "choice", tuple((quoted(word), word) for word in words))
    if first.value != EMPTY:
        return Choice(name, label, first.said, "choice", ((first.value, _bare(first)),))
    if _DAY in first.said:  # a field for days shows by itself how they are written
        return Choice(name, first.said.rpartition(f": {_DAY}")[0] or label, "", "day", ())
    return Choice(name, label, first.said, "text", ())


def _bare(line: Line) -> str:
    return line.value.strip('"')


def answers_in(text: str, chosen: Mapping[str, str]) -> dict[int, str]:
    """Return the answers, as `survivor.settings.questions.answered` takes them.

    Parameters
    ----------
    text
        The study file.
    chosen
        What was chosen or typed, by name of field; an empty one leaves its question open.
    """
    answers: dict[int, str] = {}
    for question in questions_in(text):
        if _together(question):
            if chosen.get(f"q.{question.number}.all") == "yes":
                answers |= {part[0].place: part[0].value for part in question.parts}
        else:
            answers |= _answers(question, chosen)
    return answers


def _answers(question: Question, chosen: Mapping[str, str]) -> dict[int, str]:
    def said(part: tuple[Line, ...]) -> str:
        field = _choice(f"q.{question.number}.{question.parts.index(part)}", part)
        return _value(field, chosen.get(field.name, "").strip())

    return answers_to(question, said)


def _value(field: Choice, said: str) -> str:
    """Write what was chosen as TOML; nothing where it is none of the choices."""
    if field.kind == "choice":
        return said if said in dict(field.choices) else ""
    return quoted(said) if said else ""
