"""Seedlings of a part of a register that every row tells the same of: one is looked at, for all of them.

Two seedlings of a place are alike where their rows are, cell by cell, but for the tag. What is found of one
is then true of the others, each with its own rows and its own tag. Left apart are seedlings whose tag may
be read as another's or as something else, those that a height or another measure is told of, and those of
places where something was found that names other seedlings or counts them.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.arrays import Codes
from survivor.files.datasets import Cells
from survivor.files.headers import squeezed
from survivor.frames import same_histories
from survivor.intervals import row_codes
from survivor.records.checks.tags import bare_tag
from survivor.records.problems import NOWHERE
from survivor.records.replants import behind_a_tag
from survivor.records.words import RADIUS_WORDS, speaks_of_sums

#: What is told of single seedlings so that those like them cannot stand for it.
MEASURED: Final = ("height_cm", "height_m", "weed_cover", *RADIUS_WORDS)
_PLAIN: Final = re.compile(r"(?:[^\W\d_]{1,5}[-_ ]?)?\d+")  # letters and figures, or zeros before a number
_NUMBER: Final = re.compile(r"[1-9]\d*")
#: Problems of which each record of those alike has its own, and whose words and group name no other.
_OF_EACH: Final = frozenset(
    {
        "reshoot", "alive-after-missing", "unconfirmed-death", "missing-dead", "missing-unknown",
        "blank-dead", "not-visited", "plot-all-blank", "skipped-visit", "not-found-at-end", "not-found",
        "lost-from-sight", "reshoot-late", "doubtful",
        "seen-once", "blank-alive", "blank-untold", "site-blank", "unknown-plot", "planting-date-differs",
        "method-differs", "spelling", "renamed", "serial-date", "delayed-entry", "tagged-not-told",
        "state-number", "plot-of-one-visit", "before-planting", "in-the-future", "out-of-order",
        "visit-spread", "planting-far", "off-its-round", "cause-spelling", "species-spelling",
        "no-planting-date", "several-planting-days",
    }
)  # fmt: skip


@dataclass(frozen=True)
class Named:
    """Which columns of a register name the place and the tag, and which hold measures."""

    place: tuple[int, ...]
    tag: int
    measures: tuple[int, ...]


@dataclass(frozen=True)
class Folded:
    """Rows of the seedlings that stand for all.

    Attributes
    ----------
    kept
        Which rows of the part they are.
    times
        How many seedlings each kept row is of.
    like
        The history that each kept row is of.
    tags
        Tags of all seedlings that are alike: like, tag.
    """

    kept: Codes
    times: Codes
    like: Codes
    tags: pd.DataFrame
    _row: Codes  # of every row of the part, those of a seedling together
    _begin: Codes  # of every seedling of a history, those of a history together
    _tag: np.ndarray[Any, Any]
    _first: Codes  # of every history: its first seedling among them
    _turn: Codes  # of every kept row: its place in its seedling
    _place: Codes  # of every kept row

    def of_all(self, found: pd.DataFrame, lines: Codes) -> pd.DataFrame:
        """Give what was found of a seedling to all that are like it, each with its row and tag.

        Parameters
        ----------
        found
            Findings; of no single record, or of kept rows.
        lines
            Which kept row each is of; `NOWHERE` for those of none.
        """
        mine = np.flatnonzero(lines >= 0)
        mine = mine[self.times[lines[mine]] > 1]
        if not len(mine):
            return found
        line = lines[mine]
        number = self.times[line]
        every = np.repeat(np.arange(len(mine)), number)
        place = np.arange(len(every)) - np.repeat(np.cumsum(number) - number, number)
        who = self._first[self.like[line]][every] + place
        rows = found.iloc[mine].iloc[every]
        tag, own = rows["tag"].to_numpy(), self._tag[who]
        named = tag != ""
        value = np.where(named & (rows["word"] == "tag").to_numpy(), own, rows["value"].to_numpy())
        rows = rows.assign(
            row=self._row[self._begin[who] + self._turn[line][every]],
            tag=np.where(named, own, tag),
            value=value,
        )
        others = np.ones(len(found), dtype=bool)
        others[mine] = False
        return pd.concat([found[others], rows], ignore_index=True)

    def to_look_at_singly(self, found: pd.DataFrame, lines: Codes) -> Codes:
        """Name the places where something was found that those alike cannot stand for."""
        mine = (lines >= 0) & ~found["code"].isin(_OF_EACH).to_numpy()
        return self.places(lines[mine])

    def places(self, lines: Codes) -> Codes:
        """Name the places of kept rows that stand for several."""
        return np.unique(self._place[lines[self.times[lines] > 1]])


def fold(part: Cells, named: Named, apart: Codes) -> Folded:
    """Keep the rows of one seedling for each history.

    Parameters
    ----------
    part
        The part's cells.
    named
        Its columns.
    apart
        Places whose seedlings are all kept.
    """
    place = _squeezed([part.columns[n] for n in named.place], len(part.row))
    tag, tags = part.columns[named.tag]
    unit, _ = row_codes([place, tag], in_order=False)
    order = np.argsort(unit, kind="stable")
    unit = unit[order]
    opens = np.flatnonzero(np.concatenate([[True], unit[1:] != unit[:-1]]))
    columns = [codes for n, (codes, _) in enumerate(part.columns) if n != named.tag]
    content = row_codes([*columns, part.file], in_order=False)[0][order]
    alone = ~plain_tags(tags)[tag[order][opens]]
    alone |= np.isin(place[order][opens], apart)
    for number in named.measures:
        codes, texts = part.columns[number]
        told = (texts != "")[codes[order]]
        alone |= np.logical_or.reduceat(told, opens)
    content = np.where(alone[unit], len(content) + unit, content)
    history, first, turn = same_histories(unit, content)
    many = np.bincount(history)
    by_history = np.argsort(history, kind="stable")
    own = np.zeros(len(history), dtype=bool)
    own[first] = True
    mine = own[unit]  # rows of the seedlings that stand for all, a seedling after another
    back = np.argsort(order[mine], kind="stable")  # and as they stand in the files
    rows = np.flatnonzero(mine)[back]
    like = history[unit[rows]]
    tag_of = tags[tag[order][opens]]
    several = many[history] > 1
    return Folded(
        kept=order[rows],
        times=many[like],
        like=like,
        tags=pd.DataFrame({"like": history[several], "tag": tag_of[several]}),
        _row=part.row[order],
        _begin=opens[by_history],
        _tag=tag_of[by_history],
        _first=np.cumsum(many) - many,
        _turn=turn[rows],
        _place=place[order[rows]],
    )


def lines_of(found: pd.DataFrame, line: pd.Series[int]) -> Codes:
    """Tell which kept row each finding is of: ``line`` by record; `NOWHERE` where it is of none."""
    at = found["record"].map(line).fillna(NOWHERE)
    return np.asarray(at, dtype=np.intp)


def _squeezed(columns: Sequence[tuple[Codes, np.ndarray[Any, Any]]], rows: int) -> Codes:
    """Give numbers to the places, written without case, spaces and signs."""
    if not columns:
        return np.zeros(rows, dtype=np.intp)
    folded = []
    for codes, texts in columns:
        same = pd.factorize(np.array([squeezed(text) for text in texts], dtype=object))[0]
        folded.append(same[codes])
    return row_codes(folded, in_order=False)[0]


def plain_tags(tags: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Tell the tags that mean nothing but themselves, and that no other is written like."""
    number = _numbers(tags)
    others = tags[~number].tolist()
    if not others:
        return number
    numbers = set(tags[number].tolist())
    written = Counter(bare_tag(tag) for tag in others)
    first = {base.lstrip("0") for tag in others if (base := behind_a_tag(tag.casefold()))}

    def plain(tag: str) -> bool:
        return (
            _PLAIN.fullmatch(tag) is not None
            and written[bare_tag(tag)] == 1
            and bare_tag(tag) not in numbers
            and tag.casefold().lstrip("0") not in first
            and not speaks_of_sums(tag)
        )

    alone = number.copy()
    alone[~number] = list(map(plain, others))
    alike = numbers & {*written, *first}
    if alike:
        alone[number] = [tag not in alike for tag in tags[number].tolist()]
    return alone


def _numbers(tags: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Tell the tags that are numbers without zeros before them; nearly all are written in ASCII."""
    import pyarrow as pa
    import pyarrow.compute as pc

    number = np.asarray(pc.match_substring_regex(pa.array(tags, pa.string()), r"^[1-9]\d*$"))
    number = np.array(number, dtype=bool)
    rest = np.flatnonzero(~number)
    number[rest] = [_NUMBER.fullmatch(tag) is not None for tag in tags[rest].tolist()]
    return number
