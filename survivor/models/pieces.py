"""Pieces of a seedling's life over which the baseline hazard is held constant.

Sites planted in different months meet the dry season at different ages, so the
default pieces follow the calendar: planting to the first dry season, the first
dry season, after it, and so on, with boundaries in days since each plot's own
planting. Pieces in days since planting are the alternative.
"""

from __future__ import annotations

import calendar
import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.errors import ModelError

Floats = NDArray[np.float64]

_MOST_VISIT_PIECES = 12
_QUANTILE_PIECES = 5
_MOST_SEASON_PIECES = 21
# A piece is joined to a neighbour when the visits hardly tell them apart: the smallest
# eigenvalue of the scaled information on the pieces were the hazard constant.
_LEAST_SEPARATION = 0.02
_LEAST_BESIDE_LEVELS = 1e-3  # the same once levels of strata are allowed for: less leaves hardly anything


@dataclass(frozen=True)
class DayPieces:
    """Pieces with the same boundaries for every plot, in days since planting.

    ``cuts`` are the inner boundaries; the last piece is open.
    """

    cuts: tuple[float, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """One name a piece."""
        edges = ["0", *(f"{cut:g}" for cut in self.cuts)]
        closed = [f"day {a} to {b}" for a, b in pairwise(edges)]
        return (*closed, f"after day {edges[-1]}")

    def boundaries(self, rows: pd.DataFrame) -> Floats:
        """Inner boundaries for each row, shape (rows, pieces - 1)."""
        return np.broadcast_to(np.asarray(self.cuts, dtype=float), (len(rows), len(self.cuts)))


@dataclass(frozen=True)
class SeasonPieces:
    """Pieces that follow the dry seasons; rows need a ``planted_date``.

    Parameters
    ----------
    start, end
        Month and day (``MM-DD``) of the first and last day of the dry season.
    count
        How many pieces are kept apart; the last is open.
    """

    start: str
    end: str
    count: int

    @property
    def names(self) -> tuple[str, ...]:
        """One name a piece."""
        words = [
            "first",
            "second",
            "third",
            "fourth",
            "fifth",
            "sixth",
            "seventh",
            "eighth",
            "ninth",
            "tenth",
        ]
        names = ["planting to the first dry season"]
        for word in words:
            names += [f"{word} dry season", f"after the {word} dry season"]
        return tuple(names[: self.count])

    def boundaries(self, rows: pd.DataFrame) -> Floats:
        """Inner boundaries for each row, shape (rows, pieces - 1), in days since planting."""
        if "planted_date" not in rows.columns or rows["planted_date"].isna().any():
            raise ModelError(
                "season pieces need a planting date for every row",
                where="column planted_date",
                mend="give planted_date, or pieces= in days since planting",
            )
        planted, inverse = np.unique(rows["planted_date"].to_numpy("datetime64[D]"), return_inverse=True)
        table = np.array([self._one(pd.Timestamp(day)) for day in planted], dtype=float)
        table = table.reshape(len(planted), self.count - 1)
        found: Floats = table[inverse]
        return found

    def _one(self, planted: pd.Timestamp) -> list[float]:
        days: list[float] = []
        year = planted.year - 1
        while len(days) < self.count - 1:
            first = _month_day(year, self.start)
            last = _month_day(year if self.end >= self.start else year + 1, self.end)
            year += 1
            if last < planted.date():
                continue
            # A planting made inside a dry season has an empty first piece.
            opens = max(0, (first - planted.date()).days)
            days += [float(opens), float((last - planted.date()).days + 1)]
        return days[: self.count - 1]


def _in_words(month_day: str) -> str:
    month, day = month_day.split("-")
    return f"{int(day)} {calendar.month_name[int(month)]}"


def _month_day(year: int, text: str) -> dt.date:
    month, day = (int(part) for part in text.split("-"))
    if (month, day) == (2, 29):
        return dt.date(year, 3, 1) - dt.timedelta(days=1)
    return dt.date(year, month, day)


@dataclass(frozen=True)
class Merged:
    """Pieces of which some were joined or left silent.

    ``group[k]`` is the new piece of old piece ``k``, or -1 where nobody can have died
    in it: the likelihood is highest where the hazard there is nought.
    """

    base: DayPieces | SeasonPieces
    group: tuple[int, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """One name a piece that has a hazard; joined pieces carry both ends of their names."""
        names = self.base.names
        joined = []
        for new in range(max(self.group) + 1):
            parts = [name for name, old in zip(names, self.group, strict=True) if old == new]
            joined.append(parts[0] if len(parts) == 1 else f"{parts[0]} ... {parts[-1]}")
        return tuple(joined)

    @property
    def silent(self) -> tuple[str, ...]:
        """Names of the pieces whose hazard is taken as nought."""
        return tuple(name for name, new in zip(self.base.names, self.group, strict=True) if new < 0)

    def lengths(self, rows: pd.DataFrame, start: Floats, stop: Floats) -> Floats:
        """Days of each row's (start, stop] spent in each piece with a hazard, shape (rows, pieces)."""
        return _sum_pieces(_overlap(self.base.boundaries(rows), start, stop), self.group)

    def said(self) -> tuple[str, ...]:
        """Sentences on what was joined and what was left silent."""
        found = []
        if self.silent:
            found.append(f"nobody died in these pieces, so their hazard is nought: {'; '.join(self.silent)}")
        if len(self.names) + len(self.silent) < len(self.base.names):
            found.append(
                "pieces were joined to a neighbour, since the visits hardly tell their hazards apart; pieces "
                f"used: {'; '.join(self.names)}"
            )
        return tuple(found)


def _sum_pieces(full: Floats, group: Sequence[int]) -> Floats:
    merged: Floats = np.zeros((len(full), max(group) + 1))
    for old, new in enumerate(group):
        if new >= 0:
            merged[:, new] += full[:, old]
    return merged


def _overlap(boundaries: Floats, start: Floats, stop: Floats) -> Floats:
    rows, inner = boundaries.shape
    edges = np.empty((rows, inner + 2))
    edges[:, 0] = 0.0
    edges[:, 1:-1] = boundaries
    edges[:, -1] = np.inf
    low = np.maximum(edges[:, :-1], start[:, None])
    high = np.minimum(edges[:, 1:], stop[:, None])
    found: Floats = np.maximum(high - low, 0.0)
    return found


def choose_pieces(
    frame: pd.DataFrame,
    pieces: Sequence[float] | SeasonPieces | DayPieces | None,
    stratum: NDArray[np.intp] | None = None,
) -> tuple[Merged, tuple[str, ...]]:
    """Decide the pieces for a table of risk intervals, and say how.

    Parameters
    ----------
    frame
        Risk intervals.
    pieces
        Boundaries in days, ready pieces, or None: the visits where all was planted on
        one day and the visits are few; else the dry seasons where the table carries
        them (``frame.attrs["dry_season"]`` and ``planted_date``); else the visits where
        they are few, else quintiles of the deaths.
    stratum
        Stratum of each row, 0 to S - 1; strata have a level each, of which the visits must
        tell the pieces apart as well.

    Returns
    -------
    pieces, said
        The pieces, without those in which nobody can have died and with those joined
        that the visits hardly tell apart; and sentences that say so.
    """
    base, said = _unmerged(frame, pieces)
    start = frame["start_day"].to_numpy(float)
    stop = frame["stop_day"].to_numpy(float)
    overlap = _overlap(base.boundaries(frame), start, stop)
    at_risk, died = frame["at_risk"].to_numpy(float), frame["died"].to_numpy(float)
    group = _merge(overlap, at_risk, died)
    if stratum is not None:
        group = _merge_beside_levels(overlap, at_risk, died, stratum, group)
    chosen = Merged(base, group)
    return chosen, (said, *chosen.said())


def _unmerged(
    frame: pd.DataFrame, pieces: Sequence[float] | SeasonPieces | DayPieces | None
) -> tuple[DayPieces | SeasonPieces, str]:
    if isinstance(pieces, SeasonPieces | DayPieces):
        return pieces, f"baseline pieces as given: {'; '.join(pieces.names)}"
    last = float(frame["stop_day"].max())
    if pieces is not None:
        cuts = tuple(sorted({float(cut) for cut in pieces if 0 < float(cut) < last}))
        return DayPieces(cuts), f"baseline pieces with boundaries at days {', '.join(f'{c:g}' for c in cuts)}"
    stops = np.unique(frame["stop_day"].to_numpy(float))
    visits = DayPieces(tuple(float(day) for day in stops[:-1]))
    few = len(stops) <= _MOST_VISIT_PIECES
    if few and "planted_date" in frame.columns and frame["planted_date"].nunique(dropna=False) == 1:
        return visits, "baseline pieces are the visits"
    season = frame.attrs.get("dry_season")
    if season and "planted_date" in frame.columns and frame["planted_date"].notna().all():
        start, end = season["start"], season["end"]
        said = f"baseline pieces follow the dry season ({_in_words(start)} to {_in_words(end)})"
        return _seasons(frame, start, end, last), said
    if few:
        return visits, "baseline pieces are the visits"
    deaths = np.repeat(frame["stop_day"].to_numpy(float), frame["died"].to_numpy(int))
    inner = np.unique(
        np.quantile(deaths, np.linspace(0, 1, _QUANTILE_PIECES + 1)[1:-1], method="inverted_cdf")
    )
    cuts = tuple(float(day) for day in inner if day < last)
    return DayPieces(
        cuts
    ), f"baseline pieces hold about equal numbers of deaths (days {', '.join(map(str, cuts))})"


def _seasons(frame: pd.DataFrame, start: str, end: str, last: float) -> SeasonPieces:
    """As many pieces as the visits reach into."""
    most = SeasonPieces(start, end, min(_MOST_SEASON_PIECES, 3 + 2 * int(last // 365)))
    opens = most.boundaries(frame)
    reached = (opens < frame["stop_day"].to_numpy(float)[:, None]).any(axis=0)
    return SeasonPieces(start, end, 1 + int(reached.sum()))


def _merge(days: Floats, at_risk: Floats, died: Floats) -> tuple[int, ...]:
    """Leave out pieces without deaths, and join neighbours until the visits tell them apart.

    ``days`` (rows, pieces) each interval spends in each piece; ``at_risk`` and ``died``
    (rows,). Under one constant hazard the information on the log hazards of pieces j
    and k is the sum over intervals of at_risk * days_j * days_k / days.
    """
    deaths = (died / days.sum(axis=1)) @ days
    group = _numbered(np.where(deaths > 0, np.arange(days.shape[1]), -1))
    while max(group) > 0:
        merged = _sum_pieces(days, group)
        whole = merged.sum(axis=1)
        seen = whole > 0
        weight = at_risk[seen] / whole[seen]
        information = merged[seen].T @ (weight[:, None] * merged[seen])
        scale = np.sqrt(np.diag(information))
        least, vectors = np.linalg.eigh(information / np.outer(scale, scale))
        if least[0] >= _LEAST_SEPARATION:
            break
        own = np.array([deaths[np.asarray(group) == new].sum() for new in range(max(group) + 1)])
        group = _join(group, int(np.argmax(np.abs(vectors[:, 0]))), own)
    return group


def _merge_beside_levels(
    days: Floats, at_risk: Floats, died: Floats, stratum: NDArray[np.intp], group: tuple[int, ...]
) -> tuple[int, ...]:
    """Join further neighbours where levels of the strata leave too little to tell pieces apart by.

    Sites visited on days of their own give as many pieces as there are visits in all, and
    then no more intervals than pieces. As in ``_merge``, with the level of each stratum
    swept out of the share of an interval's hazard that lies in each piece; that all
    pieces rise together is the levels' own business.
    """
    deaths = (died / days.sum(axis=1)) @ days
    while max(group) > 0:
        merged = _sum_pieces(days, group)
        whole = merged.sum(axis=1)
        seen = whole > 0
        weight, codes = at_risk[seen] * whole[seen], stratum[seen]
        share = merged[seen] / whole[seen, None]
        total = np.maximum(np.bincount(codes, weight), 1e-300)
        means = np.column_stack([np.bincount(codes, weight * column) / total for column in share.T])
        within = share - means[codes]
        scale = np.sqrt(weight @ share**2)
        information = (within / scale).T @ (weight[:, None] * (within / scale))
        together = np.outer(scale, scale) / (scale @ scale)
        values, vectors = np.linalg.eigh(information + together)
        if values[0] >= _LEAST_BESIDE_LEVELS:
            break
        own = np.array([deaths[np.asarray(group) == new].sum() for new in range(max(group) + 1)])
        group = _join(group, int(np.argmax(np.abs(vectors[:, 0]))), own)
    return group


def _numbered(marks: NDArray[np.intp]) -> tuple[int, ...]:
    """Give the pieces that are left the numbers 0, 1, ... in order; -1 stays."""
    order = {int(mark): place for place, mark in enumerate(np.unique(marks[marks >= 0]))}
    return tuple(order.get(int(mark), -1) for mark in marks)


def _join(group: tuple[int, ...], weak: int, own: Floats) -> tuple[int, ...]:
    """Join a piece to the neighbour with fewer deaths."""
    last = max(group)
    if weak == 0:
        partner = 1
    elif weak == last:
        partner = weak - 1
    else:
        partner = weak - 1 if own[weak - 1] <= own[weak + 1] else weak + 1
    low, high = sorted((weak, partner))
    marks = np.array([low if new == high else new for new in group], dtype=np.intp)
    return _numbered(marks)


def silence(pieces: Merged, weak: int) -> Merged:
    """Leave one more piece out: its hazard runs to nought."""
    marks = np.array([-1 if new == weak else new for new in pieces.group], dtype=np.intp)
    return Merged(pieces.base, _numbered(marks))
