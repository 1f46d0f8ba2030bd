"""Two facts in one cell: 17/20, alive of those planted; 45/A, a height and a state."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from survivor.files import cells
from survivor.files.sheets import as_text
from survivor.records.words import STATE_WORDS, spoken

_OF_PLANTED: Final = re.compile(  # 17/20, 17 of 20 (85%)
    r"(\d{1,4})\s*(?:/|of|out of)\s*(\d{1,4})(?:\s*[(=,]?\s*\d{1,3}(?:[.,]\d+)?\s*%\)?)?", re.IGNORECASE
)
_WITH_UNIT: Final = re.compile(
    r"(\d{1,4})\s*(?:alive|living|live|plants?|pl|seedlings?|trees?|stems?|tubes?)\.?",
    re.IGNORECASE,
)
_SIGN: Final = r"\s*[/,;:(-]\s*|\s+"
_NUMBER: Final = r"(\d{1,3}(?:[.,]\d{1,2})?)\s*(cm|m)?"
_HEIGHT_FIRST: Final = re.compile(rf"{_NUMBER}(?:{_SIGN})([^\W\d][^\d(]*?)\)?", re.IGNORECASE)
_STATE_FIRST: Final = re.compile(rf"([^\W\d][^\d(]*?)(?:{_SIGN}){_NUMBER}\)?", re.IGNORECASE)
_REMARK: Final = re.compile(r"([^\W\d][^,;:(?]*?)\s*(?:[,;:(]|\s[-\N{EN DASH}]\s)\s*([^?]*[^\W\d][^?]*)")
_OTHERWISE: Final = re.compile(  # a remark that says more than how the plant looked
    r"dead|died|alive|living|missing|gone|lost|found|plant|replac|infill|new\b|not\b|no\b|but\b|maybe|perhaps|"
    r"probab|poss|unsure|doubt|check|now\b|tag"
)
_KNOWN: Final = frozenset(spoken(word) for words in STATE_WORDS.values() for word in words)


def parted(raw: pd.DataFrame, states: Mapping[str, str]) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Part cells that tell two things.

    Parameters
    ----------
    raw
        Records, cells as they are: of counts (alive), or of seedlings (state).
    states
        Words for states that the study file explains.

    Returns
    -------
    raw, said
        With planted, or height_cm, of what stood beside the count or the state; and what was done.
    """
    if "alive" in raw.columns:
        raw, units = _without_units(raw)
        raw, said = _counts(raw)
        return raw, (*units, *said)
    return _states(raw, states) if "state" in raw.columns else (raw, ())


def _without_units(raw: pd.DataFrame) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Read counts whose cells say what is counted: 17 alive, 18 plants."""
    said = []
    for word in (word for word in ("alive", "planted") if word in raw.columns):
        told = _each(raw[word], lambda text: _WITH_UNIT.fullmatch(text))
        if not told:
            continue
        texts = cells.texts(raw[word])
        rows = texts.isin(list(told))
        number = texts[rows].map({text: float(found[1]) for text, found in told.items()})
        raw = raw.assign(**{word: raw[word].astype(object).where(~rows, number.astype(object))})
        text = next(iter(told))
        said.append(f"{int(rows.sum()):,} cells such as {text} are read as {told[text][1]}")
    return raw, tuple(said)


def _counts(raw: pd.DataFrame) -> tuple[pd.DataFrame, tuple[str, ...]]:
    told = _each(raw["alive"], lambda text: _OF_PLANTED.fullmatch(text))
    if not told:
        return raw, ()
    texts = cells.texts(raw["alive"])
    rows = texts.isin(list(told))
    alive = texts[rows].map({text: float(found[1]) for text, found in told.items()})
    planted = texts[rows].map({text: float(found[2]) for text, found in told.items()})
    raw = raw.assign(alive=raw["alive"].astype(object).where(~rows, alive.astype(object)))
    if "planted" not in raw.columns:
        raw["planted"] = pd.Series("", index=raw.index, dtype=object)
    blank = rows & (cells.texts(raw["planted"]) == "")
    raw["planted"] = raw["planted"].astype(object).where(~blank, planted.astype(object))
    text = next(iter(told))
    said = f"{int(rows.sum()):,} cells such as {text} are read as alive of those planted"
    return raw, (said,)


def _states(raw: pd.DataFrame, states: Mapping[str, str]) -> tuple[pd.DataFrame, tuple[str, ...]]:
    known = _KNOWN | {spoken(word) for word in states}
    raw, said = _with_remarks(raw, known)

    def read(text: str) -> tuple[str, float] | None:
        if spoken(text) in known:
            return None
        for pattern, word, number, unit in ((_HEIGHT_FIRST, 3, 1, 2), (_STATE_FIRST, 1, 2, 3)):
            found = pattern.fullmatch(text)
            if found is not None and spoken(found[word]) in known:
                metres = (found[unit] or "").casefold() == "m"
                return found[word].strip(), float(found[number].replace(",", ".")) * (100 if metres else 1)
        return None

    told = _each(raw["state"], read)
    if not told:
        return raw, said
    texts = cells.texts(raw["state"])
    rows = texts.isin(list(told))
    word = texts[rows].map({text: own[0] for text, own in told.items()})
    height = texts[rows].map({text: own[1] for text, own in told.items()})
    raw = raw.assign(state=raw["state"].astype(object).where(~rows, word))
    if "height_cm" not in raw.columns and "height_m" not in raw.columns:
        raw["height_cm"] = pd.Series("", index=raw.index, dtype=object)
    if "height_cm" in raw.columns:
        blank = rows & (cells.texts(raw["height_cm"]) == "")
        raw["height_cm"] = raw["height_cm"].astype(object).where(~blank, height.astype(object))
    text = next(iter(told))
    return raw, (*said, f"{int(rows.sum()):,} cells such as {text} are read as a state and a height in cm")


def _with_remarks(raw: pd.DataFrame, known: frozenset[str]) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Take a remark off a state: "alive, browsed" is alive, where the remark tells no other state."""

    def read(text: str) -> str | None:
        found = _REMARK.fullmatch(text)
        if spoken(text) in known or found is None or spoken(found[1]) not in known:
            return None
        remark = found[2].casefold()
        return None if _OTHERWISE.search(remark) else found[1].strip()

    told = _each(raw["state"], read)
    if not told:
        return raw, ()
    texts = cells.texts(raw["state"])
    rows = texts.isin(list(told))
    text = next(iter(told))
    said = f"{int(rows.sum()):,} states with a remark behind them, such as {text!r}, are read without it"
    return raw.assign(state=raw["state"].astype(object).where(~rows, texts.map(told))), (said,)


def _each(column: pd.Series[Any], read: Any) -> dict[str, Any]:
    """Read each text of a column; those that tell one thing only are left out."""
    texts = (text for text in column.unique() if isinstance(text, str))
    return {text: found for text in map(as_text, texts) if (found := read(text)) is not None}
