"""Names that look like another: what is proposed to the reader, never done."""

from __future__ import annotations

import difflib
import re
from collections.abc import Collection, Sequence
from typing import Any

_LEAST_ALIKE = 0.6  # for a proposal to a name that is certainly wrong
_SHORTEST = 5  # letters of a word in which a slip can be told from another word
_MOST_SLIPS = 2


def nearest(name: str, known: Collection[str], *, least: float = _LEAST_ALIKE) -> str | None:
    """Find the known name most like this one, without regard to case and punctuation."""
    plain = {_plain(other): other for other in known}
    close = difflib.get_close_matches(_plain(name), list(plain), n=1, cutoff=least)
    return plain[close[0]] if close else None


def meant(name: str, known: Collection[str]) -> str:
    """Propose the known name most like this one, or say nothing."""
    close = nearest(name, known)
    return f'; did you mean "{close}"?' if close is not None else ""


def look_alike(one: str, other: str) -> bool:
    """Tell whether two names are so alike that one may be a slip for the other.

    Names that differ in their figures or in a single letter standing alone
    ("Site 1", "Site 2"; "block A", "block B") are different on purpose. Else one slip
    (a letter more, less, other, or two in the wrong order) is allowed in a word of five
    letters or more, and two in all; spaces, punctuation and case are no difference.
    """
    first, second = _plain(one), _plain(other)
    if _marks(first) != _marks(second):
        return False
    if first.replace(" ", "") == second.replace(" ", ""):
        return True
    words = list(zip(first.split(), second.split(), strict=False))
    if len(first.split()) != len(second.split()):
        words = [(first.replace(" ", ""), second.replace(" ", ""))]
    if any(abs(len(mine) - len(yours)) > 1 for mine, yours in words):  # one slip a word adds no second letter
        return False
    slips = [_slips(*pair) for pair in words]
    few = all(
        number == 0 or (number == 1 and max(map(len, pair)) >= _SHORTEST)
        for number, pair in zip(slips, words, strict=True)
    )
    return few and sum(slips) <= _MOST_SLIPS


def likely_slips(names: Sequence[str]) -> dict[str, str]:
    """Give each name that looks like an earlier one the first such.

    Only names are compared that are the same once a letter of each is gone (two, where they have several
    words): what :func:`look_alike` allows. So thousands of names are not all held against each other.
    """
    found: dict[str, str] = {}
    places: dict[tuple[Any, ...], list[int]] = {}
    for place, name in enumerate(names):
        plain = _plain(name)
        marks = tuple(_marks(plain))
        keys = [(marks, left) for left in _without_letters(plain.replace(" ", ""), 2 if " " in plain else 1)]
        before = sorted({other for key in keys for other in places.get(key, ())})
        like = next((names[other] for other in before if look_alike(name, names[other])), None)
        if like is not None:
            found[name] = like
        for key in keys:
            places.setdefault(key, []).append(place)
    return found


def _without_letters(word: str, most: int) -> set[str]:
    """Return a word, and what is left of it without up to so many of its letters."""
    found = {word}
    for _ in range(most):
        found |= {left[:place] + left[place + 1 :] for left in found for place in range(len(left))}
    return found


def _plain(text: str) -> str:
    return " ".join(re.sub(r"[^\w]+|_", " ", text.casefold()).split())


def _marks(plain: str) -> list[str]:
    return [*re.findall(r"\d+", plain), *re.findall(r"\b[^\W\d]\b", plain)]


def _slips(one: str, other: str) -> int:
    """Count slips (Damerau 1964): letters put in, left out or changed, and neighbours exchanged."""
    before: list[int] = []
    above = list(range(len(other) + 1))
    for i, letter in enumerate(one, start=1):
        row = [i]
        for j, against in enumerate(other, start=1):
            cost = min(above[j] + 1, row[j - 1] + 1, above[j - 1] + (letter != against))
            if i > 1 and j > 1 and letter == other[j - 2] and one[i - 2] == against:
                cost = min(cost, before[j - 2] + 1)
            row.append(cost)
        before, above = above, row
    return above[-1]
